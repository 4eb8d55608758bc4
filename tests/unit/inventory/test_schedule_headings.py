"""Headings of schedules are found and understood."""

import pytest

from zones.inventory.domain.schedule.headings import (
    Meaning,
    headings_of,
    join_headings,
    meaning,
    meanings,
    propose_layout,
)
from zones.inventory.domain.schedule.types import Cell, Layout
from zones.inventory.imports.book import BOOK


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [
        ("Tag", "tag", ""),
        ("UNIT MARK", "tag", ""),
        ("Unit no.", "tag", ""),
        ("Room", "location", ""),
        ("Area served", "location", ""),
        ("Served by", "air_handler", ""),
        ("Cooling max (L/s)", "cooling_max_m3_s", "L/s"),
        ("COOLING MAX CFM", "cooling_max_m3_s", "CFM"),
        ("Max. cooling airflow, cfm", "cooling_max_m3_s", "cfm"),
        ("HTG MIN [cfm]", "heating_min_m3_s", "cfm"),
        ("Unoccupied min (L/s)", "standby_min_m3_s", "L/s"),
        ("Reheat", "heat", ""),
        ("REHEAT KW", "heater_power_w", "KW"),
        ("Reheat (gpm)", "water_flow_m3_s", "gpm"),
        ("Flow temp. (°C)", "entering_water_degc", "°C"),
        ("No. of phases", "heater_phases", ""),
        ("VOLTS/PH", "heater_voltage_and_phases", ""),
        ("Inlet dia. (mm)", "inlet", "mm"),
        ("Type of unit", "box_model", ""),
        ("DISCHARGE AIR TEMP SENSOR", "discharge_sensor", ""),
        ("Occ. sensor", "occupancy_sensor", ""),
        ("Approved by", "", ""),
        ("Cooling max (kPa)", "", ""),
    ],
)
def test_meaning_of_a_heading(heading: str, field: str, unit: str) -> None:
    assert meaning(heading, "units", BOOK) == Meaning(field, unit)


def test_the_units_row_counts_for_more_than_the_memory() -> None:
    known = {"cooling max": Meaning("cooling_max_m3_s", "cubic_foot_per_minute")}
    found = meanings(["Cooling max"], "units", BOOK, units=["L/s"], remembered=known)
    assert found == [Meaning("cooling_max_m3_s", "L/s")]
    assert meanings(["Cooling max"], "units", BOOK, remembered=known) == [known["cooling max"]]


def test_what_was_left_out_is_left_out_again() -> None:
    known = {"room": Meaning("")}
    assert meanings(["Room"], "units", BOOK, remembered=known) == [Meaning("")]


def test_a_field_is_proposed_once() -> None:
    found = meanings(["Tag", "Mark", "Room", "Location"], "units", BOOK)
    assert [m.field for m in found] == ["tag", "", "location", ""]


def test_groups_of_a_text_file_reach_over_the_empty_cells() -> None:
    upper = ["Mark", "Cooling", "", "Heating", ""]
    lower = ["", "max", "min", "max", "min"]
    assert join_headings([upper, lower], has_merges=False) == [
        "Mark",
        "Cooling max",
        "Cooling min",
        "Heating max",
        "Heating min",
    ]


def test_headings_are_found_below_titles_and_above_a_units_row() -> None:
    rows: list[list[Cell]] = [
        ["Schedule of the library"],
        [],
        ["Mark", "AHU", "Cooling max", "Cooling min"],
        [None, None, "cfm", "cfm"],
        ["TU-1", "AH-1", 350.0, 100.0],
        [None, None, None, None],
    ]
    layout = propose_layout(rows, "units", BOOK)
    assert layout == Layout(3, 3, 4, 5, 5)
    assert headings_of(rows, layout)[1] == ["", "", "cfm", "cfm"]


def test_a_sheet_without_headings_still_has_a_layout() -> None:
    assert propose_layout([["a", "b"], ["c", "d"]], "units", BOOK) == Layout(1, 1, 0, 2, 2)
    assert propose_layout([[None]], "units", BOOK).first_row == 2
