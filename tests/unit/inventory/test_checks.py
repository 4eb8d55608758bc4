"""What can't be entered at all, and how an address is read."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from projectsite.core.errors import InvalidInput
from zones.inventory.domain.checks import problems
from zones.inventory.domain.fields import INLET_FIELDS, OUTLET_FIELDS, UNIT_FIELDS
from zones.inventory.filters import UNIT_PARAMETERS, read, unit_filter

UNIT: dict[str, Any] = {"tag": "TU-1", "fan": "none", "heat": "none"}


def test_a_tag_is_enough() -> None:
    assert problems(UNIT_FIELDS, UNIT) == {}


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"tag": ""}, "tag"),
        ({"tag": "x" * 61}, "tag"),
        ({"tag": "a\x00b"}, "tag"),
        ({"heat": "steam"}, "heat"),
        ({"cooling_max_m3_s": -0.1}, "cooling_max_m3_s"),
        ({"cooling_max_m3_s": 0.1, "cooling_min_m3_s": 0.2}, "cooling_min_m3_s"),
        ({"heating_max_m3_s": 0.1, "heating_min_m3_s": 0.2}, "heating_min_m3_s"),
        ({"heater_power_w": 0.0}, "heater_power_w"),
        ({"heater_phases": 2}, "heater_phases"),
        ({"mac_address": 128}, "mac_address"),
        ({"device_instance": 4_194_303}, "device_instance"),
        ({"network_number": 0}, "network_number"),
        ({"position_x_m": 1.0}, "position_y_m"),
    ],
)
def test_the_message_stands_at_the_field(change: dict[str, Any], field: str) -> None:
    assert set(problems(UNIT_FIELDS, UNIT | change)) == {field}


def test_limits_are_said_in_the_readers_words() -> None:
    outlet = {"tag": "D-1", "kind": "ceiling", "hood_factor": 2.5}
    assert problems(OUTLET_FIELDS, outlet) == {"hood_factor": "Must be 2 or less."}


def test_half_a_range_is_asked_for() -> None:
    inlet = {
        "label": "8 in",
        "diameter_m": 0.2,
        "free_area_m2": 0.03,
        "nominal_k_m3_s_sqrt_pa": 0.03,
        "scheduled_low_m3_s": 0.1,
    }
    assert set(problems(INLET_FIELDS, inlet)) == {"scheduled_high_m3_s"}


@given(low=st.floats(0, 10), high=st.floats(0, 10))
def test_minimum_and_maximum_are_refused_exactly_when_reversed(low: float, high: float) -> None:
    found = problems(UNIT_FIELDS, UNIT | {"cooling_min_m3_s": low, "cooling_max_m3_s": high})
    is_reversed = low > high * (1 + 1e-9) + 1e-12
    assert bool(found) is is_reversed


def test_an_address_gives_the_filter() -> None:
    query = {"q": " tu ", "air_handler": "3", "heat": "electric", "archived": "yes", "page": "2"}
    wanted = unit_filter(read(query, UNIT_PARAMETERS).strict())
    assert (wanted.text, wanted.air_handler, wanted.heat) == ("tu", 3, "electric")
    assert wanted.archived
    assert wanted.floor is None


@pytest.mark.parametrize(
    ("name", "value"),
    [("air_handler", "x"), ("air_handler", "9" * 12), ("heat", "steam"), ("archived", "maybe")],
)
def test_what_cannot_be_understood_is_named(name: str, value: str) -> None:
    found = read({name: value}, UNIT_PARAMETERS)
    assert set(found.problems) == {name}
    with pytest.raises(InvalidInput, match=name):
        found.strict()


@given(st.dictionaries(st.sampled_from([p.name for p in UNIT_PARAMETERS]), st.text(max_size=30)))
def test_no_address_breaks_a_list(query: dict[str, str]) -> None:
    unit_filter(read(query, UNIT_PARAMETERS))
