"""Cells of a schedule become SI values, or say why not."""

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from zones.inventory.domain.fields import UNIT_FIELDS, Field
from zones.inventory.domain.schedule.cells import coerce, plain, uses_decimal_comma
from zones.inventory.domain.schedule.types import TARGETS, Cell, Choices, Mapped
from zones.inventory.imports.book import BOOK, kind_of, line

FIELDS: dict[str, Field] = {f.name: f for fields in TARGETS.values() for f in fields}
FIELDS |= {f.name: f for f in UNIT_FIELDS}
CFM = 0.0004719474432  # exact, from the international foot
FLOW = "cooling_max_m3_s"


def read(
    name: str, *cells: Cell, unit: str = "", choices: Choices | None = None
) -> tuple[list[object], dict[int, str]]:
    field = FIELDS[name]
    mapped = Mapped(0, field, line(unit, kind_of(field)) if unit else None)
    column = coerce(mapped, cells, BOOK, choices or Choices())
    return column.values, column.problems


def one(name: str, cell: Cell, unit: str = "") -> object:
    values, problems = read(name, cell, unit=unit)
    assert not problems, problems
    return values[0]


@pytest.mark.parametrize(
    ("cell", "cfm"),
    [
        (350.0, 350),
        ("350", 350),
        ("1,250", 1250),
        ("1 250", 1250),
        ("1'250", 1250),
        (" 900 ", 900),
        ("450 cfm", 450),
        ("450CFM", 450),
        ("1,180 CFM", 1180),
        ("\u2212450", -450),
    ],
)
def test_a_flow_is_read_as_people_write_it(cell: Cell, cfm: float) -> None:
    value = one(FLOW, cell, "cubic_foot_per_minute")
    assert isinstance(value, float)
    assert math.isclose(value, cfm * CFM)


def test_a_cell_with_its_own_unit_beats_the_column() -> None:
    assert one(FLOW, "425 L/s", "cubic_foot_per_minute") == pytest.approx(0.425)


def test_other_units_in_a_column_are_counted() -> None:
    mapped = Mapped(0, FIELDS[FLOW], line("cubic_foot_per_minute", "airflow"))
    column = coerce(mapped, [350.0, "350 cfm", "425 L/s", "1 m3/h"], BOOK, Choices())
    assert column.own_units == 2
    assert column.entered == ["350 cfm", "350 cfm", "425 L/s", "1 m3/h"]


@pytest.mark.parametrize("cell", ["N/A", "TBD", "see note 2", "450 Pa", "ten", "1.2.3", "", "-"])
def test_what_is_no_flow_is_refused_or_empty(cell: str) -> None:
    values, problems = read(FLOW, cell, unit="cubic_foot_per_minute")
    assert values == [None]
    assert bool(problems) == (cell not in {"", "-"})
    assert all(cell in message for message in problems.values())


@pytest.mark.parametrize("cell", [True, datetime(2026, 9, 14, tzinfo=UTC), math.inf, math.nan])
def test_truth_values_dates_and_infinities_are_no_numbers(cell: Cell) -> None:
    assert read(FLOW, cell, unit="cubic_foot_per_minute")[1]


def test_not_applicable_is_empty_on_request() -> None:
    chosen = Choices(is_na_empty=True)
    assert read(FLOW, "N/A", unit="liter_per_second", choices=chosen) == ([None], {})


def test_true_is_not_one() -> None:
    values, problems = read("coil_rows", 1.0, True)
    assert values == [1, None]
    assert set(problems) == {1}


def test_decimal_commas_make_a_comma_of_three_doubtful() -> None:
    values, problems = read(FLOW, "92,5", "1,250", unit="liter_per_second")
    assert values[0] == pytest.approx(0.0925)
    assert "two ways" in problems[1]
    assert not uses_decimal_comma(["1,250", "12,500", 3.0, None])


@pytest.mark.parametrize(
    ("cell", "metres"), [('12"', 0.3048), ("6 in", 0.1524), (8.0, 0.2032), ("Ø250 mm", 0.25)]
)
def test_inlet_sizes(cell: Cell, metres: float) -> None:
    assert one("inlet", cell, "inch") == pytest.approx(metres)


def test_an_inlet_that_is_no_diameter_stays_a_label() -> None:
    assert one("inlet", "24x16", "inch") == "24x16"


def test_temperatures_have_an_offset() -> None:
    """Published: 140 °F is 60 °C (definition of the scales)."""
    assert one("entering_water_degc", 140.0, "degree_Fahrenheit") == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("name", "cell", "value"),
    [
        ("heat", "HW", "hot-water"),
        ("heat", "Electric", "electric"),
        ("heat", None, "none"),
        ("heat", "hot water", "hot-water"),
        ("fan", "Parallel", "parallel"),
        ("fan", "-", "none"),
        ("kind", "Linear slot", "slot"),
        ("discharge_sensor", "Y", "yes"),
        ("discharge_sensor", False, "no"),
        ("occupancy_sensor", "—", ""),
    ],
)
def test_words_for_choices(name: str, cell: Cell, value: str) -> None:
    assert one(name, cell) == value


def test_an_unknown_heat_word_names_the_known_ones() -> None:
    problem = read("heat", "steam")[1][0]
    assert "steam" in problem
    assert "hot water, electric" in problem


@pytest.mark.parametrize(("cell", "pair"), [("277/1", (277.0, 1)), ("480/3/60", (480.0, 3))])
def test_voltage_and_phases_in_one_cell(cell: str, pair: tuple[float, int]) -> None:
    assert one("heater_voltage_and_phases", cell) == pair


@pytest.mark.parametrize("cell", ["2.5", 2.5, "many", "2 kW", 9e12])
def test_counts_are_whole(cell: Cell) -> None:
    assert read("heater_stages", cell)[1]


def test_whole_numbers_in_text_fields_have_no_point() -> None:
    assert one("floor", 2.0) == "2"
    assert plain(datetime(2026, 9, 14, tzinfo=UTC)) == "2026-09-14"


@given(st.floats(min_value=0, max_value=1e6), st.sampled_from(["cfm", "L/s", "m3/h"]))
def test_number_and_text_of_it_read_the_same(value: float, spelling: str) -> None:
    unit = BOOK.find("airflow", spelling)
    assert unit is not None
    as_number = one(FLOW, value, unit.name)
    as_text = one(FLOW, f"{value:.12g} {spelling}", "cubic_meter_per_second")
    assert as_number == pytest.approx(as_text, rel=1e-9, abs=1e-12)


CELLS = st.one_of(
    st.none(),
    st.booleans(),
    st.floats(),
    st.text(max_size=40),
    st.datetimes(),
    st.sampled_from(["1,250", "92,5", "N/A", '12"', "277/1", "450 cfm", "-", "\x00", "1e400"]),
)


@given(st.sampled_from(sorted(FIELDS)), st.lists(CELLS, max_size=6))
def test_no_cell_whatever_stops_the_reader(name: str, cells: list[Cell]) -> None:
    field = FIELDS[name]
    kind = kind_of(field)
    unit = next(iter(BOOK_UNITS[kind])) if kind else ""
    values, problems = read(name, *cells, unit=unit)
    assert len(values) == len(cells)
    assert set(problems) <= set(range(len(cells)))
    for value in values:
        assert not isinstance(value, float) or math.isfinite(value)


BOOK_UNITS = {
    "airflow": ["cubic_foot_per_minute"],
    "diameter": ["inch"],
    "water_flow": ["gallon_per_minute"],
    "temperature": ["degree_Fahrenheit"],
    "power": ["kilowatt"],
    "voltage": ["volt"],
    "length": ["foot"],
}
