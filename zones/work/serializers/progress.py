"""What the API gives of the progress. Hours are budgeted hours of labour."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from zones.work.domain import words
from zones.work.queries.progress import Progress, Standing, Tally

TRADES = tuple(key for key, _ in words.TRADES)


class TallyOut(serializers.Serializer[Any]):
    """How the steps of a trade, a floor, an air handler or the whole stand today."""

    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # "label" is also a field's own attribute
    steps = serializers.IntegerField()
    not_applicable = serializers.IntegerField()
    waiting = serializers.IntegerField()
    ready = serializers.IntegerField()
    in_hand = serializers.IntegerField()
    held = serializers.IntegerField()
    done = serializers.IntegerField()
    early = serializers.IntegerField(help_text="Done with something open before; earns nothing.")
    budget_h = serializers.FloatField()
    earned_h = serializers.FloatField()
    earned_fraction = serializers.FloatField(allow_null=True)
    planned_h = serializers.FloatField(help_text="Planned up to today.")
    planned_budget_h = serializers.FloatField(help_text="Hours with a planned period or a date.")


class CurvePointOut(serializers.Serializer[Any]):
    """Hours up to the end of a day."""

    day = serializers.DateField()
    planned_h = serializers.FloatField(allow_null=True)
    earned_h = serializers.FloatField(allow_null=True)
    week_earned_h = serializers.FloatField(allow_null=True)


class StandingOut(serializers.Serializer[Any]):
    """Earned against planned, of the steps that are planned."""

    earned_h = serializers.FloatField()
    planned_h = serializers.FloatField()
    schedule_variance_h = serializers.FloatField()
    schedule_index = serializers.FloatField(allow_null=True)
    earned_weeks = serializers.FloatField()
    elapsed_weeks = serializers.FloatField()
    index_in_time = serializers.FloatField()
    start_date = serializers.DateField()
    finish_date = serializers.DateField()


class ForecastOut(serializers.Serializer[Any]):
    """Dates by which a tenth, half and nine tenths of the simulated runs end, or a refusal."""

    refusal = serializers.CharField()
    remaining_h = serializers.FloatField()
    early_date = serializers.DateField(allow_null=True)
    middle_date = serializers.DateField(allow_null=True)
    late_date = serializers.DateField(allow_null=True)
    past_weeks = serializers.IntegerField()
    mean_h = serializers.FloatField(help_text="Mean hours of the past weeks.")
    unfinished = serializers.FloatField(help_text="Part of the runs beyond the horizon.")


class BlockingOut(serializers.Serializer[Any]):
    """A step that others wait for."""

    step_id = serializers.IntegerField()
    step = serializers.CharField()
    trade = serializers.ChoiceField(words.TRADES)
    open = serializers.IntegerField()
    held = serializers.IntegerField()
    waiting = serializers.IntegerField()


class HeldUpOut(serializers.Serializer[Any]):
    """Steps that wait for a trade."""

    trade = serializers.ChoiceField(words.TRADES)
    waiting = serializers.IntegerField()


class ProgressOut(serializers.Serializer[Any]):
    """Everything that the page of the progress shows."""

    today = serializers.DateField()
    whole = TallyOut()
    trades = TallyOut(many=True)
    floors = TallyOut(many=True)
    air_handlers = TallyOut(many=True)
    curve = CurvePointOut(many=True)
    standing = StandingOut(allow_null=True)
    unplanned_h = serializers.FloatField()
    plan_finish = serializers.DateField(allow_null=True)
    forecast = ForecastOut()
    blocking = BlockingOut(many=True)
    held_up = HeldUpOut(many=True)


def progress_data(found: Progress) -> dict[str, Any]:
    """Give the progress as plain values."""
    return {
        "today": found.today,
        "whole": _data(TallyOut, found.whole),
        "trades": _all(found.trades),
        "floors": _all(found.floors),
        "air_handlers": _all(found.air_handlers),
        "curve": [_data(CurvePointOut, point) for point in found.curve],
        "standing": None if found.standing is None else _standing(found.standing),
        "unplanned_h": found.unplanned_h,
        "plan_finish": found.plan_finish,
        "forecast": _data(ForecastOut, found.forecast),
        "blocking": [_data(BlockingOut, row) for row in found.blocking],
        "held_up": [_data(HeldUpOut, row) for row in found.held_up],
    }


def _all(rows: tuple[Tally, ...]) -> list[dict[str, Any]]:
    return [_data(TallyOut, row) for row in rows]


def _data(shape: type[serializers.Serializer[Any]], row: object) -> dict[str, Any]:
    return {name: getattr(row, name) for name in map(str, shape().fields)}


def _standing(found: Standing) -> dict[str, Any]:
    own = ("earned_weeks", "elapsed_weeks", "index_in_time", "start_date", "finish_date")
    value = ("earned_h", "planned_h", "schedule_variance_h", "schedule_index")
    return {
        **{name: getattr(found.value, name) for name in value},
        **{name: getattr(found, name) for name in own},
    }
