"""Evaluation of a flow test: sums, verdicts, the choice of K and what is missing."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest

from balancing.airflow.domain import completeness
from balancing.airflow.domain.choice import KChoice
from balancing.airflow.domain.snapshots import (
    design_record,
    limits_from_record,
    unit_from_record,
    unit_snapshot,
)
from balancing.airflow.domain.types import Conditions, Setpoints
from projectsite.core.calculators import working_line
from tests.unit.airflow.situations import (
    CFM,
    GOOD_POINTS,
    HOOD,
    INCH,
    TOLERANCES,
    UNIT,
    K,
    a_test,
    outlet,
    point,
    result_of,
)
from zones.inventory.domain.types import ControllerFacts, InletFacts, UnitFacts


def test_a_good_test_is_within_and_complete() -> None:
    result = result_of(a_test())
    assert result.verdict == "within"
    assert result.is_complete
    assert list(completeness.missing(result)) == []
    assert result.points[0].share == pytest.approx(597 / 600)
    assert result.points[0].agrees is True


def test_measured_is_the_sum_of_means_with_hood_factor() -> None:
    read = (outlet(1, 300, 243, 251, 247), outlet(2, 300, 305, factor=412 / 388))
    result = result_of(a_test(point(reported=570, outlets=read), expected_outlets=(1, 2)))
    first, second = result.points[0].outlets
    # 247 as mean of three and 323.9 with the hood factor 1.0619 (common practice, no source).
    assert first.measured_m3_s / CFM == pytest.approx(247)
    assert second.measured_m3_s / CFM == pytest.approx(323.9, abs=0.05)
    assert result.points[0].measured_m3_s == pytest.approx(
        first.measured_m3_s + second.measured_m3_s
    )


def test_a_sum_with_an_outlet_missing_is_unknown() -> None:
    test = a_test(point(reported=570, outlets=(outlet(1, 300, 250),)), expected_outlets=(1, 2))
    result = result_of(test)
    assert result.points[0].measured_m3_s is None
    assert result.points[0].missing_outlets == 1
    assert result.verdict == "unknown"
    assert any("(1 outlet not read)" in words for words in result.missing)


def test_an_outlet_without_readings_counts_as_not_read() -> None:
    test = a_test(point(reported=570, outlets=(outlet(1, 300, 250), outlet(2, 300))),
                  expected_outlets=(1, 2))  # fmt: skip
    assert result_of(test).points[0].missing_outlets == 1


def test_uncertainty_of_a_sum_has_a_common_part() -> None:
    read = tuple(outlet(i, q, q) for i, q in enumerate((200, 200, 250, 150)))
    result = result_of(a_test(point(reported=800, outlets=read)))
    expanded = result.points[0].uncertainty_m3_s
    # 32.1 cfm: JCGM 100, the share of reading being common (derived).
    assert expanded is not None
    assert expanded / CFM == pytest.approx(32.1, abs=0.05)


def test_instrument_without_density_correction_at_altitude() -> None:
    conditions = Conditions(24.0, 0.5, 1609.0, reads_actual=False)
    result = result_of(a_test(point(reported=900, measured=1000), conditions=conditions))
    measured = result.points[0].measured_m3_s
    # √(0.075 lb/ft³ over 0.97154 kg/m³), the density by ASHRAE Fundamentals chapter 1.
    assert measured is not None
    assert measured / CFM == pytest.approx(1000 * (1.201385 / 0.97154) ** 0.5, rel=1e-4)
    thermal = replace(HOOD, kind="anemometer")
    again = result_of(
        a_test(point(measured=1000), conditions=conditions, instrument=thermal)
    ).points[0]
    assert again.measured_m3_s is not None
    assert again.measured_m3_s / CFM == pytest.approx(1000 * 1.201385 / 0.97154, rel=1e-4)


def test_pressure_follows_from_reported_flow_and_k() -> None:
    result = result_of(a_test(point(reported=600, measured=540), k_as_found_m3_s_sqrt_pa=900 * K))
    found = result.points[0]
    assert found.is_derived
    # 900 → 810: K × measured/reported (common practice, no source).
    assert found.k_m3_s_sqrt_pa == pytest.approx(810 * K)
    assert result.choice is not None
    assert result.choice.option.method == "one-reading"
    assert result.choice.change == pytest.approx(-0.10)
    assert not result.choice.needs_reason


def test_prediction_after_the_change_meets_the_target() -> None:
    result = result_of(a_test(point(reported=600, measured=540, target=600),
                              k_as_found_m3_s_sqrt_pa=900 * K))  # fmt: skip
    assert result.points[0].predicted_reported_m3_s == pytest.approx(540 * CFM)
    assert result.points[0].predicted_m3_s == pytest.approx(600 * CFM)


def test_change_beyond_twenty_percent_needs_a_reason() -> None:
    test = a_test(point(reported=600, measured=470), k_as_found_m3_s_sqrt_pa=900 * K)
    choice = result_of(test).choice
    assert choice is not None
    assert choice.needs_reason


def example(
    *readings: tuple[float, float], floor: float = 2.0, zero: float | None = None
) -> KChoice:
    names = ("cooling-max", "middle", "cooling-min", "heating-max")
    points = tuple(
        point(name, reported=900 * dp**0.5, measured=flow, pressure=dp)  # type: ignore[arg-type]  # literals from a table
        for name, (dp, flow) in zip(names, readings, strict=False)
    )
    choice = result_of(
        a_test(*points, instrument=replace(HOOD, accuracy_floor_si=floor * CFM),
               k_as_found_m3_s_sqrt_pa=900 * K,
               zero_reading_pa=None if zero is None else zero * INCH)
    ).choice  # fmt: skip
    assert choice is not None
    return choice


WORKED_A = ((0.360, 530.0), (0.160, 352.0), (0.040, 184.0), (0.010, 96.0))


def test_worked_example_a_asks_for_the_zero_first() -> None:
    choice = example(*WORKED_A)
    assert choice.trend == "rises-toward-low-flow"
    assert choice.zero_first
    assert choice.option.method == "zero-offset"
    # K 879.77, zero −0.002162 in. w.c. (common practice, no source).
    assert choice.option.k_m3_s_sqrt_pa / K == pytest.approx(879.77, abs=0.01)
    assert choice.option.zero_pa / INCH == pytest.approx(-0.002162, abs=1e-6)


def test_trend_with_a_good_zero_takes_the_offset() -> None:
    choice = example(*WORKED_A, zero=0.0)
    assert not choice.zero_first
    assert "offset is entered with K" in choice.reason


def test_offset_that_shows_flow_at_rest_is_refused() -> None:
    # Q² = K² (Δp + 0.010): at rest it would show more than the lowest controllable flow.
    readings = [(dp, 880 * (dp + 0.010) ** 0.5) for dp in (0.36, 0.16, 0.04)]
    choice = example(*readings, zero=0.0)
    refused = next(option for option in choice.options if option.method == "zero-offset")
    assert "lowest controllable flow" in refused.refusal
    assert choice.option.method == "least-relative"


def test_readings_that_agree_take_one_k() -> None:
    near = example((0.36, 531.0), (0.30, 480.0))
    assert (near.trend, near.option.method) == ("none", "least-squares")
    wide = example((0.36, 528.0), (0.16, 353.0), (0.01, 88.2))
    assert (wide.trend, wide.option.method) == ("none", "least-relative")


def test_scatter_is_told_apart_from_a_trend() -> None:
    choice = example((0.36, 528.0), (0.16, 400.0), (0.04, 150.0), (0.01, 95.0))
    assert choice.trend == "scatter"
    assert "Read again" in choice.reason


def test_pressure_below_what_can_be_read_gives_no_k() -> None:
    result = result_of(a_test(point(reported=50, measured=60, pressure=0.003)))
    assert result.choice is None
    assert "below what the controller can read" in result.points[0].unusable


def test_readings_as_left_carry_the_verdict() -> None:
    test = a_test(
        point(reported=600, measured=480),
        GOOD_POINTS[1],
        point(reported=600, measured=598, round_name="as-left"),
        k_as_left_m3_s_sqrt_pa=733 * K,
    )
    result = result_of(test)
    assert (result.final_round, result.verdict) == ("as-left", "within")
    assert list(completeness.missing(result)) == []


def test_a_changed_k_must_be_proven() -> None:
    result = result_of(a_test(k_as_left_m3_s_sqrt_pa=850 * K))
    assert "the readings at cooling maximum as left" in result.missing


def test_missing_things_are_named() -> None:
    test = a_test(point(measured=597), instrument=None, k_as_found_m3_s_sqrt_pa=None)
    missing = result_of(test).missing
    assert "the instrument" in missing
    assert "K as found" in missing
    assert "the reported airflow at cooling maximum as found" in missing
    assert "the readings at cooling minimum as found" in missing


def test_limits_kept_by_the_test_outlast_those_of_the_project() -> None:
    strict = replace(TOLERANCES, unit_under=0.01)
    test = a_test(point(reported=570, measured=570), GOOD_POINTS[1])
    assert result_of(test).verdict == "within"
    assert result_of(replace(test, limits=strict)).verdict == "low"


def test_guard_band_without_an_instrument_gives_no_verdict() -> None:
    assert result_of(a_test(instrument=None), guard_band=True).points[0].verdict == "unknown"


def test_lowest_controllable_flow_of_the_test() -> None:
    lowest = result_of(a_test()).lowest_controllable_m3_s
    # 57.9 cfm: ASHRAE Guideline 36 §3.2.1 (from memory).
    assert lowest is not None
    assert lowest / CFM == pytest.approx(57.9, abs=0.05)


def test_balance_names_the_key_outlet() -> None:
    read = tuple(
        outlet(i, design, open_)
        for i, (design, open_) in enumerate([(200, 250), (200, 210), (250, 200), (150, 140)])
    )
    plan = result_of(a_test(point(reported=800, outlets=read))).balance
    assert plan is not None
    assert (plan.key, plan.most) == (2, 0)


def test_every_number_has_its_working() -> None:
    result = result_of(
        a_test(point(reported=600, target=600, outlets=(outlet(1, 300, 270, 272, factor=1.05),
                                                        outlet(2, 300, 265))),
               conditions=Conditions(20.0, 0.5, 1000.0, reads_actual=False))
    )  # fmt: skip
    lines = [working_line(step, "ip") for step in (*result.points[0].steps, *result.steps)]
    for begin in ("D-1: outlet = mean of readings × hood factor × density factor", "measured = Σ",
                  "U = ", "share of design", "difference", "Δp = (reported/K)²", "K = measured/√Δp",
                  "flow after the change", "density from elevation", "one reading",
                  "change = K new",
                  "lowest controllable flow"):  # fmt: skip
        assert any(line.startswith(begin) for line in lines), begin


FACTS = UnitFacts(
    id=7,
    tag="TU-1",
    box_model="Single duct",
    inlet=InletFacts(2, "8 in", 0.2032, 0.0315, 0.0274),
    inlets=(InletFacts(1, "6 in", 0.1524, 0.0177, 0.0154), InletFacts(2, "8 in", 0.2, 0.03, 0.02)),
    controller=ControllerFacts(4, "Box controller", 1.0, 373.6, 0.02, 0.25),
    cooling_max_m3_s=0.283,
    cooling_min_m3_s=0.057,
)


def test_unit_snapshot_leaves_the_own_inlet_out_of_the_others() -> None:
    unit = unit_snapshot(FACTS)
    assert unit.inlet is not None
    assert [inlet.label for inlet in unit.other_inlets] == ["6 in"]
    assert unit.setpoints == Setpoints(0.283, 0.057)


def test_the_record_of_a_test_comes_back_from_json() -> None:
    unit = unit_snapshot(FACTS)
    record = json.loads(json.dumps(design_record(unit, TOLERANCES)))
    assert unit_from_record(record, unit_id=0, tag="") == unit
    assert limits_from_record(record) == TOLERANCES


def test_an_empty_or_older_record_is_still_read() -> None:
    assert unit_from_record({}, unit_id=7, tag="TU-1").tag == "TU-1"
    assert limits_from_record({}) is None
    older = design_record(UNIT, TOLERANCES)
    older["unit"]["setpoints"]["dropped"] = 1.0
    assert unit_from_record(older, unit_id=0, tag="") == UNIT


def test_calibration_dates_do_not_change_the_numbers() -> None:
    late = a_test(tested_on=date(2030, 1, 1))
    assert result_of(late).points == result_of(a_test()).points
