"""Which readings of a flow test are missing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from balancing.airflow.domain.completeness import has_readings
from balancing.airflow.domain.results import PointResult
from balancing.airflow.domain.types import SETPOINT_NAMES, FlowTestSnapshot, RoundName
from projectsite.core.numeric import same

_ROUND_NAMES = {"as-found": "as found", "as-left": "as left"}


def missing_readings(
    test: FlowTestSnapshot, points: Sequence[PointResult], final: RoundName
) -> Iterator[str]:
    """Yield what was not read, each as words after "missing:".

    As found, every scheduled airflow is read. As left, the cooling maximum is read again when
    K was changed, because it is what the change has to prove; other points only once begun.
    """
    if test.instrument is None:
        yield "the instrument"
    if test.k_as_found_m3_s_sqrt_pa is None:
        yield "K as found"
    for setpoint in _required(test):
        yield from _at(points, "as-found", setpoint)
    changed = test.k_as_left_m3_s_sqrt_pa is not None and not same(
        test.k_as_left_m3_s_sqrt_pa, test.k_as_found_m3_s_sqrt_pa
    )
    if changed or final == "as-left":
        yield from _at(points, "as-left", "cooling-max")
        for result in points:
            point = result.point
            is_other = point.round == "as-left" and point.setpoint != "cooling-max"
            if is_other and has_readings(point):
                yield from _at(points, "as-left", point.setpoint)


def _required(test: FlowTestSnapshot) -> Iterator[str]:
    yield "cooling-max"
    setpoints = test.design.setpoints
    if setpoints.cooling_min_m3_s:
        yield "cooling-min"
    heating = setpoints.heating_max_m3_s
    if heating and not same(heating, setpoints.cooling_max_m3_s):
        yield "heating-max"


def _at(points: Sequence[PointResult], round_name: RoundName, setpoint: str) -> Iterator[str]:
    where = f"{SETPOINT_NAMES[setpoint]} {_ROUND_NAMES[round_name]}"
    for result in points:
        if (result.point.round, result.point.setpoint) != (round_name, setpoint):
            continue
        if result.measured_m3_s is None:
            count = result.missing_outlets if result.outlets else 0
            lacking = f" ({count} {'outlet' if count == 1 else 'outlets'} not read)" * bool(count)
            yield f"the measured airflow at {where}{lacking}"
        if result.point.reported_m3_s is None:
            yield f"the reported airflow at {where}"
        return
    yield f"the readings at {where}"
