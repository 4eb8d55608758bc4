"""The sample project's received files hold what other tests and the tour rely on."""

import csv
import json
import math
import zipfile
from collections import Counter
from pathlib import Path

import pytest

from fixtures.make_library import MODELS
from fixtures.make_schedules import CHANGED_MAXIMA, make
from projectsite.core import units
from projectsite.core.workbook import SheetInfo, list_sheets, read_sheet

FOLDER = Path(__file__).resolve().parents[2] / "fixtures"
SCHEDULES = FOLDER / "schedules"
LIBRARY = json.loads((FOLDER / "library.json").read_text(encoding="utf-8"))

Row = dict[str, object]


def ip_rows(name: str) -> list[Row]:
    headings, _units, *rows = read_sheet(SCHEDULES / name).rows
    return [dict(zip(map(str, headings), row, strict=True)) for row in rows]


def by_tag(name: str) -> dict[str, Row]:
    return {str(row["Tag"]): row for row in ip_rows(name)}


def flow(row: Row, heading: str = "Cooling max") -> float:
    value = row[heading]
    assert isinstance(value, float)
    return value


def contents(path: Path) -> bytes | dict[str, bytes]:
    if path.suffix != ".xlsx":
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_files_are_what_their_generator_makes(tmp_path: Path) -> None:
    for path in make(tmp_path):
        assert contents(path) == contents(FOLDER / path.relative_to(tmp_path)), path.name


def test_generator_gives_the_same_bytes_twice(tmp_path: Path) -> None:
    for first, second in zip(make(tmp_path / "1"), make(tmp_path / "2"), strict=True):
        assert first.read_bytes() == second.read_bytes()


def test_inch_pound_schedule_has_49_lines_of_48_units() -> None:
    rows = ip_rows("terminal-units-ip.xlsx")
    tags = Counter(row["Tag"] for row in rows)
    assert len(rows) == 49
    assert len(tags) == 48
    assert [tag for tag, count in tags.items() if count > 1] == ["VAV-2-12"]
    assert Counter(row["Air handler"] for row in rows) == {"AHU-1": 24, "AHU-2": 25}
    assert Counter(row["Floor"] for row in rows) == {1.0: 16, 2.0: 17, 3.0: 16}
    assert sum(row["X"] is not None for row in rows) == 42


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("A11", "VAV-1-09"),
        ("H11", 600.0),
        ("I11", 900.0),  # minimum above maximum
        ("A18", "VAV-1-16"),
        ("K18", -450.0),  # negative flow
        ("A23", "VAV-2-05"),
        ("I23", "N/A"),  # text in a number column
        ("A30", "VAV-2-12"),
        ("A31", "VAV-2-12"),  # the same tag again
        ("H30", 470.0),
        ("H31", 430.0),
        ("A43", "VAV-3-08"),
        ("G43", 9.0),  # no box model has such an inlet
    ],
)
def test_known_cells_of_the_inch_pound_schedule(cell: str, value: object) -> None:
    rows = read_sheet(SCHEDULES / "terminal-units-ip.xlsx").rows
    assert rows[int(cell[1:]) - 1][ord(cell[0]) - 65] == value


def test_inlet_velocities_are_plausible() -> None:
    """800 to 2,000 ft/min on the nominal area is common practice; three units are loud."""
    loud = set()
    for tag, row in by_tag("addendum-1.xlsx").items():
        velocity_fpm = flow(row) / (math.pi * (flow(row, "Inlet") / 24) ** 2)
        assert 790 < velocity_fpm < 2310, tag
        if velocity_fpm > 2010:
            loud.add(tag)
    assert loud == {"VAV-1-11", "VAV-2-01", "VAV-2-09"}


def test_addendum_mends_the_faults_changes_eight_and_adds_one() -> None:
    before, after = by_tag("terminal-units-ip.xlsx"), by_tag("addendum-1.xlsx")
    assert set(after) - set(before) == {"VAV-3-17"}
    assert not set(before) - set(after)
    changed = {tag for tag in before if before[tag] != after[tag]}
    assert changed == {*CHANGED_MAXIMA, "VAV-1-09", "VAV-1-16", "VAV-2-05", "VAV-2-12", "VAV-3-08"}
    for tag, maximum in CHANGED_MAXIMA.items():
        assert flow(after[tag]) == maximum != flow(before[tag])
    for row in after.values():
        assert flow(row, "Cooling min") <= flow(row)


