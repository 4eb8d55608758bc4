"""Progress of the work: counts, earned and planned hours by week, forecast, what blocks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from projectsite.core.numeric import natural_key
from projectsite.core.scope import Scope
from zones.work.domain import words
from zones.work.domain.board import Flags, State
from zones.work.domain.forecast import Forecast, forecast
from zones.work.domain.progress import (
    EarnedValue,
    Hours,
    Shape,
    cell_hours,
    earned_schedule,
    places_of,
    schedule_index_in_time,
)
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.progress_blocks import Blocking, HeldUp, blocking
from zones.work.queries.progress_weeks import EarnedWeeks, Plan, earned_weeks, plan_of

SEED = 22505
"""The same record gives the same forecast, on the page, in the API and on paper."""
NO_FLOOR, NO_AIR_HANDLER = "no floor", "no air handler"
_MOST_POINTS = 520


@dataclass(frozen=True, slots=True)
class ProgressFilter:
    """What the progress is narrowed to; empty for all."""

    floor: str = ""
    air_handler: int | None = None
    trade: str = ""


@dataclass(frozen=True, slots=True)
class Tally:
    """How the steps of a trade, a floor, an air handler or the whole stand today.

    Attributes
    ----------
    key, label
        What the line is about; a trade's word, a floor, or an air handler's id.
    not_applicable, waiting, ready, in_hand, held, done
        Steps of units by state.
    early
        Those done with something open before them; they earn nothing yet.
    budget_h, earned_h
        Budgeted hours of the steps that apply, and those earned [h].
    planned_h
        Hours that were to be earned by today [h].
    planned_budget_h
        Budgeted hours of the steps with a planned period or a date [h].
    """

    key: str
    label: str
    not_applicable: int
    waiting: int
    ready: int
    in_hand: int
    held: int
    done: int
    early: int
    budget_h: float
    earned_h: float
    planned_h: float
    planned_budget_h: float

    @property
    def steps(self) -> int:
        """Steps that apply."""
        return self.waiting + self.ready + self.in_hand + self.held + self.done

    @property
    def earned_fraction(self) -> float | None:
        """Earned part of the budgeted hours; None without a budget."""
        return self.earned_h / self.budget_h if self.budget_h > 0 else None


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Hours up to the end of a day: of a week's Sunday, or of today.

    Attributes
    ----------
    planned_h
        Planned hours [h]; None when nothing is planned.
    earned_h
        Earned hours [h]; None for days to come.
    week_earned_h
        Earned since the point before [h]; below 0 where work was taken back.
    """

    day: date
    planned_h: float | None
    earned_h: float | None
    week_earned_h: float | None


@dataclass(frozen=True, slots=True)
class Standing:
    """Earned against planned, of the steps that are planned.

    Attributes
    ----------
    value
        Earned and planned hours by today.
    earned_weeks, elapsed_weeks
        Earned schedule and time since the plan began [weeks].
    index_in_time
        Earned schedule over elapsed time [-].
    start_date, finish_date
        First and last day of the plan.
    """

    value: EarnedValue
    earned_weeks: float
    elapsed_weeks: float
    index_in_time: float
    start_date: date
    finish_date: date


