"""Dossiers for tests: a project, units, tests with readings, all valid and open to change."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from projectsite.core.scope import UnitSystem
from reports.domain.dossier import (
    Dossier,
    FindingData,
    Frame,
    InstrumentData,
    OutletData,
    OutletReading,
    PointData,
    ProjectData,
    StepData,
    TestData,
    ToleranceData,
    UnitData,
    Verdict,
)

CFM = 0.028316846592 / 60
"""One cubic foot a minute [m³/s], exact by the international foot."""
K_IP = CFM / 249.08891**0.5
"""One cfm at 1 in. w.c. [m³/s at 1 Pa]."""
GOOD = Verdict("done", "in tolerance")
BAD = Verdict("hold", "out of tolerance")


def make_tolerances(**overrides: Any) -> ToleranceData:
    """Limits as a new project has them."""
    values: dict[str, Any] = {
        "unit_over": 0.10,
        "unit_under": 0.05,
        "outlet_over": 0.10,
        "outlet_under": 0.10,
        "floor_m3_s": 5 * CFM,
        "agreement": 0.05,
        "readable_pressure_pa": 1.0,
        "hood_minimum_m3_s": 25 * CFM,
        "inlet_velocity_limit_m_s": 10.16,
        "guard_band": False,
    }
    return ToleranceData(**(values | overrides))


def make_project_data(system: UnitSystem = "ip", **overrides: Any) -> ProjectData:
    """Build a project in Letter (inch-pound) or A4 (SI)."""
    values: dict[str, Any] = {
        "key": "alder",
        "number": "26-041",
        "name": "Alder Street Library",
        "system": system,
        "time_zone": "America/Denver",
        "elevation_m": 1609.0,
        "tolerances": make_tolerances(),
    }
    return ProjectData(**(values | overrides))


def make_instrument(**overrides: Any) -> InstrumentData:
    """Build a flow hood in calibration."""
    values: dict[str, Any] = {
        "kind": "flow hood",
        "name": "Hood 2",
        "serial": "FH-20417",
        "accuracy_fraction": 0.03,
        "accuracy_floor_si": 7 * CFM,
        "calibrated_date": "2026-03-02",
        "due_date": "2027-03-02",
    }
    return InstrumentData(**(values | overrides))


def make_outlet_readings(total_cfm: float, count: int = 4) -> tuple[OutletReading, ...]:
    """Build readings of a unit's outlets that add up to about this flow."""
    found = []
    for i in range(count):
        flow = total_cfm / count * (1 + 0.02 * (i - (count - 1) / 2)) * CFM
        found.append(
            OutletReading(
                tag=f"D-{i + 1}",
                design_m3_s=780 / count * CFM,
                hood_factor=1.0,
                readings_m3_s=(flow * 0.995, flow * 1.005, flow),
                flow_m3_s=flow,
                design_fraction=flow / (780 / count * CFM),
                verdict=GOOD,
            )
        )
    return tuple(found)


def make_point(
    setpoint: str, round_: str, target: float, reported: float, measured: float, **overrides: Any
) -> PointData:
    """Build a point from airflows in cfm."""
    labels = {
        "cooling-max": "cooling maximum",
        "middle": "middle flow",
        "cooling-min": "cooling minimum",
        "heating-max": "heating maximum",
    }
    share = measured / target
    values: dict[str, Any] = {
        "round": round_,
        "setpoint": setpoint,
        "label": labels[setpoint],
        "target_m3_s": target * CFM,
        "reported_m3_s": reported * CFM,
        "sensed_pressure_pa": 180.0 * (reported / 780) ** 2,
        "measured_m3_s": measured * CFM,
        "design_fraction": share,
        "agreement_fraction": (reported - measured) / measured,
        "agrees": abs(reported - measured) <= 0.05 * measured,
        "uncertainty_fraction": 0.041,
        "verdict": GOOD if 0.95 <= share <= 1.10 else BAD,
        "outlets": make_outlet_readings(measured),
    }
    return PointData(**(values | overrides))


