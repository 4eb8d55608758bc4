"""Outlets: repeats, hood factor, sum against the unit, and proportional balance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from balancing.airflow.domain.ranges import require, require_same_length


@dataclass(frozen=True, slots=True)
class Repeats:
    """Repeated readings: mean and standard uncertainty [m³/s], spread [fraction of the mean]."""

    mean_m3_s: float
    standard_m3_s: float
    spread: float


@dataclass(frozen=True, slots=True)
class BalanceStep:
    """One damper to set: index of the outlet, ratio of its group, and flow to set now [m³/s]."""

    index: int
    ratio: float
    target_m3_s: float


@dataclass(frozen=True, slots=True)
class BalancePlan:
    """What proportional balancing of a group will give.

    Attributes
    ----------
    ratio
        Share of design that every outlet ends at [fraction].
    ratios
        Share of design at each outlet now [fraction].
    key, most
        Index of the outlet that is worst served (its damper stays open) and best served.
    spread
        Best over worst share [ratio]; infinite when an outlet gives no air.
    final_m3_s
        Flow of each outlet when all are set [m³/s].
    steps
        Dampers in the order to set them, the key outlet left out.
    """

    ratio: float
    ratios: tuple[float, ...]
    key: int
    most: int
    spread: float
    final_m3_s: tuple[float, ...]
    steps: tuple[BalanceStep, ...]


def repeats(readings_m3_s: Sequence[float]) -> Repeats:
    """Mean, standard uncertainty and spread of repeated readings.

    Parameters
    ----------
    readings_m3_s
        Readings of one outlet [m³/s], at least 0.

    Returns
    -------
    Repeats
        Mean and standard uncertainty of the mean [m³/s], 0 for one reading; (max - min)/mean
        [fraction].

    Raises
    ------
    ValueError
        No readings, or a negative one.

    References
    ----------
    JCGM 100 (GUM), type A: s/√n (published).

    Examples
    --------
    >>> told = repeats([243.0, 251.0, 247.0])
    >>> told.mean_m3_s, round(told.standard_m3_s, 2), round(told.spread, 4)
    (247.0, 2.31, 0.0324)
    """
    count = len(readings_m3_s)
    if not count:
        raise ValueError("readings_m3_s needs at least 1 reading, got 0")
    for reading in readings_m3_s:
        require("readings_m3_s", reading, "m³/s", low=0.0)
    if count == 1:
        return Repeats(float(readings_m3_s[0]), 0.0, 0.0)
    mean = sum(readings_m3_s) / count
    squares = sum((reading - mean) ** 2 for reading in readings_m3_s)
    standard = math.sqrt(squares / (count - 1) / count)
    spread = (max(readings_m3_s) - min(readings_m3_s)) / mean if mean else 0.0
    return Repeats(mean, standard, spread)


def hood_factor(traverse_m3_s: float, hood_m3_s: float) -> float:
    """Correction of a hood for one type of outlet.

    Parameters
    ----------
    traverse_m3_s
        Flow by traverse of the duct to the outlet [m³/s], above 0.
    hood_m3_s
        Hood reading at the same time [m³/s], above 0.

    Returns
    -------
    float
        Factor to multiply hood readings with [ratio].

    Raises
    ------
    ValueError
        A flow is not above 0.

    References
    ----------
    CF = Q traverse/Q hood (common practice, no source).

    Examples
    --------
    >>> round(hood_factor(412.0, 388.0), 4)
    1.0619
    """
    require("traverse_m3_s", traverse_m3_s, "m³/s", low=0.0, above=True)
    require("hood_m3_s", hood_m3_s, "m³/s", low=0.0, above=True)
    return traverse_m3_s / hood_m3_s


def missing_share(unit_m3_s: float, outlets_m3_s: Sequence[float]) -> float:
    """Share of a unit's flow that does not arrive at its outlets.

    Parameters
    ----------
    unit_m3_s
        Flow of the unit [m³/s], above 0.
    outlets_m3_s
        Flows of all its outlets [m³/s], at least 0.

    Returns
    -------
    float
        (unit - sum)/unit [fraction], negative when the outlets give more.

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    Common practice, no source; leakage at outlet connections of 1 to 8 % was measured
    (published: laboratory study, 2003).

    Examples
    --------
    >>> missing_share(800.0, [400.0, 352.0])
    0.06
    """
    require("unit_m3_s", unit_m3_s, "m³/s", low=0.0, above=True)
    for flow in outlets_m3_s:
        require("outlets_m3_s", flow, "m³/s", low=0.0)
    return (unit_m3_s - sum(outlets_m3_s)) / unit_m3_s


def balance(
    design_m3_s: Sequence[float],
    measured_m3_s: Sequence[float],
    *,
    unit_m3_s: float | None = None,
) -> BalancePlan:
    """Predict a proportional balance while the group's total is held.

    Parameters
    ----------
    design_m3_s
        Design flow of each outlet [m³/s], above 0.
    measured_m3_s
        Flow of each outlet with all dampers open [m³/s], at least 0.
    unit_m3_s
        Flow that a pressure-independent unit will hold afterwards [m³/s], above 0; None keeps
        the sum of the measured flows.

    Returns
    -------
    BalancePlan
        Final ratio and flows, key outlet, and the flow to set at each damper in turn [m³/s].

    Raises
    ------
    ValueError
        No outlets, lists of different length, or a value out of range.

    References
    ----------
    Proportional method: the worst served outlet stays open, each next one is set to the ratio
    of its group (published: balancing course notes; the prediction is derived).

    Examples
    --------
    >>> plan = balance([200.0, 200.0, 250.0, 150.0], [250.0, 210.0, 200.0, 140.0])
    >>> plan.key, plan.ratio, plan.final_m3_s
    (2, 1.0, (200.0, 200.0, 250.0, 150.0))
    >>> [(step.index, round(step.target_m3_s, 1)) for step in plan.steps]
    [(3, 127.5), (1, 183.3), (0, 200.0)]
    """
    count = require_same_length(design_m3_s=design_m3_s, measured_m3_s=measured_m3_s)
    if not count:
        raise ValueError("design_m3_s needs at least 1 outlet, got 0")
    for design, measured in zip(design_m3_s, measured_m3_s, strict=True):
        require("design_m3_s", design, "m³/s", low=0.0, above=True)
        require("measured_m3_s", measured, "m³/s", low=0.0)
    if unit_m3_s is not None:
        require("unit_m3_s", unit_m3_s, "m³/s", low=0.0, above=True)
    ratios = tuple(m / d for d, m in zip(design_m3_s, measured_m3_s, strict=True))
    order = sorted(range(count), key=lambda i: (ratios[i], i))
    steps = []
    group_design, group_measured = design_m3_s[order[0]], measured_m3_s[order[0]]
    for index in order[1:]:
        group_design += design_m3_s[index]
        group_measured += measured_m3_s[index]
        ratio = group_measured / group_design
        steps.append(BalanceStep(index, ratio, ratio * design_m3_s[index]))
    total = sum(measured_m3_s) if unit_m3_s is None else unit_m3_s
    final = total / sum(design_m3_s)
    lowest, highest = ratios[order[0]], ratios[order[-1]]
    return BalancePlan(
        ratio=final,
        ratios=ratios,
        key=order[0],
        most=order[-1],
        spread=highest / lowest if lowest else math.inf,
        final_m3_s=tuple(final * design for design in design_m3_s),
        steps=tuple(steps),
    )
