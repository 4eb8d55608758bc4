"""What the inventory finds about a unit. The limits are common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from zones.inventory.domain.rules import RULES, check
from zones.inventory.domain.types import ControllerFacts, InletFacts, OutletFacts, UnitFacts

CFM = 0.0004719474432
INLET = InletFacts(1, "8 in", 0.2032, 0.0315, 0.0274, 60 * CFM, 740 * CFM)
OUTLETS = (
    OutletFacts(1, "D-1", "ceiling", "", 350 * CFM),
    OutletFacts(2, "D-2", "ceiling", "", 350 * CFM),
)
WHOLE = UnitFacts(
    id=7,
    tag="TU-2-1",
    air_handler_id=1,
    zone_id=1,
    inlet=INLET,
    inlets=(INLET,),
    controller=ControllerFacts(1, "Box controller"),
    cooling_max_m3_s=700 * CFM,
    cooling_min_m3_s=180 * CFM,
    outlets=OUTLETS,
)


def show(value: float, kind: str) -> str:
    return f"{value / CFM:.0f} cfm" if kind == "airflow" else f"{value:g} {kind}"


def codes(unit: UnitFacts) -> set[str]:
    return {finding.code.removeprefix("inventory.") for finding in check(unit, show)}


def with_outlets(*flows: float | None, hood: float = 1.0) -> UnitFacts:
    listed = tuple(
        OutletFacts(i, f"D-{i}", "ceiling", "", None if flow is None else flow * CFM, hood)
        for i, flow in enumerate(flows, start=1)
    )
    return replace(WHOLE, outlets=listed)


def test_nothing_is_found_about_a_whole_unit() -> None:
    assert codes(WHOLE) == set()


CASES = [
    (replace(WHOLE, air_handler_id=None), "unit-without-air-handler"),
    (replace(WHOLE, zone_id=None), "unit-without-zone"),
    (replace(WHOLE, inlet=None), "unit-without-inlet"),
    (replace(WHOLE, controller=None), "unit-without-controller"),
    (replace(WHOLE, cooling_max_m3_s=None), "cooling-maximum-missing"),
    (replace(WHOLE, cooling_min_m3_s=None), "cooling-minimum-missing"),
    (replace(WHOLE, heating_max_m3_s=701 * CFM), "heating-above-cooling"),
    (replace(WHOLE, heat="hot-water", water_flow_m3_s=1e-4), "heating-maximum-missing"),
    (
        replace(WHOLE, heat="hot-water", heating_max_m3_s=300 * CFM),
        "water-flow-missing",
    ),
    (
        replace(WHOLE, heat="electric", heating_max_m3_s=300 * CFM, heater_power_w=3000),
        "electric-heat-incomplete",
    ),
    (replace(WHOLE, heater_power_w=3000), "heat-data-stray"),
    (replace(WHOLE, water_flow_m3_s=1e-4), "heat-data-stray"),
    (
        replace(
            WHOLE,
            heat="hot-water",
            heating_max_m3_s=300 * CFM,
            water_flow_m3_s=1e-4,
            entering_water_degc=60.0,
            leaving_water_degc=60.0,
        ),
        "water-not-cooled",
    ),
    (replace(WHOLE, outlets=()), "unit-without-outlets"),
    (with_outlets(350, None), "outlet-without-design"),
    (with_outlets(350, 380), "outlet-sum-differs"),
    (with_outlets(350, 350, hood=0.84), "hood-factor-doubtful"),
    (with_outlets(350, 350, hood=1.16), "hood-factor-doubtful"),
]


@pytest.mark.parametrize(("unit", "code"), CASES, ids=[code for _, code in CASES])
def test_exactly_this_is_found(unit: UnitFacts, code: str) -> None:
    assert codes(unit) == {code}


def test_every_code_is_met_by_a_case() -> None:
    met = {code for _, code in CASES} | {"above-inlet-range"}
    assert met == {rule.code.removeprefix("inventory.") for rule in RULES}


def test_more_air_than_the_inlet_takes_names_both_airflows() -> None:
    unit = replace(WHOLE, cooling_max_m3_s=760 * CFM, outlets=with_outlets(380, 380).outlets)
    (finding,) = check(unit, show)
    assert finding.code == "inventory.above-inlet-range"
    assert "760 cfm" in finding.message
    assert "740 cfm" in finding.message


@pytest.mark.parametrize(("total", "is_found"), [(714.0, False), (714.1, True), (685.9, True)])
def test_outlets_may_differ_by_two_per_cent(total: float, is_found: bool) -> None:
    unit = with_outlets(total / 2, total / 2)
    assert ("outlet-sum-differs" in codes(unit)) is is_found


@pytest.mark.parametrize("hood", [0.85, 1.0, 1.15])
def test_hood_factors_at_the_ends_of_the_range_pass(hood: float) -> None:
    assert codes(with_outlets(350, 350, hood=hood)) == set()


def test_equal_heating_and_cooling_maximum_pass_after_conversion() -> None:
    assert codes(replace(WHOLE, heating_max_m3_s=700 * CFM * (1 + 1e-12))) == set()


def test_nothing_is_found_about_an_archived_unit() -> None:
    assert codes(replace(WHOLE, is_archived=True, inlet=None, outlets=())) == set()
