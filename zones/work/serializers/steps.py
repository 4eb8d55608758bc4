"""What the API takes and gives of the catalogue of steps."""

from __future__ import annotations

from typing import Any, cast

from rest_framework import serializers

from zones.work.domain import words
from zones.work.domain.board import MOST_STEPS
from zones.work.operations.catalogue import StepValues

HEATS = ("none", "hot-water", "electric")
FANS = ("none", "parallel", "series")
TRADES = tuple(value for value, _ in words.TRADES)
"""Trades that the address of a list may name."""


class CatalogueStepOut(serializers.Serializer[Any]):
    """A step of the catalogue."""

    id = serializers.IntegerField()
    key = serializers.CharField(help_text="Stays when the name changes.")
    name = serializers.CharField()
    trade = serializers.ChoiceField(choices=words.TRADES)
    per = serializers.ChoiceField(choices=words.PER, help_text="What the step is done once for.")
    place = serializers.IntegerField(
        allow_null=True, help_text="Place among the steps in use, from 1; null when archived."
    )
    budget_h = serializers.FloatField(help_text="Budgeted labour, hours.")
    heats = serializers.ListField(child=serializers.ChoiceField(choices=HEATS))
    fans = serializers.ListField(child=serializers.ChoiceField(choices=FANS))
    needs = serializers.ListField(child=serializers.ChoiceField(choices=words.NEEDS))
    before = serializers.ListField(
        child=serializers.IntegerField(), help_text="Steps that have to be done first."
    )
    archived_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()


class CatalogueStepIn(serializers.Serializer[Any]):
    """A step; what is left out of a change stays as it is."""

    name = serializers.CharField(max_length=100)
    trade = serializers.ChoiceField(choices=words.TRADES)
    per = serializers.ChoiceField(choices=words.PER, required=False)
    budget_h = serializers.FloatField(min_value=0, max_value=1000, required=False)
    heats = serializers.ListField(
        child=serializers.ChoiceField(choices=HEATS),
        required=False,
        help_text="Applies to units with one of these; to all when empty.",
    )
    fans = serializers.ListField(child=serializers.ChoiceField(choices=FANS), required=False)
    needs = serializers.ListField(
        child=serializers.ChoiceField(choices=words.NEEDS), required=False
    )
    before = serializers.ListField(
        child=serializers.IntegerField(min_value=1), required=False, max_length=MOST_STEPS
    )
    version = serializers.IntegerField(
        required=False, min_value=0, help_text="Version that is changed; not needed to add."
    )

    @property
    def values(self) -> StepValues:
        """What was sent, for an operation."""
        given = {k: v for k, v in self.validated_data.items() if k != "version"}
        return cast("StepValues", given)


class StepMoveIn(serializers.Serializer[Any]):
    """Where a step is put."""

    to = serializers.IntegerField(
        min_value=1, max_value=1000, help_text="Place among the steps in use, from 1."
    )


class StepVersionIn(serializers.Serializer[Any]):
    """Version of the step that is acted upon; without it whatever stands is."""

    version = serializers.IntegerField(required=False, min_value=0)


class StarterStepsOut(serializers.Serializer[Any]):
    """How many steps the project has taken."""

    steps = serializers.IntegerField()
