"""What was earned week by week, out of the history of the marks, and what was planned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
from django.db import connection

from projectsite.core import evidence
from projectsite.core.scope import Scope
from zones.work.domain.board import Flags, State
from zones.work.domain.progress import (
    Hours,
    Places,
    Shape,
    elapsed_share,
    planned_share,
    replayed,
)
from zones.work.models import Assignment, PlannedPeriod
from zones.work.queries.board import WholeBoard

MOST_WEEKS = 260
"""Weeks of the past that are replayed, five years; older work counts from the first of them."""

# For each step and week: whose mark ended the week as done, and whose as something else. The
# moment is the mark's own; a row that was deleted ends when it was.
_HISTORY = """
SELECT step_id, is_group, week, is_done, array_agg(subject_id)
FROM (
    SELECT DISTINCT ON (step_id, is_group, subject_id, week) *
    FROM (
        SELECT step_id, unit_id IS NULL AS is_group, pgh_id,
            coalesce(unit_id, air_handler_id, trunk_id, transformer_id) AS subject_id,
            date_trunc('week', CASE WHEN pgh_label = 'delete' THEN pgh_created_at ELSE at END
                AT TIME ZONE %s)::date AS week,
            state = 'done' AND pgh_label <> 'delete' AS is_done
        FROM work_stepmarkevent WHERE project_id = %s
    ) AS said
    ORDER BY step_id, is_group, subject_id, week, pgh_id DESC
) AS last_of_week
GROUP BY 1, 2, 3, 4 ORDER BY 3
"""
_COLUMNS = (
    ("unit", "unit_id"),
    ("air-handler", "air_handler_id"),
    ("trunk", "trunk_id"),
    ("transformer", "transformer_id"),
)


@dataclass(frozen=True, slots=True)
class EarnedWeeks:
    """Earned hours up to the end of each week, and up to today [h].

    The first day is the one before the first work; no days when nothing was ever done.
    """

    days: tuple[date, ...] = ()
    earned_h: tuple[float, ...] = ()

    def rates(self) -> list[float]:
        """Hours earned in each whole week that has gone by [h]."""
        whole = [h for day, h in zip(self.days, self.earned_h, strict=True) if day.weekday() == 6]
        return [after - before for before, after in pairwise(whole)]


def earned_weeks(
    scope: Scope, whole: WholeBoard, hours: Hours, places: Places, today: date
) -> EarnedWeeks:
    """Replay what was earned at the end of each week, in one query.

    What applies and what comes before what is taken as it is today. A proof counts from its
    date, or from today when it has none; one that was withdrawn counts at no time, since the
    record does not keep when. The last point is what the board earns today.

    Parameters
    ----------
    hours
        Hours of each cell that counts [h, units x steps].
    """
    with connection.cursor() as cursor:
        cursor.execute(_HISTORY, [scope.project.time_zone, scope.project.id])
        history = cursor.fetchall()
    proved = _proved(whole, ZoneInfo(scope.project.time_zone))
    began = [row[2] for row in history if row[3]] + [day for day in proved.values() if day]
    if not whole.outlines or not began or min(began) > today:
        return EarnedWeeks()
    this_week = _monday(today)
    first = max(_monday(min(began)), this_week - timedelta(weeks=MOST_WEEKS))
    weeks = (this_week - first).days // 7 + 1
    done = _done(whole, history, proved, first, weeks)
    earned = replayed(whole.board.steps, whole.board.states != State.NOT_APPLICABLE, done, places)
    totals = np.zeros(weeks)
    for at, flags in enumerate(earned):
        totals += flags @ hours[:, at]
    totals[-1] = float(hours[whole.board.is_earned].sum())
    days = [first - timedelta(days=1)]
    days += [min(first + timedelta(days=7 * i + 6), today) for i in range(weeks)]
    return EarnedWeeks(tuple(days), (0.0, *totals.tolist()))


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _proved(whole: WholeBoard, zone: ZoneInfo) -> dict[tuple[int, int], date | None]:
    """Cells by row and column that the record proves, with the day since when."""
    column = {step.key: at for at, step in enumerate(whole.board.steps)}
    return {
        (whole.board.row_of[unit_id], column[key]): proof.at and proof.at.astimezone(zone).date()
        for key, of_unit in whole.proofs.items()
        for unit_id, proof in of_unit.items()
        if proof.holds and key in column and unit_id in whole.board.row_of
    }


def _done(
    whole: WholeBoard,
    history: Sequence[tuple[Any, ...]],
    proved: Mapping[tuple[int, int], date | None],
    first: date,
    weeks: int,
) -> list[Flags]:
    """For each step whether it was done at each unit at the end of each week [weeks x units]."""
    board, decided = whole.board, evidence.decided_steps()
    done = [np.zeros((weeks, len(board.unit_ids)), np.bool_) for _ in board.steps]
    members = _members(whole)
    for step_id, is_group, week, is_done, ids in history:
        at = board.column_of.get(step_id)
        if at is None or board.steps[at].key in decided:
            continue
        per = board.steps[at].per
        if is_group:
            rows = [row for i in ids for row in members.get(per, {}).get(i, ())]
        else:
            alone = board.group_of.get(per, {})
            rows = [board.row_of[i] for i in ids if i in board.row_of and i not in alone]
        since = max((week - first).days // 7, 0)
        if since < weeks:
            done[at][since:, rows] = is_done
    withdrawn = board.is_withdrawn
    for at in range(len(board.steps)):
        done[at][:, withdrawn[:, at]] = False
    for (row, at), day in proved.items():
        since = weeks - 1 if day is None else max((day - first).days // 7, 0)
        done[at][since:, row] = True
    return done


def _members(whole: WholeBoard) -> dict[str, dict[int, list[int]]]:
    """Rows of the units of each group, by kind."""
    found: dict[str, dict[int, list[int]]] = {}
    for kind, of_unit in whole.board.group_of.items():
        for unit_id, group in of_unit.items():
            row = whole.board.row_of.get(unit_id)
            if row is not None:
                found.setdefault(kind, {}).setdefault(group, []).append(row)
    return found


@dataclass(frozen=True, slots=True)
class Plan:
    """When each step of each unit is planned.

    Attributes
    ----------
    period
        Number of the cell's period in ``periods``; below 0 without one [units x steps].
    """

    period: npt.NDArray[np.int64]
    periods: tuple[tuple[date, date], ...]
    has_periods: bool

    @property
    def is_planned(self) -> Flags:
        """Cells that have a planned period or a date [units x steps]."""
        found: Flags = self.period >= 0
        return found

    def share(self, day: date, shape: Shape) -> Hours:
        """Planned part of each cell by the end of a day [fraction, units x steps]."""
        parts = [
            float(planned_share(elapsed_share([day], *period), shape)[0]) for period in self.periods
        ]
        return np.array([*parts, 0.0])[self.period]

    def totals(
        self, hours: Hours, days: Sequence[date], shape: Shape, at: tuple[Any, ...]
    ) -> list[float]:
        """Planned hours of the cells ``at`` up to the end of each day [h]."""
        chosen = self.period[at].ravel()
        is_in = chosen >= 0
        weights = np.bincount(
            chosen[is_in], weights=hours[at].ravel()[is_in], minlength=len(self.periods)
        )
        total = np.zeros(len(days))
        for weight, period in zip(weights, self.periods, strict=True):
            if weight > 0:
                total += weight * planned_share(elapsed_share(days, *period), shape)
        found: list[float] = total.tolist()
        return found

    def span(self, rows: Flags, columns: Flags) -> tuple[date | None, date | None]:
        """First and last planned day of these units and steps, or None twice."""
        used = np.unique(self.period[np.ix_(rows, columns)])
        found = [self.periods[i] for i in used.tolist() if i >= 0]
        if not found:
            return None, None
        return min(start for start, _ in found), max(finish for _, finish in found)

    def last_day(self, rows: Flags, columns: Flags) -> date | None:
        """Last planned day of these units and steps."""
        return self.span(rows, columns)[1]


def plan_of(scope: Scope, whole: WholeBoard) -> Plan:
    """Find the planned period of each cell, in two queries.

    The row for floor and trade comes before that for the floor, that before the one for the
    trade, and that before the one for all. A date that was agreed for a step of a unit or of its
    group takes the place of the period: the step is planned for that day.
    """
    known: dict[tuple[date, date], int] = {}
    rows = PlannedPeriod.objects.filter(project_id=scope.project.id).order_by("id")
    of_place = {
        (floor, trade): known.setdefault((start, finish), len(known))
        for floor, trade, start, finish in rows.values_list(
            "floor", "trade", "start_date", "finish_date"
        )
    }
    board = whole.board
    floors = [unit.floor for unit in whole.outlines]
    period = np.full(board.states.shape, -1, np.int64)
    for at, step in enumerate(board.steps):
        by_floor = {floor: _most_exact(of_place, floor, step.trade) for floor in set(floors)}
        period[:, at] = [by_floor[floor] for floor in floors]
    _take_dates(scope, whole, period, known)
    period[board.states == State.NOT_APPLICABLE] = -1
    return Plan(period, tuple(known), bool(of_place))


def _most_exact(of_place: Mapping[tuple[str, str], int], floor: str, trade: str) -> int:
    for place in ((floor, trade), (floor, ""), ("", trade), ("", "")):
        if place in of_place:
            return of_place[place]
    return -1


def _take_dates(
    scope: Scope,
    whole: WholeBoard,
    period: npt.NDArray[np.int64],
    known: dict[tuple[date, date], int],
) -> None:
    board, members = whole.board, _members(whole)
    agreed = Assignment.objects.filter(
        project_id=scope.project.id, ended_at=None, due_date__isnull=False
    ).order_by("id")
    names = [name for _, name in _COLUMNS]
    for step_id, due, *ids in agreed.values_list("step_id", "due_date", *names):
        at = board.column_of.get(step_id)
        if at is None:
            continue
        for (kind, _), subject in zip(_COLUMNS, ids, strict=True):
            if subject is None:
                continue
            own = [board.row_of[subject]] if subject in board.row_of else []
            here = own if kind == "unit" else members.get(kind, {}).get(subject, [])
            period[here, at] = known.setdefault((due, due), len(known))
