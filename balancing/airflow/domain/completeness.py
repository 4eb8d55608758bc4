"""What a flow test lacks before it can be handed in and accepted."""

from __future__ import annotations

from collections.abc import Iterator

from balancing.airflow.domain.results import TestResult
from balancing.airflow.domain.types import PRACTICE, FlowTestSnapshot, PointSnapshot, Practice


def has_readings(point: PointSnapshot) -> bool:
    """Tell whether anything was read at the point."""
    return (
        point.reported_m3_s is not None
        or point.sensed_pressure_pa is not None
        or point.measured_single_m3_s is not None
        or bool(point.outlets)
    )


def k_change(found_m3_s_sqrt_pa: float | None, left_m3_s_sqrt_pa: float | None) -> float | None:
    """Change of K from as found to as left.

    Parameters
    ----------
    found_m3_s_sqrt_pa, left_m3_s_sqrt_pa
        K factors [m³/s at 1 Pa], above 0; None when unknown.

    Returns
    -------
    float or None
        Change [fraction of as found]; None when either is unknown.

    Examples
    --------
    >>> round(k_change(0.02, 0.018), 3), k_change(None, 0.018)
    (-0.1, None)
    """
    if not found_m3_s_sqrt_pa or not left_m3_s_sqrt_pa:
        return None
    return left_m3_s_sqrt_pa / found_m3_s_sqrt_pa - 1.0


def needs_reason(test: FlowTestSnapshot, practice: Practice = PRACTICE) -> bool:
    """Tell whether K as left asks for a reason: entered by hand, or changed by much."""
    if test.k_method == "by-hand":
        return True
    change = k_change(test.k_as_found_m3_s_sqrt_pa, test.k_as_left_m3_s_sqrt_pa)
    return change is not None and abs(change) > practice.k_change * (1 + 1e-9)


def missing(result: TestResult, practice: Practice = PRACTICE) -> Iterator[str]:
    """Yield what is missing before the test can be handed in, each as words after "missing:"."""
    yield from result.missing
    test = result.test
    if test.k_as_left_m3_s_sqrt_pa is None:
        yield "K as left (take a proposal, or keep K as found)"
    elif needs_reason(test, practice) and not test.k_reason:
        yield "the reason for this K"
