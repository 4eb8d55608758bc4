"""One unit and its test, in inch-pound figures, to be bent by each test."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.domain.results import TestResult
from balancing.airflow.domain.rules import check, check_test
from balancing.airflow.domain.types import (
    ControllerSnapshot,
    FlowTestSnapshot,
    InletSnapshot,
    InstrumentSnapshot,
    OutletReading,
    PointSnapshot,
    RoundName,
    SetpointName,
    Setpoints,
    UnitSnapshot,
)
from projectsite.core import units
from projectsite.core.findings import Finding
from projectsite.core.scope import Tolerances

CFM = 0.3048**3 / 60
INCH = 249.08891
K = CFM / INCH**0.5
FT2 = 0.3048**2

TOLERANCES = Tolerances(
    unit_over=0.10,
    unit_under=0.10,
    outlet_over=0.10,
    outlet_under=0.10,
    floor_m3_s=0.0,
    agreement=0.05,
    readable_pressure_pa=0.004 * INCH,
    hood_minimum_m3_s=50 * CFM,
    inlet_velocity_limit_m_s=10.16,
    guard_band=False,
)
INLET_8 = InletSnapshot("8 in", 0.2032, 0.3386 * FT2, 916 * K)
INLET_6 = InletSnapshot("6 in", 0.1524, 0.1905 * FT2, 515 * K)
INLET_10 = InletSnapshot("10 in", 0.254, 0.5290 * FT2, 1432 * K)
HOOD = InstrumentSnapshot(
    "hood", "Flow hood", 0.03, 7 * CFM, 25 * CFM, date(2026, 1, 10), date(2027, 1, 10)
)
UNIT = UnitSnapshot(
    unit_id=7,
    tag="TU-1",
    setpoints=Setpoints(600 * CFM, 120 * CFM),
    box_model="Single duct",
    inlet=INLET_8,
    other_inlets=(INLET_6, INLET_10),
    controller=ControllerSnapshot("Box controller", 0.004 * INCH, 1.5 * INCH),
)


def text(value: float, kind: str) -> str:
    return units.show(value, kind, "ip", with_unit=True)


def point(
    setpoint: SetpointName = "cooling-max",
    *,
    reported: float | None = None,
    measured: float | None = None,
    pressure: float | None = None,
    target: float | None = None,
    damper: float | None = None,
    outlets: tuple[OutletReading, ...] = (),
    round_name: RoundName = "as-found",
) -> PointSnapshot:
    """A point from cfm and in. w.c."""
    return PointSnapshot(
        id=1,
        round=round_name,
        setpoint=setpoint,
        target_m3_s=None if target is None else target * CFM,
        reported_m3_s=None if reported is None else reported * CFM,
        sensed_pressure_pa=None if pressure is None else pressure * INCH,
        damper_fraction=damper,
        measured_single_m3_s=None if measured is None else measured * CFM,
        outlets=outlets,
    )


def outlet(number: int, design: float, *repeats: float, factor: float = 1.0) -> OutletReading:
    """Readings of an outlet from cfm."""
    readings = tuple(value * CFM for value in repeats)
    return OutletReading(number, f"D-{number}", readings, design * CFM, factor)


GOOD_POINTS = (
    point(reported=600, measured=597, pressure=(600 / 916) ** 2, target=600, damper=0.6),
    point("cooling-min", reported=120, measured=121, pressure=(120 / 916) ** 2, target=120),
)


def a_test(*points: PointSnapshot, **changes: Any) -> FlowTestSnapshot:
    """A test that is in order unless changed."""
    test = FlowTestSnapshot(
        id=3,
        number=1,
        state="accepted",
        design=UNIT,
        points=points or GOOD_POINTS,
        instrument=HOOD,
        tested_on=date(2026, 6, 1),
        zero_reading_pa=0.0,
        k_as_found_m3_s_sqrt_pa=916 * K,
        k_as_left_m3_s_sqrt_pa=916 * K,
        k_method="kept",
    )
    return replace(test, **changes)


def result_of(test: FlowTestSnapshot, **limits: Any) -> TestResult:
    """Evaluate with the usual tolerances, changed."""
    return evaluate(test, replace(TOLERANCES, **limits))


def findings_of(test: FlowTestSnapshot, **limits: Any) -> dict[str, Finding]:
    """Findings of a test by name; a name that comes twice keeps the first."""
    found: dict[str, Finding] = {}
    for finding in check_test(result_of(test, **limits), text):
        found.setdefault(finding.code.removeprefix("airflow."), finding)
    return found


def unit_findings(
    unit: UnitSnapshot = UNIT, *tests: FlowTestSnapshot, **limits: Any
) -> dict[str, Finding]:
    """Findings of a unit with its tests by name."""
    found: dict[str, Finding] = {}
    for finding in check(unit, tests, replace(TOLERANCES, **limits), text):
        found.setdefault(finding.code.removeprefix("airflow."), finding)
    return found
