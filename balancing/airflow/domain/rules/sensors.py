"""Rules about the unit's sensor, its K factor, and the instrument."""

from __future__ import annotations

from collections.abc import Iterator

from balancing.airflow.domain import amplification, sensor
from balancing.airflow.domain.air import STANDARD_DENSITY_KG_M3
from balancing.airflow.domain.evaluate import air_density
from balancing.airflow.domain.results import PointResult, TestResult
from balancing.airflow.domain.rules.table import Spoken, finding, of_test, percent
from balancing.airflow.domain.types import SETPOINT_NAMES, InletSnapshot, Practice
from projectsite.core.findings import Finding
from projectsite.core.numeric import at_least, at_most

_WELL_ABOVE = 4.0
"""Expected over lowest readable pressure from which a reading must be visible: twice the lowest
controllable flow (common practice, no source)."""


def check_sensor(result: TestResult, said: Spoken, practice: Practice) -> Iterator[Finding]:
    """Yield what the readings say of sensor, K factor and instrument."""
    yield from _tubes(result, said)
    yield from _zero(result, said, practice)
    yield from _other_inlet(result, said, practice)
    yield from _impossible(result, said)
    yield from _change(result, said, practice)
    yield from _trend(result, said)
    yield from _in_use(result, said)
    yield from _instrument(result)
    if not result.test.conditions.reads_actual and result.test.conditions.air_degc is None:
        yield finding(
            "conditions-missing",
            of_test(result),
            "The instrument does not correct for density and the air temperature is missing; "
            "only the elevation was allowed for.",
            "Enter the air temperature at the sensor.",
            elevation_m=result.test.conditions.elevation_m,
        )


def _tubes(result: TestResult, said: Spoken) -> Iterator[Finding]:
    k = result.k_m3_s_sqrt_pa
    readable = result.readable_pressure_pa
    for point in result.final_points:
        pressure, flow = point.point.sensed_pressure_pa, point.measured_m3_s
        if pressure is None or not flow:
            continue
        expected = None if k is None else (flow / k) ** 2
        is_hidden = (
            pressure < readable
            and expected is not None
            and at_least(expected, _WELL_ABOVE * readable)
        )
        if pressure >= 0.0 and not is_hidden:
            continue
        told = "is negative" if pressure < 0.0 else "is next to nothing"
        about = f"; about {said.pressure(expected)} belongs to it" if expected is not None else ""
        yield finding(
            "tubes-crossed-or-off",
            of_test(result),
            f"At {SETPOINT_NAMES[point.point.setpoint]} {said.flow(flow)} was measured but the "
            f"sensed pressure {said.pressure(pressure)} {told}{about}.",
            "Exchange the two tubes: high is the one that faces the air."
            if pressure < 0.0
            else "Look for a tube that is off, kinked or wet, or for both on one port.",
            measured_m3_s=flow,
            sensed_pressure_pa=pressure,
            expected_pressure_pa=expected,
        )


def _zero(result: TestResult, said: Spoken, practice: Practice) -> Iterator[Finding]:
    zero = result.test.zero_reading_pa
    limit = practice.zero_share * result.readable_pressure_pa
    if zero is not None and not at_most(abs(zero), limit):
        yield finding(
            "zero-drift",
            of_test(result),
            f"Without air the sensor shows {said.pressure(zero)}; up to {said.pressure(limit)} is "
            "harmless.",
            "Zero the transducer before anything is read.",
            zero_reading_pa=zero,
            limit_pa=limit,
        )


def _k_entered(result: TestResult) -> tuple[str, float] | None:
    test = result.test
    if test.k_as_left_m3_s_sqrt_pa is not None:
        return "K as left", test.k_as_left_m3_s_sqrt_pa
    if test.k_as_found_m3_s_sqrt_pa is not None:
        return "K as found", test.k_as_found_m3_s_sqrt_pa
    return None


def _distance(k: float, inlet: InletSnapshot) -> float:
    return abs(k / inlet.nominal_k_m3_s_sqrt_pa - 1.0)


def _other_inlet(result: TestResult, said: Spoken, practice: Practice) -> Iterator[Finding]:
    unit, entered = result.test.design, _k_entered(result)
    if entered is None or unit.inlet is None or not unit.other_inlets:
        return
    name, k = entered
    nearest = min(unit.other_inlets, key=lambda inlet: _distance(k, inlet))
    own = _distance(k, unit.inlet)
    if at_most(own, practice.k_match) or not at_most(_distance(k, nearest), practice.k_match):
        return
    yield finding(
        "k-looks-like-other-inlet",
        of_test(result),
        f"{name} {said.k(k)} is that of the {nearest.label} inlet "
        f"({said.k(nearest.nominal_k_m3_s_sqrt_pa)}); this unit has the {unit.inlet.label} inlet "
        f"({said.k(unit.inlet.nominal_k_m3_s_sqrt_pa)}).",
        "Measure the inlet, then correct the controller or the schedule.",
        k_m3_s_sqrt_pa=k,
        own_k_m3_s_sqrt_pa=unit.inlet.nominal_k_m3_s_sqrt_pa,
        other_k_m3_s_sqrt_pa=nearest.nominal_k_m3_s_sqrt_pa,
    )