@dataclass(frozen=True, slots=True)
class Progress:
    """Everything that the progress page, its document and the API show.

    Attributes
    ----------
    whole
        All steps that are shown.
    standing
        None before the plan begins, or when nothing is planned.
    unplanned_h
        Budgeted hours without a planned period or a date [h].
    plan_finish
        Last planned day; None when nothing is planned.
    blocking, held_up
        Steps that others wait for, and how many steps wait for each trade.
    """

    today: date
    wanted: ProgressFilter
    shape: Shape
    has_steps: bool
    has_units: bool
    has_periods: bool
    whole: Tally
    trades: tuple[Tally, ...]
    floors: tuple[Tally, ...]
    air_handlers: tuple[Tally, ...]
    curve: tuple[CurvePoint, ...]
    standing: Standing | None
    unplanned_h: float
    plan_finish: date | None
    forecast: Forecast
    blocking: tuple[Blocking, ...]
    held_up: tuple[HeldUp, ...]
    floor_choices: tuple[str, ...] = ()
    air_handler_choices: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Shown:
    """The cells that the progress is narrowed to, with their hours."""

    whole: WholeBoard
    rows: Flags
    columns: Flags
    hours: Hours
    plan: Plan
    today: date
    planned: Hours = field(default_factory=lambda: np.zeros((0, 0)))

    def tally(self, key: str, label: str, rows: Flags, columns: Flags) -> Tally:
        """Count the cells of these units and steps."""
        board = self.whole.board
        at = np.ix_(rows & self.rows, columns & self.columns)
        number = np.bincount(board.states[at].ravel(), minlength=len(State)).tolist()
        hours = self.hours[at]
        return Tally(
            key,
            label,
            not_applicable=number[State.NOT_APPLICABLE],
            waiting=number[State.WAITING],
            ready=number[State.READY],
            in_hand=number[State.IN_HAND],
            held=number[State.HELD],
            done=number[State.DONE],
            early=int(board.is_early[at].sum()),
            budget_h=float(hours.sum()),
            earned_h=float(hours[board.is_earned[at]].sum()),
            planned_h=float(self.planned[at].sum()),
            planned_budget_h=float(hours[self.plan.is_planned[at]].sum()),
        )


def progress_of(
    scope: Scope, *, today: date, wanted: ProgressFilter | None = None, shape: Shape = "s"
) -> Progress:
    """Tell how the work stands on a day, in a fixed number of queries.

    Parameters
    ----------
    today
        The day in the project's time zone.
    wanted
        What to narrow it to.
    shape
        How the hours of a planned period are spread over it.
    """
    wanted = wanted or ProgressFilter()
    whole = whole_board(scope)
    board = whole.board
    places = places_of(board.group_of, board.unit_ids)
    hours = cell_hours(board.steps, board.states != State.NOT_APPLICABLE, places)
    plan = plan_of(scope, whole)
    rows, columns = _narrowed(whole, wanted)
    shown = _Shown(whole, rows, columns, hours, plan, today, hours * plan.share(today, shape))
    every_row, every_column = np.ones_like(rows), np.ones_like(columns)
    total = shown.tally("", "Total", every_row, every_column)
    past = earned_weeks(scope, whole, hours * np.outer(rows, columns), places, today)
    curve = _curve(shown, past, shape)
    blocks, held_up = blocking(whole, rows, columns)
    rng = np.random.default_rng([SEED, today.toordinal()])
    return Progress(
        today=today,
        wanted=wanted,
        shape=shape,
        has_steps=bool(board.steps),
        has_units=bool(whole.outlines),
        has_periods=plan.has_periods,
        whole=total,
        trades=_trades(shown, every_row),
        floors=_floors(shown, every_column),
        air_handlers=_air_handlers(shown, every_column),
        curve=curve,
        standing=_standing(shown, shape),
        unplanned_h=total.budget_h - total.planned_budget_h,
        plan_finish=plan.last_day(rows, columns),
        forecast=forecast(
            past.rates(), max(total.budget_h - total.earned_h, 0.0), today=today, rng=rng
        ),
        blocking=blocks,
        held_up=held_up,
        floor_choices=_floor_names(whole),
        air_handler_choices=_air_handler_names(whole),
    )


def _narrowed(whole: WholeBoard, wanted: ProgressFilter) -> tuple[Flags, Flags]:
    rows = [
        (not wanted.floor or unit.floor == wanted.floor)
        and (wanted.air_handler is None or unit.air_handler_id == wanted.air_handler)
        for unit in whole.outlines
    ]
    columns = [wanted.trade in {"", step.trade} for step in whole.board.steps]
    return np.array(rows, np.bool_), np.array(columns, np.bool_)


