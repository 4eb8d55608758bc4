"""The board over the API: how steps stand, and what is said of them."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from zones.work.domain import words
from zones.work.domain.board import STATE_KEYS
from zones.work.operations.marks import NOTE_LENGTH, MarkOutcome, Skipped
from zones.work.queries.cells import CellFacts

MARKS = tuple(key for key, _ in words.MARKS)
BOARD_STATES = tuple(STATE_KEYS.values())


class MarkSaidOut(serializers.Serializer[Any]):
    """What a person said last."""

    state = serializers.ChoiceField(MARKS)
    note = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField()


class ProofOut(serializers.Serializer[Any]):
    """What the record says."""

    holds = serializers.BooleanField()
    text = serializers.CharField()
    at = serializers.DateTimeField(allow_null=True)
    url = serializers.CharField()


class PromiseOut(serializers.Serializer[Any]):
    """Who is to do it and by when."""

    id = serializers.IntegerField()
    person_id = serializers.IntegerField(allow_null=True)
    person = serializers.CharField()
    due_date = serializers.DateField(allow_null=True)


class CellOut(serializers.Serializer[Any]):
    """A step of a unit."""

    step_id = serializers.IntegerField()
    state = serializers.ChoiceField(BOARD_STATES)
    waits_for = serializers.ListField(
        child=serializers.IntegerField(), help_text="Ids of steps that are open before it."
    )
    group = serializers.CharField(
        help_text="Air handler, trunk or transformer that the step is kept at, or empty."
    )
    is_proven = serializers.BooleanField()
    is_withdrawn = serializers.BooleanField(
        help_text="The record once proved the step and no longer does."
    )
    is_early = serializers.BooleanField(
        help_text="Done although something that has to come before is open."
    )
    mark = MarkSaidOut(allow_null=True)
    proof = ProofOut(allow_null=True)
    assignment = PromiseOut(allow_null=True)


class BoardRowOut(serializers.Serializer[Any]):
    """A terminal unit and its steps."""

    unit_id = serializers.IntegerField()
    tag = serializers.CharField()
    floor = serializers.CharField()
    location = serializers.CharField()
    air_handler_id = serializers.IntegerField(allow_null=True)
    air_handler = serializers.CharField()
    steps = CellOut(many=True)


class CellIn(serializers.Serializer[Any]):
    """A step of a unit."""

    unit_id = serializers.IntegerField(min_value=1)
    step_id = serializers.IntegerField(min_value=1)


class MarksIn(serializers.Serializer[Any]):
    """What is said, and of which steps."""

    cells = CellIn(many=True, allow_empty=False)
    mark = serializers.ChoiceField(MARKS, help_text="open takes back what was said.")
    note = serializers.CharField(
        required=False,
        allow_blank=True,
        default="",
        max_length=NOTE_LENGTH,
        help_text="Why; held and not-applicable need it.",
    )


class ToldOut(serializers.Serializer[Any]):
    """A cell with something to tell."""

    unit_id = serializers.IntegerField()
    step_id = serializers.IntegerField()
    text = serializers.CharField()


class MarksOut(serializers.Serializer[Any]):
    """What a marking did."""

    changed = serializers.IntegerField(help_text="Marks that are different now.")
    unchanged = serializers.IntegerField(help_text="Marks that said the same already.")
    skipped = ToldOut(many=True, help_text="Cells that were left as they are, and why.")
    early = ToldOut(many=True, help_text="Done although something before is open.")


def cell_of(facts: CellFacts) -> dict[str, Any]:
    """Plain values of a step of a unit."""
    mark, proof, promise = facts.mark, facts.proof, facts.assignment
    return {
        "step_id": facts.step.id,
        "state": facts.key,
        "waits_for": [step.id for step in facts.waits_for],
        "group": facts.group,
        "is_proven": facts.is_proven,
        "is_withdrawn": facts.is_withdrawn,
        "is_early": facts.is_early,
        "mark": mark and {"state": mark.state, "note": mark.note, "by": mark.by, "at": mark.at},
        "proof": proof
        and {"holds": proof.holds, "text": proof.text, "at": proof.at, "url": proof.url},
        "assignment": promise
        and {
            "id": promise.id,
            "person_id": promise.person_id,
            "person": promise.person,
            "due_date": promise.due_date,
        },
    }


def outcome_of(outcome: MarkOutcome) -> dict[str, Any]:
    """Plain values of what a marking did."""
    return {
        "changed": outcome.changed,
        "unchanged": outcome.unchanged,
        "skipped": [_told(one) for one in outcome.skipped],
        "early": [_told(one) for one in outcome.early],
    }


def _told(one: Skipped) -> dict[str, Any]:
    return {"unit_id": one.unit_id, "step_id": one.step_id, "text": one.text}