def make_test_data(**overrides: Any) -> TestData:
    """Build an accepted test with four points before and after the change of K."""
    rows = (
        ("cooling-max", 780, 690, 774),
        ("middle", 480, 424, 484),
        ("cooling-min", 180, 159, 183),
        ("heating-max", 320, 281, 327),
    )
    points = [make_point(s, "as-found", t, t, t / r * m * 1.13) for s, t, r, m in rows]
    points += [make_point(s, "as-left", t, t * 1.002, m) for s, t, _, m in rows]
    values: dict[str, Any] = {
        "number": 2,
        "state": "accepted",
        "tested_date": "2026-11-20",
        "technician": "Rhea Calder",
        "entered_by": "Rhea Calder",
        "instrument": make_instrument(),
        "air_degc": 13.3,
        "humidity_fraction": 0.41,
        "elevation_m": 1609.0,
        "density_kg_m3": 1.018,
        "zero_reading_pa": 0.2,
        "k_as_found_m3_s_sqrt_pa": 916 * K_IP,
        "k_as_left_m3_s_sqrt_pa": 1032 * K_IP,
        "k_fitted_m3_s_sqrt_pa": 1032 * K_IP,
        "k_method": "least relative squares",
        "k_reason": "Flows span more than three to one, so relative deviations count alike.",
        "lowest_controllable_m3_s": 118 * CFM,
        "verdict": GOOD,
        "note": "Damper 3 opened by half a turn; ceiling plenum open on the north side.",
        "accepted_by": "Ines Marlow",
        "accepted_date": "2026-11-21",
        "points": tuple(points),
        "working": (
            StepData(
                "K = Σ(Q/√p · Qm/Q²) / Σ(1) over four points",
                (("K found", 916 * K_IP, "k_factor"), ("K left", 1032 * K_IP, "k_factor")),
            ),
            StepData(
                "Q = K · √p",
                (
                    ("K", 1032 * K_IP, "k_factor"),
                    ("p", 142.2, "pressure"),
                    ("Q", 780 * CFM, "airflow"),
                ),
            ),
            StepData(
                "Qmin = K · √p_readable",
                (("p_readable", 3.1, "pressure"), ("Qmin", 118 * CFM, "airflow")),
            ),
            StepData("ρ = p_b / (R · T)", (("ρ", 1.018, "density"), ("T", 13.3, "temperature"))),
        ),
        "references": ("JCGM 100:2008, 5.1.2", "ANSI/ASHRAE Standard 111, airflow measurement"),
    }
    return TestData(**(values | overrides))


def make_unit_data(tag: str = "TU-2-14", **overrides: Any) -> UnitData:
    """Build a tested unit with four outlets and one open item."""
    values: dict[str, Any] = {
        "tag": tag,
        "address": f"http://127.0.0.1:8000/p/alder/units/{tag}",
        "air_handler": "AH-2",
        "zone": "Z-2-14",
        "floor": "2",
        "location": "Reading room north",
        "heat": "hot-water",
        "box_model": "Round inlet box",
        "inlet": "8 in.",
        "free_area_m2": 0.0306,
        "nominal_k_m3_s_sqrt_pa": 916 * K_IP,
        "controller": "Controller A",
        "readable_pressure_pa": 1.0,
        "cooling_max_m3_s": 780 * CFM,
        "cooling_min_m3_s": 180 * CFM,
        "heating_max_m3_s": 320 * CFM,
        "network_number": 201,
        "mac_address": 14,
        "device_instance": 201014,
        "revision": 2,
        "outlets": tuple(
            OutletData(f"D-{i + 1}", "ceiling diffuser", "north row", 195 * CFM) for i in range(4)
        ),
        "test": make_test_data(),
        "state": Verdict("done", "accepted"),
        "findings": (
            FindingData(
                "inventory.inlet-velocity",
                10,
                tag,
                "At 780 cfm the inlet runs at 2,230 fpm, above the project’s 2,000 fpm.",
                "Check noise with the designer.",
            ),
        ),
    }
    return UnitData(**(values | overrides))


def make_untested_unit(tag: str, **overrides: Any) -> UnitData:
    """Build a unit without test, address or findings."""
    values: dict[str, Any] = {
        "test": None,
        "state": Verdict("wait", "not tested"),
        "findings": (),
        "network_number": None,
        "mac_address": None,
        "device_instance": None,
        "revision": 0,
    }
    return make_unit_data(tag, **(values | overrides))


def make_dossier(
    kind: str = "unit-balance", *, system: UnitSystem = "ip", units: int = 1, **frame: Any
) -> Dossier:
    """Build a dossier of this kind; every tenth unit of a larger one is not tested."""
    titles = {
        "unit-balance": "Air balance sheet",
        "balance-report": "Air balance report",
        "point-list": "Point and address list",
    }
    made = tuple(
        make_untested_unit(f"TU-2-{i}") if i % 10 == 9 else make_unit_data(f"TU-2-{i}")
        for i in range(14, 14 + units)
    )
    values: dict[str, Any] = {
        "kind": kind,
        "title": titles[kind],
        "scope_label": made[0].tag if kind == "unit-balance" else "AH-2",
        "date": "2026-11-25",
        "person": "Ines Marlow",
        "revision": max(unit.revision for unit in made),
    }
    return Dossier(Frame(**(values | frame)), make_project_data(system), made)


def issued(dossier: Dossier, number: str = "AB-0007", issue: int = 1) -> Dossier:
    """Give the same dossier as issued."""
    return replace(
        dossier, frame=replace(dossier.frame, state="issued", number=number, issue=issue)
    )
