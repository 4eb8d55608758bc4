"""From evaluated flow tests to what a sheet shows of them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from balancing.airflow.domain.evaluate import air_density
from balancing.airflow.domain.results import OutletResult, PointResult, TestResult
from balancing.airflow.domain.types import METHOD_NAMES, SETPOINT_NAMES, InstrumentSnapshot
from balancing.airflow.domain.verdict import Verdict as Judged
from balancing.airflow.queries.records import TestRecord
from projectsite.core import formulas
from projectsite.core.formulas import Step
from reports.domain.dossier import (
    InstrumentData,
    OutletReading,
    PointData,
    StepData,
    TestData,
    Verdict,
)

VERDICTS: dict[Judged, Verdict] = {
    "within": Verdict("done", "in tolerance"),
    "low": Verdict("hold", "low"),
    "high": Verdict("hold", "high"),
    "indeterminate": Verdict("look", "too close to tell"),
    "not-applicable": Verdict("wait", "no limit"),
    "unknown": Verdict("wait", "not judged"),
}


def test_data(
    result: TestResult, record: TestRecord, notes: dict[int, str], time_zone: str
) -> TestData:
    """Give a test as a sheet shows it."""
    test = result.test
    decided = _day(record.decided_at, time_zone) if test.state == "accepted" else ""
    return TestData(
        number=test.number,
        state=test.state,
        tested_date=test.tested_on.isoformat() if test.tested_on else "",
        technician=record.technician,
        entered_by=record.entered_by,
        instrument=_instrument(test.instrument, record),
        air_degc=test.conditions.air_degc,
        humidity_fraction=test.conditions.humidity_fraction,
        elevation_m=test.conditions.elevation_m,
        density_kg_m3=air_density(test.conditions),
        hood_reads_actual=test.conditions.reads_actual,
        zero_reading_pa=test.zero_reading_pa,
        k_as_found_m3_s_sqrt_pa=test.k_as_found_m3_s_sqrt_pa,
        k_as_left_m3_s_sqrt_pa=test.k_as_left_m3_s_sqrt_pa,
        k_fitted_m3_s_sqrt_pa=result.choice.option.k_m3_s_sqrt_pa if result.choice else None,
        k_method=METHOD_NAMES.get(test.k_method, test.k_method),
        k_reason=test.k_reason or (result.choice.reason if result.choice else ""),
        lowest_controllable_m3_s=result.lowest_controllable_m3_s,
        verdict=VERDICTS[result.verdict],
        note=record.note,
        accepted_by=record.decided_by if decided else "",
        accepted_date=decided,
        decision_note=record.decision_note,
        points=tuple(_point(point, notes) for point in result.points),
        working=tuple(_steps(result)),
        references=tuple(_references(result)),
    )


def _day(moment: datetime | None, time_zone: str) -> str:
    return moment.astimezone(ZoneInfo(time_zone)).date().isoformat() if moment else ""


def _instrument(known: InstrumentSnapshot | None, record: TestRecord) -> InstrumentData | None:
    if known is None:
        return None
    return InstrumentData(
        kind=record.instrument_kind or known.kind,
        name=known.name,
        serial=record.instrument_serial,
        accuracy_fraction=known.accuracy_fraction,
        accuracy_floor_si=known.accuracy_floor_si,
        floor_kind="pressure" if known.kind == "manometer" else "airflow",
        calibrated_date=known.calibrated_on.isoformat() if known.calibrated_on else "",
        due_date=known.due_on.isoformat() if known.due_on else "",
    )


def _references(result: TestResult) -> Iterator[str]:
    """References of the formulas that the figures came from, each with its title."""
    points = result.points
    used = {
        "air-density": result.density_kg_m3 is not None,
        "hood-uncertainty": any(point.uncertainty_m3_s is not None for point in points),
        "traverse-flow": any(point.point.is_traverse for point in points),
        "k-from-reading": any(point.k_m3_s_sqrt_pa is not None for point in points),
        "k-fit": result.choice is not None and len(result.choice.options) > 1,
        "lowest-controllable-flow": result.lowest_controllable_m3_s is not None,
    }
    for name, is_used in used.items():
        if is_used:
            formula = formulas.get(name)
            mark = "" if formula.mark in formula.reference else f" ({formula.mark})"
            yield f"{formula.title}: {formula.reference}{mark}"


def _point(result: PointResult, notes: dict[int, str]) -> PointData:
    point = result.point
    measured, spread = result.measured_m3_s, result.uncertainty_m3_s
    return PointData(
        round=point.round,
        setpoint=point.setpoint,
        label=SETPOINT_NAMES[point.setpoint],
        target_m3_s=result.design_m3_s if result.design_m3_s is not None else point.target_m3_s,
        reported_m3_s=point.reported_m3_s,
        sensed_pressure_pa=point.sensed_pressure_pa,
        measured_m3_s=measured,
        design_fraction=result.share,
        agreement_fraction=result.error,
        agrees=result.agrees,
        uncertainty_fraction=spread / measured if spread is not None and measured else None,
        verdict=VERDICTS[result.verdict],
        is_traverse=point.is_traverse,
        note=notes.get(point.id, ""),
        outlets=tuple(_outlet(outlet, result) for outlet in result.outlets),
    )


def _outlet(outlet: OutletResult, result: PointResult) -> OutletReading:
    readings = {reading.outlet_id: reading for reading in result.point.outlets}
    reading = readings[outlet.outlet_id]
    return OutletReading(
        tag=outlet.tag,
        design_m3_s=outlet.design_m3_s,
        hood_factor=reading.hood_factor,
        readings_m3_s=reading.repeats_m3_s,
        flow_m3_s=outlet.measured_m3_s,
        design_fraction=outlet.share,
        verdict=VERDICTS[outlet.verdict],
    )


def _steps(result: TestResult) -> list[StepData]:
    """Working of the test, and of the final cooling maximum as the pattern of all points."""
    pattern: tuple[Step, ...] = next(
        (p.steps for p in result.final_points if p.point.setpoint == "cooling-max"), ()
    )
    outlets = {outlet.tag for point in result.points for outlet in point.outlets}
    return [
        StepData(step.text, step.terms)
        for step in (*pattern, *result.steps)
        # The outlet table shows what went into each outlet's flow.
        if step.text.partition(":")[0] not in outlets
    ]