def _impossible(result: TestResult, said: Spoken) -> Iterator[Finding]:
    inlet = result.test.design.inlet
    if inlet is None:
        return
    # Thin air passes faster at the same pressure, so the bound rises with elevation.
    factor = (STANDARD_DENSITY_KG_M3 / air_density(result.test.conditions)) ** 0.5
    bound = amplification.k_from_amplification(inlet.free_area_m2, 1.0) * factor
    candidates = [_k_entered(result)]
    if result.choice is not None:
        candidates.append(("The recommended K", result.choice.option.k_m3_s_sqrt_pa))
    for candidate in candidates:
        if candidate is None or not at_least(candidate[1], bound):
            continue
        name, k = candidate
        yield finding(
            "k-impossible",
            of_test(result),
            f"{name} {said.k(k)} can't be: the {inlet.label} inlet stays below {said.k(bound)} "
            "even with a sensor that does not amplify.",
            "Check inlet size and units; the area may have been entered as K.",
            k_m3_s_sqrt_pa=k,
            bound_k_m3_s_sqrt_pa=bound,
        )
        return


def _change(result: TestResult, said: Spoken, practice: Practice) -> Iterator[Finding]:
    test = result.test
    found, left = test.k_as_found_m3_s_sqrt_pa, test.k_as_left_m3_s_sqrt_pa
    recommended = result.choice.option.k_m3_s_sqrt_pa if result.choice else None
    new = left or recommended
    if found is None or new is None or (left is not None and test.k_reason):
        return
    change = new / found - 1.0
    if at_most(abs(change), practice.k_change):
        return
    name = "K as left" if left is not None else "The recommended K"
    yield finding(
        "k-change-large",
        of_test(result),
        f"{name} {said.k(new)} differs from {said.k(found)} as found by "
        f"{percent(change, signed=True)}.",
        "Look for the cause first: inlet size, tubes, duct ahead of the inlet; then write down "
        "the reason.",
        k_as_found_m3_s_sqrt_pa=found,
        k_new_m3_s_sqrt_pa=new,
        change_fraction=change,
    )


def _trend(result: TestResult, said: Spoken) -> Iterator[Finding]:
    choice = result.choice
    if choice is None or choice.trend not in {"rises-toward-low-flow", "falls-toward-low-flow"}:
        return
    # Once the unit was set and agrees at every point, the trend as found is history.
    if result.final_round == "as-left" and all(p.agrees for p in _told(result)):
        return
    way = "rises" if choice.trend == "rises-toward-low-flow" else "falls"
    fitted = next((o for o in choice.options if o.method == "zero-offset"), None)
    off = (
        f"; a zero error of {said.pressure(fitted.zero_pa)} would explain it"
        if fitted is not None
        else ""
    )
    yield finding(
        "k-trends-with-flow",
        of_test(result),
        f"K {way} by {percent(choice.spread)} toward low flow{off}.",
        "Zero the transducer first and read again."
        if choice.zero_first
        else "The zero is good: enter the offset with K if the controller takes one.",
        spread_fraction=choice.spread,
        zero_pa=fitted.zero_pa if fitted is not None else None,
    )


def _told(result: TestResult) -> list[PointResult]:
    return [point for point in result.final_points if point.error is not None]


def _in_use(result: TestResult, said: Spoken) -> Iterator[Finding]:
    test = result.test
    for point in result.final_points:
        is_left = point.point.round == "as-left"
        k = test.k_as_left_m3_s_sqrt_pa if is_left else test.k_as_found_m3_s_sqrt_pa
        pressure, reported = point.point.sensed_pressure_pa, point.point.reported_m3_s
        if not k or not reported or pressure is None:
            continue
        # At a low pressure the last digit of the reading alone moves the flow by percents.
        if pressure < _WELL_ABOVE * result.readable_pressure_pa:
            continue
        shown = sensor.indicated_flow_m3_s(k, pressure)
        if at_most(abs(reported / shown - 1.0), result.limits.agreement):
            continue
        yield finding(
            "k-not-in-use",
            of_test(result),
            f"At {SETPOINT_NAMES[point.point.setpoint]} K {said.k(k)} and "
            f"{said.pressure(pressure)} give {said.flow(shown)}, but the controller reported "
            f"{said.flow(reported)}.",
            "Read K from the controller again, and flow and pressure at the same time.",
            k_m3_s_sqrt_pa=k,
            sensed_pressure_pa=pressure,
            computed_m3_s=shown,
            reported_m3_s=reported,
        )
        return


def _instrument(result: TestResult) -> Iterator[Finding]:
    instrument, tested = result.test.instrument, result.test.tested_on
    if instrument is None:
        yield finding(
            "instrument-unknown",
            of_test(result),
            "The test does not say which instrument was used, so its uncertainty is unknown.",
            "Choose the instrument.",
        )
        return
    problem = ""
    if instrument.due_on is None or instrument.calibrated_on is None:
        problem = "has no complete calibration dates on record"
    elif tested is not None and tested > instrument.due_on:
        problem = f"was due for calibration on {instrument.due_on:%Y-%m-%d}, before the test"
    elif tested is not None and tested < instrument.calibrated_on:
        problem = f"was calibrated on {instrument.calibrated_on:%Y-%m-%d}, after the test"
    if problem:
        on = f" on {tested:%Y-%m-%d}" if tested is not None else ""
        yield finding(
            "instrument-out-of-calibration",
            of_test(result),
            f"{instrument.name or 'The instrument'} {problem}{on}.",
            "Test again with an instrument in calibration, or record the certificate.",
        )
