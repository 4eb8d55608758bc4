"""From evaluated flow tests to what a sheet shows of them."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from balancing.airflow.domain.evaluate import air_density
from balancing.airflow.domain.results import OutletResult, PointResult, TestResult
from balancing.airflow.domain.types import METHOD_NAMES, SETPOINT_NAMES, InstrumentSnapshot
from balancing.airflow.domain.verdict import Verdict as Judged
from balancing.airflow.queries.records import TestRecord
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
REFERENCES = (
    "JCGM 100:2008 (GUM), combined and expanded uncertainty, k = 2",
    "limits from the project; choice of K by common practice, stated as such",
)


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
        k_method=METHOD_NAMES.get(test.k_method, test.k_method),
        k_reason=test.k_reason or (result.choice.reason if result.choice else ""),
        lowest_controllable_m3_s=result.lowest_controllable_m3_s,
        slope=_slope(result),
        verdict=VERDICTS[result.verdict],
        note=record.note,
        accepted_by=record.decided_by if decided else "",
        accepted_date=decided,
        decision_note=record.decision_note,
        points=tuple(_point(point, notes) for point in result.points),
        working=tuple(_steps(result)),
        references=REFERENCES,
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


def _slope(result: TestResult) -> float | None:
    """Measured to reported over the points as found, least squares through zero."""
    squares = products = 0.0
    for result_of_point in result.points:
        point, measured = result_of_point.point, result_of_point.measured_m3_s
        if point.round == "as-found" and point.reported_m3_s and measured is not None:
            squares += point.reported_m3_s**2
            products += point.reported_m3_s * measured
    return products / squares if squares else None


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
