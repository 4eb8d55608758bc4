"""Lists of flow tests and instruments: the columns, once for page, XLSX and CSV."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from balancing.airflow.domain.types import METHOD_NAMES
from balancing.airflow.queries.instruments import calibration_state
from projectsite.core.scope import Scope
from projectsite.ui.columns import Column, Empty
from projectsite.ui.lists import Listing
from projectsite.ui.marks import Mark, State
from projectsite.ui.tables import Table

STATE_MARKS: Mapping[str, Mark] = {
    "open": Mark("look", "open"),
    "submitted": Mark("wait", "handed in"),
    "returned": Mark("hold", "returned"),
    "accepted": Mark("done", "accepted"),
    "superseded": Mark("wait", "superseded"),
}
KIND_WORDS = {
    "hood": "flow hood",
    "manometer": "manometer with pitot tube",
    "anemometer": "anemometer",
    "thermometer": "thermometer",
}

Row = Mapping[str, Any]
Address = Callable[[Row], str]


def test_state(row: Row) -> Mark:
    """Mark of a test's state."""
    return STATE_MARKS[row["state"]]


def schedule_mark(row: Row) -> Mark | None:
    """Whether the schedule has changed since an accepted test was begun."""
    if row["state"] != "accepted":
        return None
    return Mark("hold", "changed since") if row["is_out_of_date"] else Mark("done", "as tested")


def list_of_tests(
    scope: Scope,
    rows: Sequence[Row],
    *,
    address: Address,
    listing: Listing | None = None,
    caption: str = "Flow tests",
    empty: Empty | None = None,
) -> Table:
    """List of tests, each leading to its page."""
    return Table(
        caption=caption,
        columns=(
            Column("tag", "Unit", sort="tag", link=address, width=14),
            Column("number", "Test", "count", sort="number"),
            Column("state", "State", "mark", value=test_state, sort="state"),
            Column("schedule", "Schedule", "mark", value=schedule_mark, priority=2),
            Column("air_handler", "Air handler", sort="air_handler", priority=2),
            Column("floor", "Floor", sort="floor", priority=2),
            Column("location", "Location", width=24, priority=3),
            Column("tested_date", "Tested on", "date", sort="tested"),
            Column("technician_name", "Readings by", sort="technician", priority=2),
            Column("instrument_name", "Instrument", sort="instrument", priority=3),
            Column("k_as_left_m3_s_sqrt_pa", "K as left", "k_factor", sort="k_as_left", priority=3),
            Column("submitted_at", "Handed in", "time", sort="handed_in", priority=3),
            Column("decided_at", "Decided", "time", sort="decided", priority=3),
        ),
        rows=rows,
        system=scope.system,
        zone=ZoneInfo(scope.project.time_zone),
        listing=listing,
        stack=True,
        empty=empty or Empty("No flow test yet."),
    )


def history_table(
    scope: Scope, rows: Sequence[Row], *, address: Address, current: int | None = None
) -> Table:
    """Every test of one unit."""
    return Table(
        caption="Tests of this unit",
        columns=(
            Column(
                "number",
                "Test",
                link=lambda row: "" if row["id"] == current else address(row),
                value=lambda row: f"test {row['number']}",
            ),
            Column("state", "State", "mark", value=test_state),
            Column("tested_date", "Tested on", "date"),
            Column("technician_name", "Readings by", priority=2),
            Column("k_as_left_m3_s_sqrt_pa", "K as left", "k_factor"),
            Column(
                "k_method",
                "By",
                value=lambda row: METHOD_NAMES.get(row["k_method"], ""),
                priority=3,
            ),
        ),
        rows=rows,
        system=scope.system,
        zone=ZoneInfo(scope.project.time_zone),
        empty=Empty("This unit has not been tested yet."),
    )


def calibration_mark(row: Row, today: date) -> Mark:
    """Mark of an instrument's calibration."""
    state, word = calibration_state(row, on=today)
    states: Mapping[str, State] = {"look": "look", "hold": "hold", "done": "done"}
    return Mark(states[state], word)


def instruments_table(
    scope: Scope, rows: Sequence[Row], *, today: date, address: Address, listing: Listing
) -> Table:
    """List of instruments with the state of their calibration today."""
    return Table(
        caption="Instruments",
        columns=(
            Column("name", "Instrument", sort="name", link=address, width=24),
            Column("serial", "Serial number", sort="serial"),
            Column("kind", "Kind", sort="kind", value=lambda row: KIND_WORDS[row["kind"]]),
            Column("accuracy_fraction", "Accuracy, of reading", "fraction", priority=2),
            Column(
                "floor_flow",
                "Fixed part, airflow",
                "airflow",
                value=lambda r: None if r["kind"] == "manometer" else r["accuracy_floor_si"],
                priority=3,
            ),
            Column(
                "floor_pressure",
                "Fixed part, pressure",
                "pressure",
                value=lambda r: r["accuracy_floor_si"] if r["kind"] == "manometer" else None,
                priority=3,
            ),
            Column("calibrated_date", "Calibrated on", "date", sort="calibrated", priority=2),
            Column("due_date", "Due", "date", sort="due"),
            Column(
                "calibration",
                "Calibration today",
                "mark",
                value=lambda row: calibration_mark(row, today),
            ),
            Column("tests", "Tests", "count", priority=2),
        ),
        rows=rows,
        system=scope.system,
        listing=listing,
        stack=True,
        empty=Empty(
            "No instrument yet.",
            "Add the flow hood that the balancer uses, with its accuracy and the date of its "
            "calibration: the uncertainty of every reading comes from it.",
        ),
    )