def _trades(shown: _Shown, every_row: Flags) -> tuple[Tally, ...]:
    own = np.array([step.trade for step in shown.whole.board.steps], "U20")
    found = (
        shown.tally(key, label, every_row, own == key)
        for key, label in words.TRADES
        if ((own == key) & shown.columns).any()
    )
    return tuple(found)


def _floor_names(whole: WholeBoard) -> tuple[str, ...]:
    names = {unit.floor for unit in whole.outlines if unit.floor}
    return tuple(sorted(names, key=natural_key))


def _floors(shown: _Shown, every_column: Flags) -> tuple[Tally, ...]:
    own = np.array([unit.floor for unit in shown.whole.outlines], object)
    found = (
        shown.tally(name, name or NO_FLOOR, own == name, every_column)
        for name in (*_floor_names(shown.whole), "")
        if ((own == name) & shown.rows).any()
    )
    return tuple(found)


def _air_handler_names(whole: WholeBoard) -> tuple[tuple[int, str], ...]:
    names = {
        unit.air_handler_id: unit.air_handler
        for unit in whole.outlines
        if unit.air_handler_id is not None
    }
    return tuple(sorted(names.items(), key=lambda pair: natural_key(pair[1])))


def _air_handlers(shown: _Shown, every_column: Flags) -> tuple[Tally, ...]:
    own = np.array([unit.air_handler_id or 0 for unit in shown.whole.outlines], np.int64)
    found = (
        shown.tally(str(key or ""), name, own == key, every_column)
        for key, name in (*_air_handler_names(shown.whole), (0, NO_AIR_HANDLER))
        if ((own == key) & shown.rows).any()
    )
    return tuple(found)


def _curve(shown: _Shown, past: EarnedWeeks, shape: Shape) -> tuple[CurvePoint, ...]:
    """Lay earned and planned hours over the same days."""
    first, last = shown.plan.span(shown.rows, shown.columns)
    days = set(past.days)
    if first and last:
        begin = first - timedelta(days=first.weekday() + 1)
        weeks = min((last - begin).days // 7 + 2, _MOST_POINTS)
        days |= {begin + timedelta(days=7 * i) for i in range(weeks)}
        days.add(shown.today)
    ordered = sorted(days)
    planned: Sequence[float | None] = [None] * len(ordered)
    if first:
        at = np.ix_(shown.rows, shown.columns)
        planned = shown.plan.totals(shown.hours, ordered, shape, at)
    known = dict(zip(past.days, past.earned_h, strict=True))
    points, before = [], 0.0
    for day, plan_h in zip(ordered, planned, strict=True):
        earned = known.get(day)
        if earned is None and day <= shown.today:
            earned = 0.0
        change = None if earned is None else earned - before
        points.append(CurvePoint(day, plan_h, earned, change))
        before = before if earned is None else earned
    return tuple(points)


def _standing(shown: _Shown, shape: Shape) -> Standing | None:
    first, last = shown.plan.span(shown.rows, shown.columns)
    if first is None or last is None or shown.today < first:
        return None
    at = np.ix_(shown.rows, shown.columns)
    earns = shown.whole.board.is_earned & shown.plan.is_planned
    earned = float((shown.hours * earns)[at].sum())
    value = EarnedValue(earned, float(shown.planned[at].sum()))
    weeks = min((last - first).days // 7 + 1, _MOST_POINTS)
    ends = [first + timedelta(days=7 * i + 6) for i in range(weeks)]
    plan = np.maximum.accumulate(shown.plan.totals(shown.hours, ends, shape, at))
    reached = earned_schedule(plan.tolist(), earned)
    elapsed = ((shown.today - first).days + 1) / 7
    return Standing(value, reached, elapsed, schedule_index_in_time(reached, elapsed), first, last)
