"""Every airflow finding: when it comes, when it does not, and that it reads well."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from balancing.airflow.domain import rules
from balancing.airflow.domain.types import (
    Conditions,
    FlowTestSnapshot,
    Setpoints,
    UnitSnapshot,
)
from projectsite.core.findings import Severity
from tests.unit.airflow.situations import (
    CFM,
    GOOD_POINTS,
    HOOD,
    INCH,
    INLET_6,
    INLET_8,
    UNIT,
    K,
    a_test,
    findings_of,
    outlet,
    point,
    unit_findings,
)

MINIMUM = GOOD_POINTS[1]


def pressure(flow: float, k: float = 916) -> float:
    return float((flow / k) ** 2)


def at_max(**changes: Any) -> FlowTestSnapshot:
    usual = {"reported": 600, "measured": 597, "pressure": pressure(600), "target": 600}
    return a_test(point(**{**usual, **changes}), MINIMUM)


A = [(0.010, 96), (0.040, 184), (0.160, 352), (0.360, 530)]
TRENDING = a_test(
    *(
        point(setpoint, reported=916 * dp**0.5, measured=flow, pressure=dp)  # type: ignore[arg-type]  # literals from a table
        for setpoint, (dp, flow) in zip(
            ("cooling-min", "heating-max", "middle", "cooling-max"), A, strict=True
        )
    ),
    design=replace(UNIT, setpoints=Setpoints(530 * CFM, 96 * CFM)),
    instrument=replace(HOOD, accuracy_floor_si=2 * CFM),
    zero_reading_pa=None,
    k_as_left_m3_s_sqrt_pa=None,
)

SITUATIONS: list[tuple[str, FlowTestSnapshot, str]] = [
    ("unit-out-of-tolerance", at_max(measured=530, reported=530), "88 % of design): too low"),
    ("unit-out-of-tolerance", at_max(measured=670, reported=670), "112 % of design): too high"),
    (
        "reported-disagrees",
        at_max(reported=600, measured=540),
        "reported 600 cfm, hood 540 cfm: the controller reads 11 % high.",
    ),
    ("short-but-agrees", at_max(reported=480, measured=470), "the air is short, not the sensor"),
    ("damper-open-short", at_max(measured=480, damper=1.0), "damper at 100 % the unit reaches 480"),
    (
        "target-not-design",
        at_max(target=500, reported=500, measured=500, pressure=pressure(500)),
        "told to hold 500 cfm; the cooling maximum is 600 cfm",
    ),
    (
        "outlet-out-of-tolerance",
        at_max(measured=None, outlets=(outlet(1, 300, 260), outlet(2, 300, 340))),
        "measured 260 cfm, design 300 cfm (87 %): too low",
    ),
    (
        "outlet-sum-leak",
        at_max(measured=600, outlets=(outlet(1, 300, 250), outlet(2, 300, 270))),
        "add up to 520 cfm, 13 % less than the unit's 600 cfm",
    ),
    (
        "outlet-sum-leak",
        at_max(measured=600, outlets=(outlet(1, 300, 350), outlet(2, 300, 330))),
        "13 % more than",
    ),
    (
        "repeats-spread",
        at_max(measured=None, outlets=(outlet(1, 300, 280, 300, 310), outlet(2, 300, 300))),
        "D-1 at cooling maximum by 10 %; 5.0 % is allowed",
    ),
    (
        "hood-unsuited",
        a_test(GOOD_POINTS[0], point("cooling-min", reported=45, measured=44)),
        "The hood read 44 cfm (cooling minimum); below 50 cfm",
    ),
    ("tubes-crossed-or-off", at_max(pressure=-0.2), "sensed pressure -0.200 in. w.c. is negative"),
    ("tubes-crossed-or-off", at_max(pressure=0.001), "is next to nothing; about 0.4"),
    ("zero-drift", a_test(zero_reading_pa=0.01 * INCH), "Without air the sensor shows 0.010"),
    (
        "k-looks-like-other-inlet",
        a_test(k_as_left_m3_s_sqrt_pa=520 * K),
        "K as left 520 cfm at 1 in. w.c. is that of the 6 in inlet",
    ),
    (
        "k-impossible",
        a_test(k_as_left_m3_s_sqrt_pa=1400 * K),
        "K as left 1400 cfm at 1 in. w.c. can't be: the 8 in inlet stays below 1357",
    ),
    ("k-change-large", a_test(k_as_left_m3_s_sqrt_pa=700 * K), "by -24 %"),
    ("k-trends-with-flow", TRENDING, "K rises by 9.1 % toward low flow; a zero error of -0.002"),
    (
        "k-not-in-use",
        at_max(pressure=pressure(600, 1000), reported=600),
        "give 550 cfm, but the controller reported 600 cfm",
    ),
    ("instrument-out-of-calibration", a_test(tested_on=date(2027, 2, 1)), "due for calibration on"),
    ("instrument-out-of-calibration", a_test(tested_on=date(2026, 1, 1)), "2026-01-10, after the"),
    (
        "instrument-out-of-calibration",
        a_test(instrument=replace(HOOD, due_on=None)),
        "no complete calibration dates",
    ),
    ("instrument-unknown", a_test(instrument=None), "does not say which instrument"),
    (
        "conditions-missing",
        a_test(conditions=Conditions(elevation_m=0.0, reads_actual=False)),
        "air temperature is missing",
    ),
]


def test_a_good_test_yields_nothing() -> None:
    assert unit_findings(UNIT, a_test()) == {}


@pytest.mark.parametrize(
    ("name", "test", "told"), SITUATIONS, ids=[f"{n}-{t[:12]}" for n, _, t in SITUATIONS]
)
def test_finding_comes_and_says_why(name: str, test: FlowTestSnapshot, told: str) -> None:
    found = findings_of(test)
    assert name in found
    assert told in found[name].message
    assert found[name].action.endswith(".")


SCHEDULES: list[tuple[str, UnitSnapshot, str]] = [
    (
        "minimum-not-readable",
        replace(UNIT, setpoints=Setpoints(600 * CFM, 40 * CFM)),
        "The scheduled cooling minimum of 40 cfm lies below 58 cfm",
    ),
    (
        "minimum-not-readable",
        replace(UNIT, setpoints=Setpoints(600 * CFM, 40 * CFM, standby_min_m3_s=30 * CFM)),
        "cooling minimum of 40 cfm and standby minimum of 30 cfm lie below",
    ),
    (
        "maximum-above-span",
        replace(UNIT, setpoints=Setpoints(1200 * CFM, 120 * CFM)),
        "is above 1122 cfm, where the controller's sensor ends at 1.500 in. w.c.",
    ),
    (
        "setpoints-out-of-order",
        replace(UNIT, setpoints=Setpoints(600 * CFM, 700 * CFM)),
        "The cooling minimum 700 cfm is above the cooling maximum 600 cfm.",
    ),
    (
        "inlet-velocity-high",
        replace(UNIT, setpoints=Setpoints(800 * CFM, 120 * CFM)),
        "at 2363 fpm, above 2000 fpm",
    ),
    (
        "amplification-doubtful",
        replace(UNIT, inlet=replace(INLET_8, nominal_k_m3_s_sqrt_pa=1300 * K)),
        "amplifies 1.2 times",
    ),
    ("not-tested", UNIT, "The airflow has not been tested."),
]


@pytest.mark.parametrize(
    ("name", "unit", "told"), SCHEDULES, ids=[f"{n}-{t[:12]}" for n, _, t in SCHEDULES]
)
def test_schedule_finding_comes_and_says_why(name: str, unit: UnitSnapshot, told: str) -> None:
    found = unit_findings(unit)
    assert name in found
    assert told in found[name].message


def test_schedule_that_is_in_order_yields_nothing_more() -> None:
    assert set(unit_findings(UNIT)) == {"not-tested"}


def test_scheduled_zero_minimum_may_stay() -> None:
    unit = replace(UNIT, setpoints=Setpoints(600 * CFM, 0.0))
    assert "minimum-not-readable" not in unit_findings(unit)


def test_minimum_at_the_lowest_flow_passes_after_conversion() -> None:
    lowest = 916 * K * (0.004 * INCH) ** 0.5
    unit = replace(UNIT, setpoints=Setpoints(600 * CFM, lowest * (1 - 1e-12)))
    assert "minimum-not-readable" not in unit_findings(unit)


def test_project_limit_stands_in_for_an_unknown_controller() -> None:
    unit = replace(UNIT, controller=None, setpoints=Setpoints(600 * CFM, 100 * CFM))
    assert "minimum-not-readable" not in unit_findings(unit)
    assert "minimum-not-readable" in unit_findings(unit, readable_pressure_pa=0.03 * INCH)


def test_accepted_k_replaces_that_of_the_library() -> None:
    unit = replace(UNIT, setpoints=Setpoints(600 * CFM, 60 * CFM))
    test = a_test(design=unit, k_as_left_m3_s_sqrt_pa=1000 * K, k_reason="noted")
    assert "minimum-not-readable" not in unit_findings(unit)
    assert "minimum-not-readable" in unit_findings(unit, test)


def test_schedule_change_after_the_test() -> None:
    now = replace(UNIT, setpoints=Setpoints(650 * CFM, 120 * CFM), inlet=INLET_6)
    found = unit_findings(now, a_test())["tested-before-schedule-change"]
    assert "a cooling maximum of 600 cfm → 650 cfm and inlet 8 in → 6 in" in found.message
    assert found.severity is Severity.HOLDS


def test_conversion_noise_is_no_schedule_change() -> None:
    now = replace(UNIT, setpoints=Setpoints(600 * CFM * (1 + 1e-13), 120 * CFM))
    assert "tested-before-schedule-change" not in unit_findings(now, a_test())


@pytest.mark.parametrize("state", ["open", "submitted", "returned"])
def test_test_in_hand_is_not_accepted(state: Any) -> None:
    found = unit_findings(UNIT, a_test(state=state))
    assert "test-not-accepted" in found
    assert "not-tested" not in found


def test_superseded_tests_say_nothing() -> None:
    assert set(unit_findings(UNIT, a_test(state="superseded"))) == {"not-tested"}


def test_guard_band_makes_a_close_reading_indeterminate() -> None:
    close = at_max(measured=545, reported=545)
    assert "verdict-indeterminate" not in findings_of(close)
    assert "verdict-indeterminate" in findings_of(close, guard_band=True)


def test_history_before_the_change_is_left_alone() -> None:
    test = a_test(
        point(reported=600, measured=540, pressure=pressure(600)),
        MINIMUM,
        point(reported=600, measured=598, pressure=pressure(600, 824), round_name="as-left"),
        k_as_left_m3_s_sqrt_pa=824 * K,
    )
    assert findings_of(test) == {}


def test_large_change_with_a_reason_is_settled() -> None:
    test = a_test(k_as_left_m3_s_sqrt_pa=700 * K, k_reason="Inlet measured as 7 in.")
    assert "k-change-large" not in findings_of(test)


def test_thin_air_raises_the_bound_of_k() -> None:
    high = Conditions(air_degc=20.0, elevation_m=2500.0)
    test = a_test(k_as_left_m3_s_sqrt_pa=1400 * K, k_reason="noted")
    assert "k-impossible" in findings_of(test)
    assert "k-impossible" not in findings_of(replace(test, conditions=high))


def test_small_flow_near_zero_pressure_is_no_tube_fault() -> None:
    test = a_test(GOOD_POINTS[0], point("cooling-min", reported=60, measured=60, pressure=0.003))
    assert "tubes-crossed-or-off" not in findings_of(test)


def test_zero_that_was_read_and_is_good_changes_the_advice() -> None:
    first = findings_of(TRENDING)["k-trends-with-flow"].action
    then = findings_of(replace(TRENDING, zero_reading_pa=0.0))["k-trends-with-flow"].action
    assert first == "Zero the transducer first and read again."
    assert "enter the offset" in then


def test_every_declared_finding_is_tried_here() -> None:
    tried = {name for name, *_ in SITUATIONS} | {name for name, *_ in SCHEDULES}
    text = Path(__file__).read_text(encoding="utf-8")
    others = {"test-not-accepted", "tested-before-schedule-change", "verdict-indeterminate"}
    assert all(f'"{name}"' in text for name in others)
    assert {rule.code for rule in rules.RULES} == {f"airflow.{n}" for n in tried | others}


def test_codes_are_unique_and_kebab() -> None:
    codes = [rule.code for rule in rules.RULES]
    assert len(codes) == len(set(codes))
    assert all(re.fullmatch(r"airflow\.[a-z]+(-[a-z]+)*", code) for code in codes)
