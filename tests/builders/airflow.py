"""Instruments and flow tests for tests; a test goes its way through the operations."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID, uuid5

from balancing.airflow.models import FlowPoint, FlowTest, Instrument
from balancing.airflow.operations import acceptance, k_factor, points, tests
from projectsite.accounts.models import Project
from projectsite.core.scope import Scope
from projectsite.core.units import Entered, parse
from tests.builders.accounts import AT
from tests.builders.inventory import CFM
from zones.inventory.models import TerminalUnit

ON = date(2026, 11, 25)
"""Day of every test."""
_SPACE = UUID("b7f5c1de-6a3e-4a6e-9a57-3f4c2d1e0a99")


def cfm(value: float) -> Entered:
    """An airflow as typed in cfm."""
    return parse(f"{value:g} cfm", "airflow", default_unit="cubic_foot_per_minute")


def inch_water(value: float) -> Entered:
    """A pressure as typed in in. w.c."""
    return parse(f"{value:g} in. w.c.", "pressure", default_unit="inch_water")


def k_ip(value: float) -> Entered:
    """A K factor as typed in cfm at 1 in. w.c."""
    return parse(f"{value:g}", "k_factor", default_unit="cfm_per_root_inch_water")


def make_instrument(project: Project, serial: str = "FH-1", **overrides: Any) -> Instrument:
    """Store a flow hood of ±3 % ±7 cfm in calibration on the day of every test."""
    values: dict[str, Any] = {
        "kind": "hood",
        "name": "Hood 1",
        "accuracy_fraction": 0.03,
        "accuracy_floor_si": 7 * CFM,
        "calibrated_date": date(2026, 3, 2),
        "due_date": date(2027, 3, 2),
    }
    return Instrument.objects.create(project=project, serial=serial, **(values | overrides))


def make_flow_test(scope: Scope, unit: TerminalUnit, **overrides: Any) -> FlowTest:
    """Begin a test through the operation, with a hood, 55 °F and K 900 as found."""
    project = Project.objects.get(pk=scope.project.id)
    hood = Instrument.objects.filter(project=project).first() or make_instrument(project)
    key = uuid5(_SPACE, f"test of unit {unit.pk}, {FlowTest.objects.filter(unit=unit).count()}")
    begun = tests.start_test(
        scope,
        unit_id=unit.pk,
        client_key=overrides.pop("client_key", key),
        tested_date=ON,
        at=AT,
        instrument_id=hood.pk,
        **({"technician_id": scope.person.id} | overrides),
    )
    version = FlowTest.objects.get(pk=begun.test_id).version
    tests.save_conditions(
        scope,
        test_id=begun.test_id,
        version=version,
        conditions={
            "k_as_found_m3_s_sqrt_pa": k_ip(900),
            "air_degc": parse("55 °F", "temperature", default_unit="degree_Fahrenheit"),
            "zero_reading_pa": inch_water(0.0),
        },
    )
    return FlowTest.objects.get(pk=begun.test_id)


def read_point(
    scope: Scope,
    point: FlowPoint,
    *,
    reported: float,
    pressure: float | None = None,
    measured: Sequence[float] = (),
    damper: float = 0.6,
) -> int:
    """Enter a point in cfm and in. w.c.: one reading an outlet, or one value without outlets."""
    outlets = [o["id"] for o in FlowTest.objects.get(pk=point.test_id).design["outlets"]]
    values: points.PointValues = {
        "reported_m3_s": cfm(reported),
        "damper_fraction": Entered(damper, f"{damper:.0%}"),
    }
    if pressure is not None:
        values["sensed_pressure_pa"] = inch_water(pressure)
    readings = {}
    if outlets:
        readings = {(o, 1): cfm(m) for o, m in zip(outlets, measured, strict=True)}
    else:
        values["measured_m3_s"] = cfm(sum(measured))
    return points.save_point(
        scope,
        point_id=point.pk,
        version=FlowPoint.objects.get(pk=point.pk).version,
        values=values,
        readings=readings,
        at=AT,
    )


def point_of(test: FlowTest, setpoint: str = "cooling-max", round_: str = "as-found") -> FlowPoint:
    """Give a point of a test."""
    return FlowPoint.objects.get(test=test, setpoint=setpoint, round=round_)


def fill_flow_test(scope: Scope, test: FlowTest, *, k_true: float = 900.0) -> FlowTest:
    """Enter every point as found at its target, with a unit whose true K is ``k_true``."""
    outlets = max(len(test.design["outlets"]), 1)
    for point in FlowPoint.objects.filter(test=test, round="as-found").order_by("id"):
        reported = (point.target_m3_s or 0.0) / CFM
        read_point(
            scope,
            point,
            reported=reported,
            pressure=(reported / 900.0) ** 2,
            measured=[reported * k_true / 900.0 / outlets] * outlets,
        )
    return FlowTest.objects.get(pk=test.pk)


def submit_flow_test(scope: Scope, test: FlowTest) -> FlowTest:
    """Keep K as found and hand the test in."""
    version = k_factor.take_recommended_k(
        scope, test_id=test.pk, version=test.version, method="kept"
    )
    acceptance.submit(scope, test_id=test.pk, version=version, at=AT)
    return FlowTest.objects.get(pk=test.pk)


def accept_flow_test(scope: Scope, test: FlowTest, note: str = "Agreed on site.") -> FlowTest:
    """Accept a handed-in test as the office."""
    acceptance.accept(scope, test_id=test.pk, version=test.version, note=note, at=AT)
    return FlowTest.objects.get(pk=test.pk)


def make_accepted_test(office: Scope, balancer: Scope, unit: TerminalUnit) -> FlowTest:
    """Give a unit an accepted test by the balancer."""
    test = fill_flow_test(balancer, make_flow_test(balancer, unit))
    return accept_flow_test(office, submit_flow_test(balancer, test))
