"""Units: every accepted spelling, exact factors, round trips, and what must be refused."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from projectsite.core import numeric, units
from projectsite.core.errors import InvalidInput
from projectsite.core.quantities import KINDS

LINES = Path(units.__file__).with_name("units.txt").read_text(encoding="utf-8").splitlines()
SPELLINGS = [
    (line[2:].partition(":")[0].strip(), spelling.strip())
    for line in LINES
    if line.startswith("#~")
    for spelling in line.partition(":")[2].split(",")
]
PAIRS = [(kind.name, unit) for kind in KINDS.values() for unit in kind.units]
FINITE = st.floats(-1e9, 1e9, allow_nan=False)


@pytest.mark.parametrize(("unit", "spelling"), SPELLINGS)
def test_every_spelling_names_its_unit(unit: str, spelling: str) -> None:
    holders = [kind for kind in KINDS.values() if unit in kind.units]
    for kind in holders:
        assert units.unit_named(spelling, kind.name) == kind.aliases.get(spelling, unit)
        assert units.unit_named(f" {spelling.upper()} ", kind.name)


@pytest.mark.parametrize(("kind", "unit"), PAIRS)
def test_printed_symbol_is_accepted_back(kind: str, unit: str) -> None:
    symbol = units.symbol(unit, kind)
    assert not symbol or units.unit_named(symbol, kind) == unit


@pytest.mark.parametrize(("kind", "unit"), PAIRS)
@given(value=FINITE)
def test_there_and_back(kind: str, unit: str, value: float) -> None:
    back = units.from_si(units.to_si(value, unit, kind), unit, kind)
    assert math.isclose(back, value, rel_tol=1e-12, abs_tol=1e-9)


@pytest.mark.parametrize(
    ("text", "kind", "expected", "relative"),
    [
        # Exact by the international foot, the US gallon and the definition of the scales.
        ("1 cfm", "airflow", 0.3048**3 / 60, 1e-15),
        ("1 fpm", "velocity", 0.00508, 1e-15),
        ("1 gpm", "water_flow", 231 * 0.0254**3 / 60, 1e-15),
        ("1 lb/ft3", "density", 0.45359237 / 0.3048**3, 1e-15),
        ("32 °F", "temperature", 0.0, 1e-12),
        ("212 °F", "temperature", 100.0, 1e-12),
        ("0 K", "temperature", -273.15, 1e-12),
        # From memory: water of 4 °C, mercury of 0 °C.
        ("1 in. w.c.", "pressure", 249.089, 1e-5),
        ("1 in. Hg", "barometric_pressure", 3386.39, 1e-5),
        # 0.0299031 L/s and 0.107651 m³/h at 1 Pa for 1 cfm at 1 in. w.c., computed.
        ("1 cfm at 1 in. w.c.", "k_factor", 0.0299031e-3, 1e-5),
        ("0.107651 m³/h/√Pa", "k_factor", 0.0299031e-3, 1e-5),
    ],
)
def test_factors(text: str, kind: str, expected: float, relative: float) -> None:
    got = units.parse(text, kind, default_unit=KINDS[kind].si_unit).value
    assert got == pytest.approx(expected, rel=relative, abs=1e-10)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0,035", (0.035, "")),
        ("1.234,5", (1234.5, "")),
        ("1,234.5", (1234.5, "")),
        ("1,234", (1234.0, "")),
        ("12,5 Pa", (12.5, "Pa")),
        ("1 234,5 L/s", (1234.5, "L/s")),
        ("1\u202f234", (1234.0, "")),
        ("1’234.5", (1234.5, "")),
        ("−5 °C", (-5.0, "°C")),
        ("+5", (5.0, "")),
        (".5", (0.5, "")),
        ("5.", (5.0, "")),
        ("1e-3 Pa", (0.001, "Pa")),
        ("350cfm", (350.0, "cfm")),
        ("6'", (6.0, "'")),
        ('1.5"', (1.5, '"')),
        ("5 %", (5.0, "%")),
    ],
)
def test_numbers_as_people_type_them(text: str, expected: tuple[float, str]) -> None:
    assert units.split_number(text) == expected


@pytest.mark.parametrize(
    "text",
    ["½", "1½", "1/2", "6'2", "1,23,456", "1.234.567", "1.2.3", "1,250,0", "–5", "(5)", "٣",
     "NaN", "inf", "1e400", "", " ", "-", "--5", "N/A", "TBD"],
)  # fmt: skip
def test_what_is_no_number_is_refused(text: str) -> None:
    assert units.split_number(text)[0] is None
    with pytest.raises(InvalidInput):
        units.parse(text, "airflow", default_unit="cubic_foot_per_minute")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("5 bananas", "airflow"),
        ("5 VA", "power"),
        ("5 W", "apparent_power"),
        ("5 Pa", "airflow"),
        ("5 scfm", "airflow"),
        ("5 m", "free_area"),
        ("5 L/s", "k_factor"),
        ("10 5", "airflow"),
        ("12 1/2 in", "diameter"),
        ("1_000", "airflow"),
        ("0x10", "airflow"),
        ("450 ± 5 cfm", "airflow"),
        ("5" * 200, "airflow"),
    ],
)
def test_wrong_units_are_refused(text: str, kind: str) -> None:
    with pytest.raises(InvalidInput, match=r"not a unit|too long"):
        units.parse(text, kind, default_unit=KINDS[kind].si_unit)


def test_refusal_names_what_is_accepted() -> None:
    with pytest.raises(InvalidInput, match=re.escape("Use one of: m³/s, cfm, L/s, m³/h.")):
        units.parse("5 Pa", "airflow", default_unit="cubic_foot_per_minute")


def test_trade_shorthand_holds_for_its_kind_only() -> None:
    cfm = units.parse("900 cfm", "k_factor", default_unit="cfm_per_root_inch_water")
    assert cfm == units.Entered(units.to_si(900, "cfm_per_root_inch_water", "k_factor"), "900 cfm")
    assert units.unit_named('"', "pressure") == "inch_water"
    assert units.unit_named('"', "diameter") == "inch"


def test_bare_number_is_shown_with_the_unit_beside_the_field() -> None:
    assert units.parse("350", "airflow", default_unit="cubic_foot_per_minute").text == "350 cfm"
    assert units.parse("2", "number", default_unit="fraction").text == "2"


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        entered = units.parse(text, "pressure", default_unit="pascal")
    except InvalidInput:
        return
    assert math.isfinite(entered.value)


@given(st.decimals(-10_000_000, 10_000_000, places=3))
def test_grouped_and_plain_numbers_are_the_same(value: object) -> None:
    assert units.split_number(f"{value:,}")[0] == float(str(value))


@given(st.integers(0, 20_000))
def test_typed_cfm_print_as_typed(value: int) -> None:
    stored = units.parse(f"{value} cfm", "airflow", default_unit="cubic_meter_per_second").value
    assert units.show(stored, "airflow", "ip") == str(value)


@given(st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6)), max_size=20))
@example([-0.0, -1e-12, 0.0])
@pytest.mark.parametrize("kind", ["airflow", "pressure", "temperature", "k_factor", "fraction"])
def test_columns_print_like_single_values(kind: str, values: list[float | None]) -> None:
    for system in ("ip", "si"):
        one_by_one = [units.show(value, kind, system) for value in values]
        assert units.show_all(values, kind, system) == one_by_one


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.010,0.040 inH2O", ["0.010 inH2O", "0.040 inH2O"]),
        ("10 Pa, 20 Pa", ["10 Pa", "20 Pa"]),
        ("0,5; 1.250,5 Pa", ["0,5 Pa", "1.250,5 Pa"]),
        ("1,,2 Pa", ["1 Pa", "", "2 Pa"]),
        ("7", ["7"]),
    ],
)
def test_lists(text: str, expected: list[str]) -> None:
    assert units.split_list(text) == expected


def test_ninety_percent_of_design_survives_conversion() -> None:
    design = units.parse("500 cfm", "airflow", default_unit="liter_per_second").value
    measured = units.parse("450 cfm", "airflow", default_unit="liter_per_second").value
    assert numeric.at_least(measured, 0.9 * design)
    assert not numeric.at_least(measured * (1 - 1e-6), 0.9 * design)


@given(st.floats(-1e6, 1e6), st.integers(0, 4))
def test_rounding_is_half_up_on_the_printed_figures(value: float, decimals: int) -> None:
    text = numeric.rounded(value, decimals)
    assert abs(float(text) - value) <= 0.5 * 10.0**-decimals * (1 + 1e-6) + abs(value) * 1e-11
    assert not re.fullmatch(r"-0(\.0*)?", text)


def test_natural_order() -> None:
    tags = ["VAV-10", "VAV-2", "vav-1", "VAV-2a", "m²"]
    assert sorted(tags, key=numeric.natural_key) == ["m²", "vav-1", "VAV-2", "VAV-2a", "VAV-10"]
