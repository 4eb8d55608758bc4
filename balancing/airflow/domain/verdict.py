"""Measured against design, and reported against measured."""

from __future__ import annotations

from typing import Literal

from balancing.airflow.domain.ranges import require
from projectsite.core.numeric import at_least, at_most

Verdict = Literal["within", "low", "high", "indeterminate", "not-applicable", "unknown"]


def share_of_design(measured_m3_s: float | None, design_m3_s: float | None) -> float | None:
    """Measured flow as a share of design.

    Parameters
    ----------
    measured_m3_s
        Measured flow [m³/s], at least 0; None when unknown.
    design_m3_s
        Design flow [m³/s], at least 0; None when unknown.

    Returns
    -------
    float or None
        Share [fraction]; None when either is unknown or the design is 0.

    Raises
    ------
    ValueError
        A flow is negative.

    References
    ----------
    Percent of design = 100 measured/design (common practice, no source).

    Examples
    --------
    >>> share_of_design(0.45, 0.5), share_of_design(0.1, 0.0)
    (0.9, None)
    """
    if measured_m3_s is None or design_m3_s is None:
        return None
    require("measured_m3_s", measured_m3_s, "m³/s", low=0.0)
    require("design_m3_s", design_m3_s, "m³/s", low=0.0)
    return measured_m3_s / design_m3_s if design_m3_s else None


def limits_m3_s(
    design_m3_s: float, *, over: float, under: float, floor_m3_s: float
) -> tuple[float, float]:
    """Lowest and highest flow that passes.

    Parameters
    ----------
    design_m3_s
        Design flow [m³/s], at least 0.
    over, under
        Allowed excess and shortfall [fraction of design], at least 0.
    floor_m3_s
        Deviation that is always allowed [m³/s], at least 0.

    Returns
    -------
    tuple of float
        Lowest and highest flow [m³/s].

    Raises
    ------
    ValueError
        An argument is negative.

    References
    ----------
    ±10 % of design (published: public bid text, California); other limits are the project's.

    Examples
    --------
    >>> limits_m3_s(0.5, over=0.25, under=0.125, floor_m3_s=0.1)
    (0.4, 0.625)
    """
    require("design_m3_s", design_m3_s, "m³/s", low=0.0)
    require("over", over, "", low=0.0)
    require("under", under, "", low=0.0)
    require("floor_m3_s", floor_m3_s, "m³/s", low=0.0)
    low = design_m3_s - max(under * design_m3_s, floor_m3_s)
    return max(low, 0.0), design_m3_s + max(over * design_m3_s, floor_m3_s)


def judge(
    measured_m3_s: float | None,
    design_m3_s: float | None,
    *,
    over: float,
    under: float,
    floor_m3_s: float,
    uncertainty_m3_s: float | None = None,
) -> Verdict:
    """Judge a measured flow.

    Parameters
    ----------
    measured_m3_s
        Measured flow [m³/s], at least 0; None when unknown.
    design_m3_s
        Design flow [m³/s], at least 0; None when unknown.
    over, under
        Allowed excess and shortfall [fraction of design], at least 0.
    floor_m3_s
        Deviation that is always allowed [m³/s], at least 0.
    uncertainty_m3_s
        Expanded uncertainty to take off the limits as a guard band [m³/s]; None compares
        plainly.

    Returns
    -------
    Verdict
        "within", "low", "high"; "indeterminate" when the uncertainty straddles a limit;
        "not-applicable" for a design of 0; "unknown" when a flow is missing.

    Raises
    ------
    ValueError
        An argument is negative.

    References
    ----------
    Guard band: ISO 14253-1, accept inside the limit less U, reject beyond the limit plus U
    (published idea). Plain comparison is what balancing specifications use.

    Examples
    --------
    >>> limits = {"over": 0.1, "under": 0.1, "floor_m3_s": 0.0}
    >>> judge(0.45, 0.5, **limits), judge(0.449, 0.5, **limits)
    ('within', 'low')
    >>> judge(0.45, 0.5, **limits, uncertainty_m3_s=0.01)
    'indeterminate'
    """
    if measured_m3_s is None or design_m3_s is None:
        return "unknown"
    if design_m3_s == 0.0:
        return "not-applicable"
    low, high = limits_m3_s(design_m3_s, over=over, under=under, floor_m3_s=floor_m3_s)
    if uncertainty_m3_s is None:
        return _plainly(measured_m3_s, low, high)
    require("uncertainty_m3_s", uncertainty_m3_s, "m³/s", low=0.0)
    return _guarded(measured_m3_s, low, high, uncertainty_m3_s)


def _plainly(flow: float, low: float, high: float) -> Verdict:
    if not at_least(flow, low):
        return "low"
    return "within" if at_most(flow, high) else "high"


def _guarded(flow: float, low: float, high: float, expanded: float) -> Verdict:
    if at_least(flow, low + expanded) and at_most(flow, high - expanded):
        return "within"
    if at_most(flow, low - expanded):
        return "low"
    return "high" if at_least(flow, high + expanded) else "indeterminate"


def reported_error(reported_m3_s: float | None, measured_m3_s: float | None) -> float | None:
    """How much more a controller reports than was measured.

    Parameters
    ----------
    reported_m3_s
        Reported flow [m³/s], at least 0; None when unknown.
    measured_m3_s
        Measured flow [m³/s], at least 0; None when unknown.

    Returns
    -------
    float or None
        (reported - measured)/measured [fraction]; None when unknown or nothing was measured.

    Raises
    ------
    ValueError
        A flow is negative.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> round(reported_error(600.0, 540.0), 3)
    0.111
    """
    if reported_m3_s is None or measured_m3_s is None:
        return None
    require("reported_m3_s", reported_m3_s, "m³/s", low=0.0)
    require("measured_m3_s", measured_m3_s, "m³/s", low=0.0)
    return reported_m3_s / measured_m3_s - 1.0 if measured_m3_s else None