def test_outlets_add_up_to_the_cooling_maximum_of_each_unit() -> None:
    with (SCHEDULES / "outlets-ip.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    sums: Counter[str] = Counter()
    for row in rows:
        sums[row["Unit tag"]] += int(row["Design flow (cfm)"])
    first = {str(row["Tag"]): row for row in reversed(ip_rows("terminal-units-ip.xlsx"))}
    assert sums == {tag: flow(row) for tag, row in first.items()}
    assert len({row["Outlet tag"] for row in rows}) == len(rows) == 158
    assert {row["Type"] for row in rows} == {"ceiling diffuser", "slot diffuser"}


def test_si_schedule_has_20_units_and_decimal_commas() -> None:
    rows = read_sheet(SCHEDULES / "terminal-units-si.xlsx").rows
    assert rows[1] == [None] * 21
    assert rows[2][6] == "Cooling max (L/s)"
    assert len(rows) == 23
    assert [row[6] for row in rows[3:] if isinstance(row[6], str)] == [
        "405,0", "965,0", "118,0", "415,0", "585,0", "227,5",
    ]  # fmt: skip


def test_messy_schedule_has_its_traps_where_they_are_said_to_be() -> None:
    path = SCHEDULES / "terminal-units-messy.xlsx"
    assert [(info.name, info.hidden) for info in list_sheets(path)] == [
        ("Cover", False),
        ("M-701", False),
        ("Old issue", True),
    ]
    sheet = read_sheet(path, "M-701")
    assert sheet.error_cells == {"F22": "#REF!"}
    assert sheet.uncached_formula_cells == ("F20",)
    assert sheet.formula_count == 5
    assert {"A5:C5", "E5:F5", "G5:H5", "I5:J5"} < set(sheet.merged_ranges)
    assert sheet.rows[8][4:6] == ["1,250", 375.0]
    assert sheet.rows[12][4] == "425 L/s"
    marks = [str(row[0]).casefold() for row in sheet.rows if str(row[0]).lower().startswith("ws-")]
    assert len(marks) == 13
    assert {mark for mark, count in Counter(marks).items() if count > 1} == {"ws-03", "ws-05"}


def test_sheets_are_listed_with_their_sizes() -> None:
    assert list_sheets(SCHEDULES / "addendum-1.xlsx") == [
        SheetInfo("VAV schedule", 51, 25, hidden=False)
    ]


def test_every_scheduled_box_model_and_good_inlet_is_in_the_library() -> None:
    inlets = {
        (model["name"], inlet["label"])
        for model in LIBRARY["box models"]
        for inlet in model["inlets"]
    }
    for tag, row in by_tag("addendum-1.xlsx").items():
        assert (row["Box model"], f"{flow(row, 'Inlet'):g} in") in inlets, tag


def test_nominal_k_stays_below_that_of_a_bare_pitot_tube() -> None:
    """Published: Q = V·A and V = 4005·√VP; a sensor that amplifies must have a smaller K."""
    for model in LIBRARY["box models"]:
        assert 2.0 <= model["amplification"] <= 2.8
        for inlet in model["inlets"]:
            diameter_in, k = (float(inlet[key].split()[0]) for key in ("diameter", "nominal K"))
            assert k < 4005 * math.pi * (diameter_in / 24) ** 2
    assert len(LIBRARY["box models"]) == len(MODELS) == 7


def test_eight_inch_single_duct_box() -> None:
    """K of 4005 × 0.3386 ft² / √2.19 is 916 cfm at 1 in. w.c., worked by hand."""
    inlet = LIBRARY["box models"][0]["inlets"][3]
    assert inlet == {
        "label": "8 in",
        "diameter": "8 in",
        "free area": "0.3386 ft2",
        "nominal K": "916 cfm/sqrt(inH2O)",
        "scheduled low": "60 cfm",
        "scheduled high": "740 cfm",
    }


KINDS = {
    "diameter": "diameter",
    "free area": "free_area",
    "nominal K": "k_factor",
    "scheduled low": "airflow",
    "scheduled high": "airflow",
    "lowest readable pressure": "pressure",
    "span": "pressure",
}


def test_every_quantity_of_the_library_is_read_by_our_own_units() -> None:
    entries = [*LIBRARY["controller models"]]
    entries.extend(inlet for model in LIBRARY["box models"] for inlet in model["inlets"])
    for entry in entries:
        for key, kind in KINDS.items():
            if key in entry:
                assert units.parse(entry[key], kind, default_unit="").value > 0
