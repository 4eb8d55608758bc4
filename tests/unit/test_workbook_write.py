"""Written tables: inert text, exact numbers, and a round trip through our own import."""

import io
import zipfile
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from projectsite.core.workbook import (
    ColumnOut,
    SheetOut,
    guard_text,
    read_sheet,
    unguard_text,
    write_csv,
    write_xlsx,
)
from projectsite.core.workbook.delimited import read_text

COLUMNS = (ColumnOut("Tag", width=14), ColumnOut("Cooling maximum", "cfm", number_format="#,##0"))
ATTACKS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1", "''=1", "'tis", "=cmd|'/c'!A1"]
# A cell holds neither half of a surrogate pair nor a zero character.
TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1)
RISKY = st.builds(str.__add__, st.sampled_from(["=", "+", "-", "@", "\t", "\r", "'", "'="]), TEXT)


def csv_bytes(sheet: SheetOut) -> bytes:
    stream = io.BytesIO()
    write_csv(stream, sheet)
    return stream.getvalue()


def xlsx_bytes(*sheets: SheetOut) -> bytes:
    stream = io.BytesIO()
    write_xlsx(stream, sheets)
    return stream.getvalue()


@given(TEXT | RISKY)
def test_guard_is_undone_exactly(text: str) -> None:
    guarded = guard_text(text)
    assert unguard_text(guarded) == text
    assert guarded[0] not in "=+-@\t\r"


@given(st.lists(st.lists(TEXT | RISKY, min_size=2, max_size=2), max_size=6))
def test_csv_text_comes_back_exactly(rows: list[list[str]]) -> None:
    read, _, _, _ = read_text(csv_bytes(SheetOut("S", COLUMNS, rows)), keep_rows=True)
    assert read[1:] == rows


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_csv_numbers_come_back_exactly(value: float) -> None:
    read, _, _, _ = read_text(csv_bytes(SheetOut("S", COLUMNS, [["a", value]])), keep_rows=True)
    assert isinstance(read[1][1], str)
    assert float(read[1][1]) == value


def test_csv_number_below_zero_is_not_guarded_but_text_is() -> None:
    content = csv_bytes(SheetOut("S", COLUMNS, [["-5", -5.0], ["=1+1", 350]]))
    assert content.decode("utf-8-sig").splitlines()[1:] == ["'-5,-5", "'=1+1,350"]


def test_csv_heading_carries_the_unit_and_a_signature() -> None:
    content = csv_bytes(SheetOut("S", COLUMNS, [[None, True], [date(2026, 11, 25), "a;b"]]))
    assert content == (
        b"\xef\xbb\xbfTag,Cooling maximum (cfm)\r\n,TRUE\r\n" + b'2026-11-25,"a;b"\r\n'
    )


def test_csv_to_a_path(tmp_path: Path) -> None:
    write_csv(tmp_path / "a.csv", SheetOut("S", COLUMNS, [["VAV-1", 450]]))
    assert read_sheet(tmp_path / "a.csv").rows[1] == ["VAV-1", "450"]


def test_xlsx_attacks_stay_text() -> None:
    content = xlsx_bytes(SheetOut("S", COLUMNS, [[text, 1.0] for text in ATTACKS]))
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        part = archive.read("xl/worksheets/sheet1.xml")
    assert b"<f>" not in part
    assert b"hyperlink" not in part
    sheet = read_sheet(content)
    assert sheet.formula_count == 0
    assert [row[0] for row in sheet.rows[1:]] == ATTACKS


@settings(max_examples=15, deadline=None)  # each example starts a child process
@given(
    st.lists(
        st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc", "Cn"]), min_size=1),
        min_size=1,
        max_size=20,
    )
)
def test_xlsx_text_comes_back_exactly(texts: list[str]) -> None:
    sheet = read_sheet(xlsx_bytes(SheetOut("S", COLUMNS, [[text, 1.0] for text in texts])))
    assert [row[0] for row in sheet.rows[1:]] == texts


def test_xlsx_numbers_come_back_exactly() -> None:
    values = [0.1 + 0.2, 1e-9, -350.0, 123456789.125, 916.0]
    sheet = read_sheet(xlsx_bytes(SheetOut("S", COLUMNS, [["a", value] for value in values])))
    assert [row[1] for row in sheet.rows[1:]] == pytest.approx(values, rel=1e-15)


def test_xlsx_unknown_values_are_blank_and_dates_are_iso_text() -> None:
    rows: list[list[object]] = [[None, float("nan")], [datetime(2026, 11, 25, tzinfo=UTC), True]]
    sheet = read_sheet(xlsx_bytes(SheetOut("S", COLUMNS, rows)))
    assert sheet.rows[1:] == [[None, None], ["2026-11-25 00:00:00+00:00", True]]


def test_xlsx_heading_is_frozen_and_filtered() -> None:
    content = xlsx_bytes(SheetOut("S", COLUMNS, [["a", 1.0], ["b", 2.0]]))
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        part = archive.read("xl/worksheets/sheet1.xml").decode()
    assert 'ySplit="1"' in part
    assert '<autoFilter ref="A1:B3"/>' in part


def test_xlsx_notes_have_a_sheet_of_their_own() -> None:
    sheets = [SheetOut("S", COLUMNS, [["a", 1.0]], notes=("=Draft",))]
    assert read_sheet(xlsx_bytes(*sheets), "Notes").rows == [["S", "=Draft"]]


@pytest.mark.parametrize(
    ("titles", "written"),
    [
        (["AHU-1/2: [units]"], ["AHU-1 2   units"]),
        (["Same", "same"], ["Same", "same 2"]),
        (["x" * 40, "x" * 40], ["x" * 31, "x" * 29 + " 2"]),
        (["", "History"], ["Sheet", "History 2"]),
    ],
)
def test_xlsx_titles_are_made_acceptable(titles: list[str], written: list[str]) -> None:
    content = xlsx_bytes(*(SheetOut(title, COLUMNS, [["a", 1.0]]) for title in titles))
    for title in written:
        assert read_sheet(content, title).name == title


def test_xlsx_text_longer_than_a_cell_is_cut_visibly() -> None:
    sheet = read_sheet(xlsx_bytes(SheetOut("S", COLUMNS, [["x" * 40_000, 1.0]])))
    text = sheet.rows[1][0]
    assert isinstance(text, str)
    assert len(text) == 32_767
    assert text.endswith("[cut: longer than a cell can hold]")


def test_xlsx_is_the_same_bytes_each_time() -> None:
    first, second = (xlsx_bytes(SheetOut("S", COLUMNS, [["a", 1.0]])) for _ in range(2))
    assert first == second
