"""Rows of a schedule: what is none, what is refused, what changes."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from projectsite.core.workbook import cell_name
from zones.inventory.domain import checks
from zones.inventory.domain.fields import UNIT_FIELDS
from zones.inventory.domain.schedule import rows as schedule_rows
from zones.inventory.domain.schedule.differences import compare, diff
from zones.inventory.domain.schedule.links import find_inlet
from zones.inventory.domain.schedule.types import (
    TARGETS,
    Base,
    BoxModel,
    Choices,
    Existing,
    Inlet,
    Layout,
    Mapped,
    Row,
)
from zones.inventory.imports.book import BOOK, kind_of, line, shower

CFM = 0.0004719474432
FIELDS = {f.name: f for f in TARGETS["units"]}
COLUMNS = (
    ("tag", ""),
    ("air_handler", ""),
    ("cooling_max_m3_s", "cubic_foot_per_minute"),
    ("cooling_min_m3_s", "cubic_foot_per_minute"),
    ("inlet", "inch"),
)
HEAD = ["Tag", "AHU", "Cooling max", "Cooling min", "Inlet"]
SINGLE = BoxModel(1, "Single duct", (Inlet(11, "8 in", 0.2032), Inlet(12, "10 in", 0.254)))
BASE = Base({}, box_models=(SINGLE,))


def read(*lines: list[Any], base: Base = BASE, **faults: str) -> dict[int, Row]:
    rows = [HEAD, *([*each, *[None] * (5 - len(each))] for each in lines)]
    mapping = [
        Mapped(j, FIELDS[name], line(unit, kind_of(FIELDS[name])) if unit else None)
        for j, (name, unit) in enumerate(COLUMNS)
    ]
    layout = Layout(1, 1, 0, 2, len(rows))
    choices = Choices(box_model_id=1)
    cells = {(int(key[1:]), ord(key[0]) - 64): text for key, text in faults.items()}
    found, _ = schedule_rows.read_rows(
        rows,
        layout,
        mapping,
        target="units",
        book=BOOK,
        choices=choices,
        name_of=cell_name,
        faults=cells,
    )
    schedule_rows.judge(
        found,
        mapping,
        base,
        choices,
        target="units",
        name_of=cell_name,
        show=shower("ip"),
    )
    return {row.number: row for row in found}


@pytest.mark.parametrize(
    "cells",
    [
        ["TOTAL", None, 4000.0],
        ["Sub-total", None, 4000.0],
        ["GROUND FLOOR"],
        ["NOTE 1: Minimum is 30 % of maximum."],
        ["* to be confirmed", "AH-1"],
        [None, "All flows at standard density"],
        [None, "Total", 4000.0],
        HEAD,
    ],
)
def test_what_is_no_unit(cells: list[Any]) -> None:
    row = read(cells)[2]
    assert row.outcome == "ignored"
    assert row.reason


def test_empty_rows_are_passed_over() -> None:
    assert set(read([], ["TU-1", "AH-1", 350.0], [None, "", None])) == {3}


def test_a_row_with_flows_but_no_tag_is_refused_by_cell() -> None:
    row = read([None, "AH-1", 350.0])[2]
    assert [(p.cell, p.message) for p in row.problems] == [("A2", "There is no tag in this row.")]


def test_a_lonely_tag_is_a_unit() -> None:
    assert read(["TU-1"])[2].outcome == "new"


def test_the_same_tag_twice_refuses_both_and_names_the_other() -> None:
    found = read(["TU-1", None, 350.0], ["tu-1 ", None, 360.0])
    assert {n: row.outcome for n, row in found.items()} == {2: "refused", 3: "refused"}
    assert "row 3" in found[2].problems[0].message
    assert "row 2" in found[3].problems[0].message


def test_every_error_of_a_row_is_told() -> None:
    row = read(["TU-1", None, "TBD", "N/A", 9.0])[2]
    assert [p.cell for p in row.problems] == ["C2", "D2", "E2"]
    assert "It has: 8 in, 10 in" in row.problems[2].message


def test_a_fault_of_the_file_is_told_by_cell() -> None:
    row = read(["TU-1", None, None], C2="C2 holds the error #REF!.")[2]
    assert [(p.cell, p.message) for p in row.problems] == [("C2", "C2 holds the error #REF!.")]


def test_minimum_above_maximum_and_negative_flows() -> None:
    found = read(["TU-1", None, 300.0, 400.0], ["TU-2", None, -5.0])
    assert "above the cooling maximum" in found[2].problems[0].message
    assert found[2].problems[0].cell == "D2"
    assert found[3].problems[0].cell == "C3"


def test_a_minimum_above_the_maximum_of_the_record_is_refused() -> None:
    record = {f.name: None for f in UNIT_FIELDS} | {
        "tag": "TU-1",
        "fan": "none",
        "heat": "none",
        "heating_min_m3_s": 0.3,
        "heating_max_m3_s": 0.2,
    }
    base = Base({"TU-1": Existing(7, 7, record)}, box_models=(SINGLE,))
    assert read(["TU-1", None, 300.0], base=base)[2].outcome == "refused"


def test_250_mm_is_10_in() -> None:
    assert find_inlet(SINGLE, 0.25) == SINGLE.inlets[1]
    assert find_inlet(SINGLE, 0.2286) is None
    assert find_inlet(SINGLE, "8 IN") == SINGLE.inlets[0]


def test_noise_of_conversion_is_no_change() -> None:
    old = {"cooling_max_m3_s": 450 * CFM, "air_handler": "AHU-1", "floor": ""}
    new = {"cooling_max_m3_s": 450 * CFM * (1 + 1e-12), "air_handler": "ahu-1", "floor": ""}
    assert diff(UNIT_FIELDS, old, new) == {}
    assert diff(UNIT_FIELDS, old, {"cooling_max_m3_s": None}) == {
        "cooling_max_m3_s": (450 * CFM, None)
    }


def test_comparison_says_what_was_refused() -> None:
    lines = compare(
        UNIT_FIELDS,
        {"A": ("A", {"floor": "1"})},
        {"B": ("B", {"floor": "1"})},
        refused_first={"B": "B"},
        refused_second={},
    )
    assert [(each.tag, each.what, each.note) for each in lines] == [
        ("A", "missing", ""),
        ("B", "added", "refused in the first"),
    ]


VALUES = st.one_of(
    st.none(), st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=70)
)


@given(st.fixed_dictionaries({f.name: VALUES for f in UNIT_FIELDS if f.is_stored}))
def test_the_cheap_check_never_misses_what_the_full_check_finds(values: dict[str, Any]) -> None:
    stored = [f for f in UNIT_FIELDS if f.is_stored]
    typed = {
        f.name: (value if isinstance(value, str) else "")
        if f.is_text
        else (value if isinstance(value, float) else None)
        for f in stored
        for value in [values[f.name]]
    }
    if checks.problems(UNIT_FIELDS, typed):
        assert schedule_rows._is_suspect(stored, typed)


LINES = st.lists(
    st.lists(
        st.one_of(st.none(), st.text(max_size=12), st.floats(), st.booleans()),
        min_size=5,
        max_size=5,
    ),
    max_size=8,
)


@given(LINES)
def test_any_sheet_is_read_to_the_end(lines: list[list[Any]]) -> None:
    for row in read(*lines).values():
        assert row.outcome in {"new", "refused", "ignored"}
        assert bool(row.problems) == (row.outcome == "refused")
        assert bool(row.reason) == (row.outcome == "ignored")
