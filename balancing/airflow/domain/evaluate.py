"""Evaluate a flow test: the one function behind page, API, tablet, documents and acceptance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from balancing.airflow.domain import air, outlets, sensor, uncertainty, verdict
from balancing.airflow.domain.choice import KChoice, choose
from balancing.airflow.domain.completeness import has_readings
from balancing.airflow.domain.gaps import missing_readings
from balancing.airflow.domain.results import OutletResult, PointResult, TestResult
from balancing.airflow.domain.types import (
    PRACTICE,
    Conditions,
    FlowTestSnapshot,
    InstrumentSnapshot,
    OutletReading,
    PointSnapshot,
    Practice,
    RoundName,
)
from projectsite.core.numeric import at_least, at_most
from projectsite.core.scope import Tolerances


@dataclass(frozen=True, slots=True)
class _Frame:
    """What every point of one test shares."""

    test: FlowTestSnapshot
    limits: Tolerances
    practice: Practice
    density_factor: float
    readable_pa: float


def evaluate(
    test: FlowTestSnapshot, tolerances: Tolerances, practice: Practice = PRACTICE
) -> TestResult:
    """Compute everything that a flow test says.

    Parameters
    ----------
    test
        The test with its readings, in SI.
    tolerances
        Limits of the project, used where the test keeps none of its own.
    practice
        Limits of good practice.

    Returns
    -------
    TestResult
        Points with measured flow, uncertainty, verdict and K; the recommended K; what is
        missing.
    """
    limits = test.limits or tolerances
    density = air_density(test.conditions)
    controller = test.design.controller
    readable = (controller.readable_pressure_pa if controller else None) or (
        limits.readable_pressure_pa
    )
    frame = _Frame(test, limits, practice, _density_factor(test, density), readable)
    points = [_point(frame, point) for point in test.points]
    choice, used = _choice(frame, points)
    if choice is not None:
        for index, predicted in zip(used, choice.option.predicted_m3_s, strict=True):
            points[index] = _with_prediction(points[index], predicted)
    k = test.k_as_left_m3_s_sqrt_pa or test.k_as_found_m3_s_sqrt_pa
    if k is None and test.design.inlet is not None:
        k = test.design.inlet.nominal_k_m3_s_sqrt_pa
    final = _final_round(points)
    return TestResult(
        test=test,
        limits=limits,
        points=tuple(points),
        final_round=final,
        verdict=_overall(points, final),
        missing=tuple(missing_readings(test, points, final)),
        density_kg_m3=None if test.conditions.reads_actual else density,
        readable_pressure_pa=readable,
        k_m3_s_sqrt_pa=k,
        lowest_controllable_m3_s=(
            None if k is None else sensor.lowest_controllable_flow_m3_s(k, readable)
        ),
        choice=choice,
        balance=_balance(points, final),
    )


def air_density(conditions: Conditions) -> float:
    """Density of the air at the test [kg/m³].

    A missing temperature counts as that of standard air, so that the elevation, which moves a
    flow most, is still allowed for; a rule reports that the temperature is missing.
    """
    degc = air.STANDARD_DEGC if conditions.air_degc is None else conditions.air_degc
    pressure = air.standard_pressure_pa(conditions.elevation_m)
    return air.air_density_kg_m3(degc, pressure, conditions.humidity_fraction)


def _density_factor(test: FlowTestSnapshot, density_kg_m3: float) -> float:
    if test.conditions.reads_actual:
        return 1.0
    is_thermal = test.instrument is not None and test.instrument.kind == "anemometer"
    instrument: sensor.Instrument = "thermal" if is_thermal else "differential-pressure"
    return sensor.actual_flow_m3_s(1.0, density_kg_m3, instrument)


def _point(frame: _Frame, point: PointSnapshot) -> PointResult:
    test, limits = frame.test, frame.limits
    at_maximum = point.setpoint == "cooling-max"
    read = tuple(
        _outlet(frame, reading, at_maximum=at_maximum)
        for reading in point.outlets
        if reading.repeats_m3_s
    )
    seen = {outlet.outlet_id for outlet in read}
    lacking = sum(outlet_id not in seen for outlet_id in test.expected_outlets)
    total = sum(outlet.measured_m3_s for outlet in read) if read and not lacking else None
    measured = total
    if point.measured_single_m3_s is not None:
        measured = point.measured_single_m3_s * frame.density_factor
    expanded = None if measured is None else _expanded(frame, point, read, measured)
    design = test.design.setpoints.at(point.setpoint)
    if design is None:
        design = point.target_m3_s
    judged = _judged(measured, design, limits.unit_over, limits.unit_under, expanded, limits=limits)
    error = verdict.reported_error(point.reported_m3_s, measured)
    pressure, is_derived, unusable = _pressure(frame, point, measured)
    return PointResult(
        point=point,
        design_m3_s=design,
        measured_m3_s=measured,
        uncertainty_m3_s=expanded,
        density_factor=frame.density_factor,
        outlets=read,
        outlet_sum_m3_s=total,
        missing_outlets=lacking if read or point.measured_single_m3_s is None else 0,
        share=verdict.share_of_design(measured, design),
        verdict=judged,
        error=error,
        agrees=None if error is None else at_most(abs(error), limits.agreement),
        pressure_pa=pressure,
        is_derived=is_derived,
        k_m3_s_sqrt_pa=(
            None
            if unusable or measured is None or pressure is None
            else sensor.k_from_reading(measured, pressure)
        ),
        unusable=unusable,
    )


def _judged(
    measured: float | None,
    design: float | None,
    over: float,
    under: float,
    expanded: float | None,
    *,
    limits: Tolerances,
) -> verdict.Verdict:
    if limits.guard_band and measured is not None and expanded is None:
        # A guard band needs the uncertainty: without an instrument there is no verdict.
        return "unknown"
    return verdict.judge(
        measured,
        design,
        over=over,
        under=under,
        floor_m3_s=limits.floor_m3_s,
        uncertainty_m3_s=expanded if limits.guard_band else None,
    )


def _outlet(frame: _Frame, reading: OutletReading, *, at_maximum: bool) -> OutletResult:
    told = outlets.repeats(reading.repeats_m3_s)
    factor = reading.hood_factor * frame.density_factor
    measured = told.mean_m3_s * factor
    repeatability = told.standard_m3_s * factor
    instrument = frame.test.instrument
    expanded = None
    if instrument is not None:
        share, floor = _accuracy(instrument)
        expanded = uncertainty.hood_uncertainty(
            measured,
            share,
            floor,
            repeatability_m3_s=repeatability,
            coverage=frame.practice.coverage,
        ).expanded_m3_s
    limits = frame.limits
    judged: verdict.Verdict = "not-applicable"
    if at_maximum:
        judged = _judged(
            measured,
            reading.design_m3_s,
            limits.outlet_over,
            limits.outlet_under,
            expanded,
            limits=limits,
        )
    return OutletResult(
        outlet_id=reading.outlet_id,
        tag=reading.tag,
        repeats=len(reading.repeats_m3_s),
        mean_m3_s=told.mean_m3_s,
        measured_m3_s=measured,
        repeatability_m3_s=repeatability,
        spread=told.spread,
        design_m3_s=reading.design_m3_s,
        share=verdict.share_of_design(measured, reading.design_m3_s) if at_maximum else None,
        uncertainty_m3_s=expanded,
        verdict=judged,
    )


def _accuracy(instrument: InstrumentSnapshot) -> tuple[float, float]:
    """Limits of a flow: share [fraction] and fixed part [m³/s]."""
    if instrument.kind == "manometer":
        # Its limits are of pressure, and half the share of a pressure is that of the flow. The
        # fixed part would need each velocity pressure of the traverse; it is left out.
        return instrument.accuracy_fraction / 2.0, 0.0
    return instrument.accuracy_fraction, instrument.accuracy_floor_si


def _expanded(
    frame: _Frame, point: PointSnapshot, read: Sequence[OutletResult], measured: float
) -> float | None:
    instrument = frame.test.instrument
    if instrument is None:
        return None
    share, floor = _accuracy(instrument)
    coverage = frame.practice.coverage
    if point.measured_single_m3_s is not None:
        told = uncertainty.hood_uncertainty(measured, share, floor, coverage=coverage)
        return told.expanded_m3_s
    return uncertainty.sum_uncertainty_m3_s(
        [outlet.measured_m3_s for outlet in read],
        share,
        floor,
        repeatability_m3_s=[outlet.repeatability_m3_s for outlet in read],
        coverage=coverage,
    )


def _pressure(
    frame: _Frame, point: PointSnapshot, measured: float | None
) -> tuple[float | None, bool, str]:
    """Sensed pressure for K, whether it is derived, and why the point gives no K."""
    test = frame.test
    pressure, is_derived = point.sensed_pressure_pa, False
    if pressure is None and point.reported_m3_s is not None:
        k = test.k_as_found_m3_s_sqrt_pa
        if point.round == "as-left":
            k = test.k_as_left_m3_s_sqrt_pa or k
        if k:
            pressure, is_derived = (point.reported_m3_s / k) ** 2, True
    if measured is None:
        return pressure, is_derived, "No flow was measured at this point."
    if pressure is None:
        return (
            None,
            False,
            "Neither sensed pressure, nor K as found with a reported flow, is known.",
        )
    if not at_least(pressure, frame.readable_pa):
        return pressure, is_derived, "The sensed pressure is below what the controller can read."
    if measured <= 0.0:
        return pressure, is_derived, "The measured flow is zero."
    return pressure, is_derived, ""


def _choice(frame: _Frame, points: Sequence[PointResult]) -> tuple[KChoice | None, list[int]]:
    """Recommend K from the as found readings, or from those as left when there are none."""
    usable = [i for i, result in enumerate(points) if result.k_m3_s_sqrt_pa is not None]
    used = [i for i in usable if points[i].point.round == "as-found"] or usable
    pressures = [points[i].pressure_pa or 0.0 for i in used]
    flows = [points[i].measured_m3_s or 0.0 for i in used]
    zero = frame.test.zero_reading_pa
    choice = choose(
        pressures,
        flows,
        uncertainty=_k_uncertainty(frame, [points[i] for i in used]),
        readable_pressure_pa=frame.readable_pa,
        practice=frame.practice,
        k_as_found=frame.test.k_as_found_m3_s_sqrt_pa,
        is_zeroed=zero is not None
        and at_most(abs(zero), frame.practice.zero_share * frame.readable_pa),
    )
    return choice, used


def _k_uncertainty(frame: _Frame, used: Sequence[PointResult]) -> float:
    """How far K may differ between readings for no other reason than the instrument [fraction].

    The share of reading is common to all readings of one instrument and cancels between them;
    the fixed part does not. The share is still the least that is allowed for.
    """
    instrument = frame.test.instrument
    if instrument is None or len(used) < 2:
        return frame.limits.agreement
    share, floor = _accuracy(instrument)
    factor = frame.practice.coverage / math.sqrt(3.0)
    parts = []
    for result in (
        max(used, key=lambda point: point.k_m3_s_sqrt_pa or 0.0),
        min(used, key=lambda point: point.k_m3_s_sqrt_pa or 0.0),
    ):
        is_sum = result.point.measured_single_m3_s is None
        count = len(result.outlets) if is_sum else 1
        parts.append(factor * floor * math.sqrt(count) / (result.measured_m3_s or math.inf))
    return max(math.hypot(*parts), factor * share)


def _with_prediction(result: PointResult, predicted: float) -> PointResult:
    target = result.point.target_m3_s or result.design_m3_s
    after = None
    if target and predicted > 0.0 and result.measured_m3_s is not None:
        after = target * result.measured_m3_s / predicted
    return replace(result, predicted_reported_m3_s=predicted, predicted_m3_s=after)


def _final_round(points: Sequence[PointResult]) -> RoundName:
    is_left = any(p.point.round == "as-left" and p.measured_m3_s is not None for p in points)
    return "as-left" if is_left else "as-found"


def _overall(points: Sequence[PointResult], final: RoundName) -> verdict.Verdict:
    """Worst verdict of the final round; a point where nothing was read says nothing.

    The cooling maximum must be among the points, because it is what the test has to prove.
    """
    read = [p for p in points if p.point.round == final and has_readings(p.point)]
    verdicts = {p.verdict for p in read}
    for worst in ("low", "high", "indeterminate", "unknown"):
        if worst in verdicts:
            return worst
    is_proven = any(p.point.setpoint == "cooling-max" for p in read)
    return "within" if is_proven and "within" in verdicts else "unknown"


def _balance(points: Sequence[PointResult], final: RoundName) -> outlets.BalancePlan | None:
    for result in points:
        if result.point.round == final and result.point.setpoint == "cooling-max":
            designs = [o.design_m3_s for o in result.outlets if o.design_m3_s]
            if len(designs) < 2 or len(designs) < len(result.outlets) or result.missing_outlets:
                return None
            return outlets.balance(designs, [o.measured_m3_s for o in result.outlets])
    return None
