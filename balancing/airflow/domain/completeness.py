"""What a flow test lacks before it can be handed in and accepted."""

from __future__ import annotations

from collections.abc import Iterator

from balancing.airflow.domain.types import (
    PRACTICE,
    SETPOINT_NAMES,
    FlowTestSnapshot,
    PointSnapshot,
    Practice,
)

ROUND_NAMES = {"as-found": "as found", "as-left": "as left"}


def has_readings(point: PointSnapshot) -> bool:
    """Tell whether anything was read at the point."""
    return (
        point.reported_m3_s is not None
        or point.sensed_pressure_pa is not None
        or point.measured_single_m3_s is not None
        or any(outlet.repeats_m3_s for outlet in point.outlets)
    )


def point_name(point: PointSnapshot) -> str:
    """Name of a point in a sentence: "cooling maximum as found"."""
    return f"{SETPOINT_NAMES[point.setpoint]} {ROUND_NAMES[point.round]}"


def unread_outlets(test: FlowTestSnapshot, point: PointSnapshot) -> list[int]:
    """Ids of the outlets that a hood sum must cover and that have no reading at this point."""
    read = {outlet.outlet_id for outlet in point.outlets if outlet.repeats_m3_s}
    return [outlet for outlet in test.expected_outlets if outlet not in read]


def k_change_fraction(test: FlowTestSnapshot) -> float | None:
    """Change of K from as found to as left [fraction of as found], None while one is unknown."""
    found, left = test.k_as_found_m3_s_sqrt_pa, test.k_as_left_m3_s_sqrt_pa
    if found is None or left is None:
        return None
    return left / found - 1


def needs_reason(test: FlowTestSnapshot, practice: Practice = PRACTICE) -> bool:
    """Tell whether the change of K asks for a reason: by hand, or larger than good practice."""
    change = k_change_fraction(test)
    if test.k_method == "by-hand":
        return True
    return change is not None and abs(change) > practice.k_change + 1e-9


def missing(test: FlowTestSnapshot, practice: Practice = PRACTICE) -> Iterator[str]:
    """Yield what is missing, one plain sentence each, in the order of the page.

    A round as left is only asked for when K was changed; then the maximum must be read again,
    because it is what the change has to prove.
    """
    if test.instrument is None:
        yield "Say which instrument was used."
    if test.k_as_found_m3_s_sqrt_pa is None:
        yield "Enter K as found, as the controller held it."
    if not any(point.round == "as-found" for point in test.points):
        yield "The unit has no scheduled airflow, so there is no point to read."
    for point in test.points:
        if point.round == "as-found":
            yield from _missing_at(test, point)
    if test.k_as_left_m3_s_sqrt_pa is None:
        yield "Settle K as left: take one of the proposals, or keep K as found."
        return
    if needs_reason(test, practice) and not test.k_reason:
        yield "Give the reason for this K."
    if test.k_as_left_m3_s_sqrt_pa == test.k_as_found_m3_s_sqrt_pa:
        return
    left = [point for point in test.points if point.round == "as-left"]
    for point in left:
        if point.setpoint == "cooling-max" or has_readings(point):
            yield from _missing_at(test, point)


def _missing_at(test: FlowTestSnapshot, point: PointSnapshot) -> Iterator[str]:
    name = point_name(point)
    if point.reported_m3_s is None:
        yield f"Enter what the controller reported at {name}."
    if point.measured_single_m3_s is not None:
        return
    if not any(outlet.repeats_m3_s for outlet in point.outlets):
        yield f"Enter what was measured at {name}."
        return
    unread = unread_outlets(test, point)
    if unread:
        what = "1 outlet" if len(unread) == 1 else f"{len(unread)} outlets"
        were = "was" if len(unread) == 1 else "were"
        yield f"{what} of the unit {were} not read at {name}."
