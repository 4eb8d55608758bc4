"""Progress in budgeted hours: earned and planned value, earned schedule, planned curves.

Hours spent are not recorded, so what work costs (cost variance, cost index, estimate at
completion) can't be told and is left out rather than guessed from the budget.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from zones.work.domain.board import Flags, in_order
from zones.work.domain.types import StepFacts

Hours: TypeAlias = npt.NDArray[np.float64]
Shape = Literal["s", "even"]


@dataclass(frozen=True, slots=True)
class EarnedValue:
    """Earned against planned work at one date.

    Attributes
    ----------
    earned_h, planned_h
        Budgeted hours of what is done, and of what was to be done by the date [h].
    """

    earned_h: float
    planned_h: float

    @property
    def schedule_variance_h(self) -> float:
        """Hours ahead of the plan; behind it when negative [h].

        It goes back to 0 at completion however late the work is; see ``earned_schedule``.
        """
        return self.earned_h - self.planned_h

    @property
    def schedule_index(self) -> float | None:
        """Earned part of what was planned [-, >= 0]; None while nothing was planned."""
        return self.earned_h / self.planned_h if self.planned_h > 0 else None


def earned_value(
    budget_h: npt.ArrayLike, done: npt.ArrayLike, planned: npt.ArrayLike
) -> EarnedValue:
    """Add up the hours that are earned and those that were planned.

    Parameters
    ----------
    budget_h
        Budgeted labour of each task [h, >= 0].
    done, planned
        Part of each task that is done, and that was to be done by the date [fraction, 0 to 1].

    Returns
    -------
    EarnedValue
        EV = Σ budget · done and PV = Σ budget · planned, both in hours.

    Raises
    ------
    ValueError
        Fewer parts than tasks, hours below 0, or a part outside 0 to 1.

    Reference
    ---------
    Earned value as charted by the defence acquisition schools (published): SV = EV - PV,
    SPI = EV / PV.

    Examples
    --------
    >>> value = earned_value(np.full(10, 1000.0), np.arange(10) < 3, np.arange(10) < 4)
    >>> value.schedule_variance_h, value.schedule_index
    (-1000.0, 0.75)
    """
    hours = np.asarray(budget_h, np.float64)
    parts = {"done": np.asarray(done, np.float64), "planned": np.asarray(planned, np.float64)}
    if (hours < 0).any():
        raise ValueError(f"budget_h must not be below 0; the lowest is {hours.min()}")
    for name, part in parts.items():
        if part.shape != hours.shape:
            raise ValueError(f"{name} has {part.size} parts for {hours.size} tasks")
        if ((part < 0) | (part > 1)).any():
            raise ValueError(f"{name} must lie between 0 and 1")
    return EarnedValue(*(float((hours * part).sum()) for part in parts.values()))


def earned_schedule(planned_h: Sequence[float], earned_h: float) -> float:
    """Tell when what is earned by now was to be earned, in periods of the plan.

    Parameters
    ----------
    planned_h
        Planned hours up to the end of each period, never falling [h, >= 0].
    earned_h
        Earned hours [h, >= 0].

    Returns
    -------
    float
        ES = C + (EV - PV_C) / (PV_C+1 - PV_C) [periods]; C is the last period whose planned
        hours are earned. At most the number of periods.

    Raises
    ------
    ValueError
        No periods, hours below 0, or planned hours that fall.

    Reference
    ---------
    Earned schedule, from memory.

    Examples
    --------
    >>> earned_schedule([10, 30, 60, 100], 45)
    2.5
    """
    plan = np.asarray(planned_h, np.float64)
    if not plan.size:
        raise ValueError("planned_h has no periods")
    if earned_h < 0 or plan[0] < 0:
        raise ValueError("planned_h and earned_h must not be below 0")
    if (np.diff(plan) < 0).any():
        raise ValueError("planned_h must not fall")
    whole = np.concatenate(([0.0], plan))
    if earned_h >= whole[-1]:
        # Work that was to be complete early counts from the period in which it was.
        return float(np.argmax(whole >= whole[-1]))
    last = int(np.searchsorted(whole, earned_h, side="right")) - 1
    return float(last + (earned_h - whole[last]) / (whole[last + 1] - whole[last]))


def schedule_index_in_time(earned: float, elapsed: float) -> float:
    """Compare the time that is earned with the time that has gone by.

    Parameters
    ----------
    earned
        Earned schedule [periods, >= 0].
    elapsed
        Time since the plan began [periods, > 0].

    Returns
    -------
    float
        SPI(t) = ES / AT [-]; below 1 is behind the plan.

    Raises
    ------
    ValueError
        No time has gone by.

    Reference
    ---------
    Earned schedule, from memory.

    Examples
    --------
    >>> round(schedule_index_in_time(2.5, 3), 3)
    0.833
    """
    if not elapsed > 0:
        raise ValueError(f"elapsed must be above 0, not {elapsed}")
    return earned / elapsed


def planned_share(elapsed: npt.ArrayLike, shape: Shape = "s") -> Hours:
    """Give the part of a period's work that is planned by a part of its time.

    Parameters
    ----------
    elapsed
        Elapsed part of the period [fraction; below 0 counts as 0, above 1 as 1].
    shape
        "s" begins and ends slowly, F(x) = 3x² - 2x³; "even" runs uniformly.

    Returns
    -------
    numpy.ndarray
        Planned part of the work [fraction, 0 to 1].

    Raises
    ------
    ValueError
        An unknown shape.

    Reference
    ---------
    The S-curve as a cubic: from memory.

    Examples
    --------
    >>> planned_share([0.25, 0.5, 0.75]).round(4).tolist()
    [0.1562, 0.5, 0.8438]
    """
    x = np.clip(np.asarray(elapsed, np.float64), 0.0, 1.0)
    if shape == "even":
        return x
    if shape != "s":
        raise ValueError(f'shape is "s" or "even", not {shape!r}')
    return np.asarray(x * x * (3.0 - 2.0 * x), np.float64)


def elapsed_share(days: Sequence[date], start_date: date, finish_date: date) -> Hours:
    """Give the part of a planned period that has gone by at the end of each day.

    Parameters
    ----------
    days
        Dates.
    start_date, finish_date
        First and last day of work.

    Returns
    -------
    numpy.ndarray
        Elapsed part [fraction, 0 to 1]; both days of the period count.

    Raises
    ------
    ValueError
        The period ends before it begins.

    Examples
    --------
    >>> elapsed_share([date(2026, 11, 2)], date(2026, 11, 1), date(2026, 11, 4)).tolist()
    [0.5]
    """
    if finish_date < start_date:
        raise ValueError("finish_date lies before start_date")
    length = (finish_date - start_date).days + 1
    gone = np.array([(day - start_date).days + 1 for day in days], np.float64)
    return np.clip(gone / length, 0.0, 1.0)


def renormalised(weights: npt.ArrayLike, applies: npt.ArrayLike) -> Hours:
    """Share out the weights of steps that do not apply among those that do.

    Parameters
    ----------
    weights
        Weights of the steps [any unit, >= 0].
    applies
        Whether each step applies.

    Returns
    -------
    numpy.ndarray
        Weights that add up to 1 [fraction]; 0 for steps that do not apply.

    Raises
    ------
    ValueError
        A weight below 0, or no weight among the steps that apply.

    Reference
    ---------
    Common practice, no source.

    Examples
    --------
    >>> renormalised([25, 15, 60], [True, False, True]).round(4).tolist()
    [0.2941, 0.0, 0.7059]
    """
    given = np.asarray(weights, np.float64)
    kept = np.where(np.asarray(applies, np.bool_), given, 0.0)
    if (given < 0).any():
        raise ValueError("weights must not be below 0")
    if not kept.sum() > 0:
        raise ValueError("weights of the steps that apply add up to 0")
    return np.asarray(kept / kept.sum(), np.float64)


Places: TypeAlias = Mapping[str, npt.NDArray[np.int64]]
"""By what a step is done once for: the number of each unit's group, each unit without a group
having a number of its own."""


def places_of(group_of: Mapping[str, Mapping[int, int]], unit_ids: Sequence[int]) -> Places:
    """Number the groups of each kind, and give each unit without one a number of its own."""
    found = {}
    for kind, of_unit in group_of.items():
        # A group's key is its id, a lone unit's lies below zero.
        keys = np.array([of_unit.get(unit, -i - 1) for i, unit in enumerate(unit_ids)], np.int64)
        found[kind] = np.unique(keys, return_inverse=True)[1].reshape(-1).astype(np.int64)
    return found


def cell_hours(steps: Sequence[StepFacts], applies: Flags, places: Places) -> Hours:
    """Give the budgeted hours of each step at each unit.

    Parameters
    ----------
    steps
        Steps in the order of the columns; their budgets are in hours [h, >= 0].
    applies
        Whether a step applies to a unit [units x steps].
    places
        Groups of the units.

    Returns
    -------
    numpy.ndarray
        Hours [h, units x steps]. A step that does not apply has none; one that is done once
        for a group shares its hours among the group's units, so that it counts once.
    """
    hours = np.zeros(applies.shape, np.float64)
    for at, step in enumerate(steps):
        hours[:, at] = applies[:, at] * step.budget_h
        groups = places.get(step.per)
        if groups is not None and groups.size:
            members = np.bincount(groups, weights=applies[:, at])
            hours[:, at] /= np.maximum(members[groups], 1.0)
    return hours


def replayed(
    steps: Sequence[StepFacts], applies: Flags, done: Sequence[Flags], places: Places
) -> list[Flags]:
    """Tell what was earned at each of several times: done with nothing open before it.

    Parameters
    ----------
    steps
        Steps in the order of the columns.
    applies
        Whether a step applies to a unit, as it stands now [units x steps].
    done
        For each step whether it was done [times x units].
    places
        Groups of the units.

    Returns
    -------
    list of numpy.ndarray
        For each step whether it earned its hours [times x units].
    """
    column = {step.id: at for at, step in enumerate(steps)}
    earned: list[Flags] = [flags & False for flags in done]
    is_passed: list[Flags] = [flags & False for flags in done]
    for step in in_order(steps):
        at = column[step.id]
        is_in = applies[:, at]
        is_clear = np.ones(done[at].shape, np.bool_)
        for before in (column[b] for b in step.before if b in column):
            is_open = ~is_passed[before]
            groups = places.get(step.per)
            if groups is not None and groups.size:
                shared = _any_of_group(is_open & is_in, groups)
                is_open = np.where(is_in, shared, is_open)
            is_clear &= ~is_open
        is_done = done[at] & is_in
        earned[at] = is_done & is_clear
        is_passed[at] = is_done | (~is_in & is_clear)
    return earned


def _any_of_group(flags: Flags, groups: npt.NDArray[np.int64]) -> Flags:
    """Tell for each unit whether any unit of its group has the flag [times x units]."""
    order = np.argsort(groups, kind="stable")
    starts = np.flatnonzero(np.diff(groups[order], prepend=-1))
    found: Flags = np.logical_or.reduceat(flags[:, order], starts, axis=1)[:, groups]
    return found
