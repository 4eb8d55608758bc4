"""The planning over the API: promises, the look-ahead, weeks past, planned periods."""

from __future__ import annotations

from typing import Any, cast

from rest_framework import serializers

from zones.work.domain import words
from zones.work.domain.board import STATE_KEYS
from zones.work.domain.planning import WeekFigures
from zones.work.operations.assignments import AssignOutcome, Kept
from zones.work.operations.periods import PeriodValues
from zones.work.queries.planning import Blocker, PromiseRow
from zones.work.serializers.board import BOARD_STATES, CellIn, ToldOut

WORK_TRADES = tuple(key for key, _ in words.TRADES)


class BlockerOut(serializers.Serializer[Any]):
    """A step that is open before another one."""

    step_id = serializers.IntegerField()
    step = serializers.CharField()
    trade = serializers.ChoiceField(words.TRADES, help_text="Who owes it.")
    state = serializers.ChoiceField(BOARD_STATES)
    units = serializers.IntegerField(help_text="How many units of the promise hold it open.")
    person = serializers.CharField()
    due_date = serializers.DateField(allow_null=True)
    note = serializers.CharField(help_text="Why it is held.")
    is_later = serializers.BooleanField(
        help_text="It is promised for a later day than the step that waits for it."
    )


class AheadOut(serializers.Serializer[Any]):
    """A promise that stands, with how its step stands and what blocks it."""

    id = serializers.IntegerField()
    step_id = serializers.IntegerField()
    step = serializers.CharField()
    trade = serializers.ChoiceField(words.TRADES)
    subject_kind = serializers.ChoiceField(
        words.PER, help_text="What the step is kept at: a unit, or its group."
    )
    subject_id = serializers.IntegerField()
    subject = serializers.CharField()
    unit_ids = serializers.ListField(
        child=serializers.IntegerField(), help_text="Units that it counts for."
    )
    floors = serializers.ListField(child=serializers.CharField())
    air_handler = serializers.CharField()
    person_id = serializers.IntegerField(allow_null=True)
    person = serializers.CharField()
    due_date = serializers.DateField(allow_null=True)
    made_at = serializers.DateTimeField()
    state = serializers.ChoiceField(BOARD_STATES)
    note = serializers.CharField(help_text="Why it is held.")
    is_overdue = serializers.BooleanField()
    can_be_done = serializers.BooleanField()
    blocked_by = BlockerOut(many=True)


class CellsIn(serializers.Serializer[Any]):
    """Steps of units."""

    cells = CellIn(many=True, allow_empty=False)

    @property
    def cells_given(self) -> list[tuple[int, int]]:
        """Pairs of unit id and step id."""
        return [(one["unit_id"], one["step_id"]) for one in self.validated_data["cells"]]


class AssignIn(CellsIn):
    """Who is to do steps of units and by when; what is left out stays as it is."""

    person_id = serializers.IntegerField(
        min_value=1, required=False, allow_null=True, help_text="null for nobody."
    )
    due_date = serializers.DateField(
        required=False, allow_null=True, help_text="Last day, in the project's time zone."
    )

    @property
    def kept(self) -> tuple[Kept, ...]:
        """What is left out."""
        wanted: tuple[tuple[Kept, str], ...] = (("person", "person_id"), ("due_date", "due_date"))
        return tuple(kept for kept, name in wanted if name not in self.validated_data)


class TakeIn(CellsIn):
    """Steps of one's own trade."""

    due_date = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="Where the plan gives no day."
    )


class AssignOut(serializers.Serializer[Any]):
    """What an assignment did."""

    changed = serializers.IntegerField(help_text="Promises that are different now.")
    unchanged = serializers.IntegerField(help_text="Promises that said the same already.")
    skipped = ToldOut(many=True, help_text="Cells that were left as they are, and why.")


class WeekOut(serializers.Serializer[Any]):
    """What a week was to bring and what it brought."""

    week = serializers.CharField(help_text="As in ISO 8601.")
    monday = serializers.DateField()
    promised = serializers.IntegerField(help_text="Promises that stood when the week began.")
    done = serializers.IntegerField(help_text="Those of them that were kept; late is not kept.")
    completed_fraction = serializers.FloatField(allow_null=True)
    planned = serializers.IntegerField()
    ready = serializers.IntegerField(
        allow_null=True, help_text="Planned tasks that nothing held up when the week began."
    )
    ready_fraction = serializers.FloatField(allow_null=True)


class PeriodOut(serializers.Serializer[Any]):
    """A planned period; an empty floor or trade stands for all."""

    id = serializers.IntegerField()
    floor = serializers.CharField()
    trade = serializers.CharField()
    start_date = serializers.DateField()
    finish_date = serializers.DateField()
    version = serializers.IntegerField()


class PeriodIn(serializers.Serializer[Any]):
    """A planned period."""

    floor = serializers.CharField(
        max_length=40, required=False, allow_blank=True, help_text="Empty for every floor."
    )
    trade = serializers.ChoiceField(
        words.TRADES, required=False, allow_blank=True, help_text="Empty for every trade."
    )
    start_date = serializers.DateField()
    finish_date = serializers.DateField()

    @property
    def values(self) -> PeriodValues:
        """What the operation takes."""
        given = {k: v for k, v in self.validated_data.items() if k != "version"}
        return cast("PeriodValues", given)


class PeriodChangeIn(PeriodIn):
    """What is to change; ``version`` says which state was seen."""

    version = serializers.IntegerField(min_value=0)


def ahead_of(row: PromiseRow) -> dict[str, Any]:
    """Plain values of a promise."""
    made = row.assignment
    return {
        "id": made.id,
        "step_id": row.step.id,
        "step": row.step.name,
        "trade": row.step.trade,
        "subject_kind": row.subject.kind,
        "subject_id": row.subject.id,
        "subject": row.subject.label,
        "unit_ids": list(row.unit_ids),
        "floors": list(row.floors),
        "air_handler": row.air_handler,
        "person_id": made.person_id,
        "person": made.person,
        "due_date": made.due_date,
        "made_at": made.made_at,
        "state": STATE_KEYS[row.state],
        "note": row.note,
        "is_overdue": row.is_overdue,
        "can_be_done": row.can_be_done,
        "blocked_by": [_blocker(one) for one in row.blockers],
    }


def _blocker(one: Blocker) -> dict[str, Any]:
    return {
        "step_id": one.step.id,
        "step": one.step.name,
        "trade": one.step.trade,
        "state": STATE_KEYS[one.state],
        "units": one.units,
        "person": one.person,
        "due_date": one.due_date,
        "note": one.note,
        "is_later": one.is_later,
    }


def week_of(week: WeekFigures) -> dict[str, Any]:
    """Plain values of a week."""
    return {
        "week": week.label,
        "monday": week.monday,
        "promised": week.promised,
        "done": week.done,
        "completed_fraction": week.completed_fraction,
        "planned": week.planned,
        "ready": week.ready,
        "ready_fraction": week.ready_fraction,
    }


def assigned(outcome: AssignOutcome) -> dict[str, Any]:
    """Plain values of what an assignment did."""
    return {
        "changed": outcome.changed,
        "unchanged": outcome.unchanged,
        "skipped": [
            {"unit_id": one.unit_id, "step_id": one.step_id, "text": one.text}
            for one in outcome.skipped
        ],
    }
