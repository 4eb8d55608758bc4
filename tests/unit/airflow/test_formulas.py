"""Properties of the airflow formulas, and the wrong ones that go around."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancing.airflow.domain import (
    air,
    amplification,
    fit,
    outlets,
    sensor,
    traverse,
    uncertainty,
    verdict,
)

psychrolib.SetUnitSystem(psychrolib.SI)
INCH_WATER = 249.08891
FPM = 0.00508

degc = st.floats(-30.0, 60.0)
elevation = st.floats(-400.0, 5000.0)
humidity = st.floats(0.0, 1.0)
positive = st.floats(1e-3, 1e3)


@given(temperature=degc, metres=elevation, relative=humidity)
def test_density_agrees_with_psychrolib(temperature: float, metres: float, relative: float) -> None:
    # Independent implementation of ASHRAE Fundamentals 2017, chapter 1. psychrolib rounds its
    # constants a little differently, and stands still at the freezing point.
    pressure = psychrolib.GetStandardAtmPressure(metres)
    assert air.standard_pressure_pa(metres) == pytest.approx(pressure, rel=1e-6)
    ratio = psychrolib.GetHumRatioFromRelHum(temperature, relative, pressure)
    expected = psychrolib.GetMoistAirDensity(temperature, ratio, pressure)
    got = air.air_density_kg_m3(temperature, pressure, relative)
    assert got == pytest.approx(expected, rel=1e-5)


@given(temperature=st.floats(-90.0, 190.0))
def test_saturation_pressure_agrees_with_psychrolib(temperature: float) -> None:
    expected = psychrolib.GetSatVapPres(temperature)
    # psychrolib changes from ice to water at 0.01 °C as well.
    assert air.saturation_pressure_pa(temperature) == pytest.approx(expected, rel=1e-6)


@given(temperature=degc, metres=elevation, relative=humidity)
def test_moist_air_is_lighter_and_high_air_thinner(
    temperature: float, metres: float, relative: float
) -> None:
    pressure = air.standard_pressure_pa(metres)
    dry = air.air_density_kg_m3(temperature, pressure)
    assert air.air_density_kg_m3(temperature, pressure, relative) <= dry * (1 + 1e-12)
    assert air.standard_pressure_pa(metres + 100.0) < pressure


@given(pressure=positive, density=st.floats(0.5, 1.5))
def test_velocity_and_pressure_are_inverse(pressure: float, density: float) -> None:
    for rho in (None, density):
        velocity = sensor.velocity_m_s(pressure, rho)
        assert sensor.velocity_pressure_pa(velocity, rho) == pytest.approx(pressure, rel=1e-12)


@given(k=st.floats(1e-4, 1.0), pressure=positive)
def test_k_and_flow_are_inverse(k: float, pressure: float) -> None:
    flow = sensor.indicated_flow_m3_s(k, pressure)
    assert sensor.k_from_reading(flow, pressure) == pytest.approx(k, rel=1e-12)
    assert sensor.lowest_controllable_flow_m3_s(k, pressure) == pytest.approx(flow)


@given(area=st.floats(1e-3, 1.0), factor=st.floats(1.0, 5.0))
def test_amplification_area_and_k_belong_together(area: float, factor: float) -> None:
    k = amplification.k_from_amplification(area, factor)
    assert amplification.amplification(area, k) == pytest.approx(factor)
    assert amplification.free_area_m2(k, factor) == pytest.approx(area)
    assert k <= amplification.k_from_amplification(area, 1.0)


@given(flow=positive, density=st.floats(0.7, 1.4))
def test_actual_and_standard_carry_the_same_mass(flow: float, density: float) -> None:
    actual = sensor.actual_flow_m3_s(flow, density)
    standard = sensor.standard_flow_m3_s(actual, density)
    assert actual * density == pytest.approx(standard * air.STANDARD_DENSITY_KG_M3)
    assert math.sqrt(actual * standard) == pytest.approx(flow)


PAIRS: list[tuple[Callable[..., Any], tuple[list[float], ...]]] = [
    (air.standard_pressure_pa, ([0.0, 500.0, 1609.0],)),
    (air.saturation_pressure_pa, ([-20.0, 0.01, 40.0],)),
    (air.humidity_ratio, ([10.0, 20.0, 30.0], [0.1, 0.5, 1.0], [101325.0, 9e4, 8e4])),
    (air.air_density_kg_m3, ([10.0, 20.0, 30.0], [101325.0, 9e4, 8e4])),
    (air.air_density_kg_m3, ([10.0, 20.0, 30.0], [101325.0, 9e4, 8e4], [0.0, 0.5, 1.0])),
    (air.duct_pressure_pa, ([101325.0, 9e4, 8e4], [-10.0, 0.0, 300.0])),
    (sensor.velocity_m_s, ([0.0, 1.0, 250.0],)),
    (sensor.velocity_m_s, ([0.0, 1.0, 250.0], [1.0, 1.1, 1.2])),
    (sensor.velocity_pressure_pa, ([0.0, 1.0, 20.0],)),
    (sensor.indicated_flow_m3_s, ([0.01, 0.02, 0.03], [0.0, 1.0, 250.0])),
    (sensor.actual_flow_m3_s, ([0.0, 0.1, 0.2], [1.0, 1.1, 1.2])),
    (sensor.standard_flow_m3_s, ([0.0, 0.1, 0.2], [1.0, 1.1, 1.2])),
    (sensor.k_from_reading, ([0.1, 0.2, 0.3], [1.0, 20.0, 250.0])),
    (sensor.k_corrected, ([0.1, 0.2, 0.3], [1.0, 2.0, 3.0], [1.1, 2.2, 3.3])),
    (sensor.lowest_controllable_flow_m3_s, ([0.01, 0.02, 0.03], [1.0, 1.0, 2.0])),
    (sensor.signal_resolution, ([1.0, 2.0, 3.0], [0.0, 0.1, 0.5])),
    (amplification.round_area_m2, ([0.1, 0.2, 0.3],)),
    (amplification.amplification, ([0.01, 0.02, 0.03], [0.005, 0.01, 0.02])),
    (amplification.k_from_amplification, ([0.01, 0.02, 0.03], [1.0, 2.0, 3.0])),
    (amplification.free_area_m2, ([0.01, 0.02, 0.03], [1.0, 2.0, 3.0])),
]


@pytest.mark.parametrize(
    ("function", "columns"), PAIRS, ids=[f"{f.__name__}-{len(c)}" for f, c in PAIRS]
)
def test_scalar_and_array_give_the_same(
    function: Callable[..., Any], columns: tuple[list[float], ...]
) -> None:
    together = function(*(np.array(column) for column in columns))
    one_by_one = [function(*row) for row in zip(*columns, strict=True)]
    assert all(isinstance(value, float) for value in one_by_one)
    assert list(together) == pytest.approx(one_by_one, rel=1e-14)


def test_uncertainty_takes_arrays_too() -> None:
    flows = np.array([0.05, 0.1])
    told = uncertainty.hood_uncertainty(flows, 0.03, 0.003)
    single = [uncertainty.hood_uncertainty(float(q), 0.03, 0.003).expanded_m3_s for q in flows]
    assert list(told.expanded_m3_s) == pytest.approx(single)
    limits = {"k_uncertainty": 0.01, "pressure_limit_pa": 0.2, "density_uncertainty": 0.01}
    sensed = uncertainty.sensor_uncertainty(np.array([1.0, 9.0]), **limits)
    alone = [uncertainty.sensor_uncertainty(p, **limits).expanded for p in (1.0, 9.0)]
    assert list(sensed.expanded) == pytest.approx(alone)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sensor.velocity_m_s(-1.0), "velocity_pressure_pa must be at least 0 Pa, got -1"),
        (lambda: sensor.velocity_m_s(np.array([1.0, -2.0])), "velocity_pressure_pa .* got -2"),
        (lambda: sensor.velocity_m_s(math.nan), "velocity_pressure_pa must be a finite number"),
        (lambda: sensor.velocity_m_s(math.inf), "velocity_pressure_pa must be a finite number"),
        (lambda: sensor.velocity_m_s(1.0, 0.0), "density_kg_m3 must be above 0"),
        (lambda: sensor.k_from_reading(0.1, 0.0), "sensed_pressure_pa must be above 0 Pa"),
        (lambda: air.air_density_kg_m3(250.0, 1e5), "air_degc must be .* at most 200"),
        (lambda: air.humidity_ratio(20.0, 50.0, 1e5), "humidity_fraction must be .* at most 1"),
        (lambda: air.humidity_ratio(120.0, 1.0, 1e5), "pressure_pa less vapour pressure"),
        (lambda: fit.fit_zero_offset([1.0, 2.0], [1.0, 2.0]), "at least 3 readings, got 2"),
        (lambda: fit.fit_zero_offset([1.0, 2.0, 3.0], [3.0, 2.0, 1.0]), "does not rise"),
        (lambda: fit.fit_zero_offset([2.0, 2.0, 2.0], [3.0, 2.0, 1.0]), "all readings at one"),
        (lambda: fit.fit_least_squares([], []), "at least 1 readings, got 0"),
        (lambda: fit.fit_least_squares([1.0], [1.0, 2.0]), "equally long"),
        (lambda: fit.fit_gain_offset([1.0], [1.0]), "at least 2"),
        (lambda: outlets.repeats([]), "readings_m3_s needs"),
        (lambda: outlets.balance([], []), "design_m3_s needs"),
        (lambda: outlets.balance([0.0], [1.0]), "design_m3_s must be above 0"),
        (lambda: traverse.round_log_tchebycheff(1.0, 10), "points must be one of 6, 8, got 10"),
        (lambda: traverse.round_equal_area(1.0, 5), "points must be even, got 5"),
        (lambda: traverse.plane_quality(np.array([])), "velocity_pressures_pa needs"),
        (lambda: uncertainty.normalized_error(1.0, 2.0, 0.0, 0.0), "must be above 0"),
        (lambda: verdict.judge(-1.0, 1.0, over=0.1, under=0.1, floor_m3_s=-1.0), "floor_m3_s"),
    ],
)
def test_errors_name_the_argument(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()


def test_4005_needs_inches_of_water() -> None:
    right = sensor.velocity_m_s(0.25 * INCH_WATER) / FPM
    assert right == pytest.approx(2002.5)
    assert 4005 * math.sqrt(0.25 * INCH_WATER) != pytest.approx(right, rel=0.5)
    assert 1096.7 * math.sqrt(0.25) != pytest.approx(right, rel=0.5)


def test_density_is_not_counted_twice() -> None:
    right = sensor.velocity_m_s(INCH_WATER, air.STANDARD_DENSITY_KG_M3) / FPM
    wrong = 4005 * math.sqrt(1.0 / 0.075)
    assert right == pytest.approx(4005, rel=1e-3)
    assert wrong / right == pytest.approx(3.65, rel=2e-3)


def test_altitude_goes_by_the_square_root() -> None:
    density = 0.060675 * 16.018463
    factor = sensor.actual_flow_m3_s(1.0, density)
    assert factor == pytest.approx(1.1118, abs=1e-4)
    assert factor != pytest.approx(0.075 / 0.060675, rel=0.05)


def test_chebyshev_nodes_are_not_the_log_tchebycheff_rule() -> None:
    node = 24 / 2 * (1 - math.cos(math.pi / 20))
    assert node == pytest.approx(0.148, abs=1e-3)
    # First of 10 points in 24 in. by the log-linear rule (instrument manuals).
    assert traverse.round_log_linear(24.0, 10)[0] == pytest.approx(0.456, abs=1e-3)


def test_equal_area_positions_are_not_called_log_tchebycheff() -> None:
    equal = traverse.round_equal_area(1.0, 6)[:3]
    assert equal == pytest.approx((0.044, 0.146, 0.296), abs=6e-4)
    assert traverse.round_log_tchebycheff(1.0, 6)[:3] != pytest.approx(equal, abs=5e-3)


def test_log_linear_label_is_right() -> None:
    # Derived from the log-linear condition: two rings, two points a ring (computed).
    derived = (0.02086, 0.11721, 0.18375, 0.34484)
    assert traverse.round_log_linear(1.0, 8)[:4] == pytest.approx(derived, abs=6e-4)
    assert traverse.round_log_tchebycheff(1.0, 8)[:4] != pytest.approx(derived, abs=5e-3)


@pytest.mark.parametrize(
    ("inches", "count"), [(20, 5), (29.9, 5), (30, 6), (36, 6), (36.1, 7), (60, 7)]
)
def test_points_follow_the_side(inches: float, count: int) -> None:
    # Side rule of instrument manuals (published).
    assert len(traverse.rectangular_log_tchebycheff(inches * 0.0254)) == count


def wall_law(position: float) -> float:
    return float((2 * min(position, 1 - position)) ** (1 / 7))


@pytest.mark.parametrize(
    ("positions", "percent"),
    [
        (traverse.rectangular_log_tchebycheff(1.0, 5), -0.20),
        (traverse.rectangular_log_tchebycheff(1.0, 6), -0.45),
        (traverse.rectangular_log_tchebycheff(1.0, 7), -0.08),
        (traverse.rectangular_equal_area(1.0, 5), 3.39),
        (traverse.rectangular_equal_area(1.0, 6), 2.24),
    ],
)
def test_square_duct_with_the_seventh_power_law(
    positions: tuple[float, ...], percent: float
) -> None:
    # Exact mean over centre velocity (7/8)² (integral of the law); errors computed.
    mean = (sum(map(wall_law, positions)) / len(positions)) ** 2
    assert 100 * (mean / 0.765625 - 1) == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(
    ("positions", "percent"),
    [
        (traverse.round_log_linear(1.0, 6), -0.27),
        (traverse.round_log_linear(1.0, 8), -0.09),
        (traverse.round_log_linear(1.0, 10), -0.11),
        (traverse.round_log_tchebycheff(1.0, 6), -0.36),
        (traverse.round_log_tchebycheff(1.0, 8), -0.20),
        (traverse.round_equal_area(1.0, 6), 0.92),
        (traverse.round_equal_area(1.0, 8), 0.68),
        (traverse.round_equal_area(1.0, 10), 0.54),
    ],
)
def test_round_duct_with_the_seventh_power_law(
    positions: tuple[float, ...], percent: float
) -> None:
    # Exact mean over centre velocity 49/60 (integral of the law); errors computed.
    mean = sum(map(wall_law, positions)) / len(positions)
    assert 100 * (mean / (49 / 60) - 1) == pytest.approx(percent, abs=0.01)


@given(st.lists(st.floats(0.0, 500.0), min_size=1, max_size=30))
def test_averaging_pressures_first_never_reads_low(pressures: list[float]) -> None:
    told = traverse.flow_by_traverse(np.array(pressures), 1.0, 1.2)
    wrong = sensor.velocity_m_s(sum(pressures) / len(pressures), 1.2)
    assert wrong >= told.velocity_m_s * (1 - 1e-9)


@pytest.mark.parametrize(
    ("readings", "is_good"),
    [
        ([10.0] * 4, True),
        ([10.0, 10.0, 10.0, 0.9], False),
        ([10.0, 10.0, 10.0, 10.0, 0.9], True),
        ([10.0, 10.0, 10.0, 10.0, -0.1], False),
        ([0.0, 0.0], False),
    ],
)
def test_plane_quality(readings: list[float], is_good: bool) -> None:
    # "Balancing of a Water and Air System", p. 16 (published).
    assert traverse.plane_quality(np.array(readings)).is_good is is_good


@given(
    k=st.floats(0.005, 0.2),
    zero=st.floats(-0.5, 0.5),
    pressures=st.lists(st.floats(2.0, 300.0), min_size=3, max_size=6, unique=True),
)
def test_zero_offset_fit_finds_what_was_put_in(
    k: float, zero: float, pressures: list[float]
) -> None:
    if max(pressures) - min(pressures) < 1.0:
        pressures = [pressures[0], pressures[0] + 5.0, pressures[0] + 50.0]
    flows = [k * math.sqrt(pressure - zero) for pressure in pressures]
    found = fit.fit_zero_offset(pressures, flows)
    assert found.k_m3_s_sqrt_pa == pytest.approx(k, rel=1e-6)
    assert found.zero_pa == pytest.approx(zero, abs=1e-4)


@given(k=st.floats(0.005, 0.2), pressures=st.lists(st.floats(1.0, 300.0), min_size=1, max_size=6))
def test_fits_give_back_an_exact_k(k: float, pressures: list[float]) -> None:
    flows = [k * math.sqrt(pressure) for pressure in pressures]
    assert fit.fit_least_squares(pressures, flows) == pytest.approx(k)
    assert fit.fit_least_relative(pressures, flows) == pytest.approx(k)


@given(st.lists(st.tuples(st.floats(0.01, 1.0), st.floats(0.01, 1.0)), min_size=1, max_size=8))
def test_balance_keeps_the_air_and_ends_even(pairs: list[tuple[float, float]]) -> None:
    design, measured = [d for d, _ in pairs], [m for _, m in pairs]
    plan = outlets.balance(design, measured)
    assert sum(plan.final_m3_s) == pytest.approx(sum(measured))
    shares = [q / d for q, d in zip(plan.final_m3_s, design, strict=True)]
    assert shares == pytest.approx([plan.ratio] * len(pairs))
    assert plan.ratios[plan.key] == min(plan.ratios)
    assert {step.index for step in plan.steps} == set(range(len(pairs))) - {plan.key}


def test_pressure_independent_unit_sets_the_final_share() -> None:
    plan = outlets.balance([0.1, 0.1], [0.05, 0.15], unit_m3_s=0.19)
    assert plan.ratio == pytest.approx(0.95)


LIMITS = {"over": 0.10, "under": 0.10, "floor_m3_s": 0.0}


@pytest.mark.parametrize(
    ("measured", "over", "under", "floor", "expected"),
    [
        (0.110, 0.10, 0.10, 0.0, "within"),
        (0.1101, 0.10, 0.10, 0.0, "high"),
        (0.0979, 0.10, 0.02, 0.0, "low"),
        (0.098, 0.10, 0.02, 0.0, "within"),
        (0.0955, 0.0, 0.0, 0.0047, "within"),
        (0.0952, 0.0, 0.0, 0.0047, "low"),
    ],
)
def test_asymmetric_limits_and_floor(
    measured: float, over: float, under: float, floor: float, expected: str
) -> None:
    got = verdict.judge(measured, 0.1, over=over, under=under, floor_m3_s=floor)
    assert got == expected


def test_no_verdict_without_design_or_reading() -> None:
    assert verdict.judge(0.1, 0.0, **LIMITS) == "not-applicable"
    assert verdict.judge(None, 0.1, **LIMITS) == "unknown"
    assert verdict.judge(0.1, None, **LIMITS) == "unknown"
    assert verdict.share_of_design(0.1, 0.0) is None
    assert verdict.reported_error(0.1, 0.0) is None


@pytest.mark.parametrize(("flow", "accepted"), [(50.0, None), (100.0, 1.2)])
def test_guard_band_of_a_hood_at_small_flow(flow: float, accepted: float | None) -> None:
    # ±3 % ±7 cfm against ±10 %: never at 50 cfm, only within 1.2 % at 100 cfm (computed by
    # JCGM 100). U is taken at the design flow.
    expanded = uncertainty.hood_uncertainty(flow, 0.03, 7.0).expanded_m3_s

    def judged(share: float) -> str:
        return verdict.judge(flow * (1 + share / 100), flow, **LIMITS, uncertainty_m3_s=expanded)

    if accepted is None:
        assert judged(0.0) == "indeterminate"
    else:
        assert judged(accepted) == "within"
        assert judged(accepted + 0.1) == "indeterminate"
        assert judged(-18.9) == "low"
        assert judged(18.9) == "high"


@given(flow=st.floats(0.0, 0.3), expanded=st.floats(0.0, 0.05), design=st.floats(0.01, 0.3))
def test_guard_band_is_never_more_generous(flow: float, expanded: float, design: float) -> None:
    plain = verdict.judge(flow, design, **LIMITS)
    guarded = verdict.judge(flow, design, **LIMITS, uncertainty_m3_s=expanded)
    assert guarded in {plain, "indeterminate"}


def test_usable_minimum_keeps_a_scheduled_zero() -> None:
    assert sensor.usable_minimum_m3_s(0.0, 0.03) == 0.0
    assert sensor.usable_minimum_m3_s(0.01, 0.03) == 0.03
    assert sensor.usable_minimum_m3_s(0.05, 0.03) == 0.05
