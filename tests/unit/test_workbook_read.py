"""Reading honest workbooks and CSV files: true positions, named cells, notes."""

from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from projectsite.core.workbook import (
    TEXT_SHEET_NAME,
    Formula,
    GridSheet,
    SheetInfo,
    WorkbookError,
    cell_name,
    cell_position,
    column_letters,
    list_sheets,
    read_sheet,
    write_grid,
)
from tests.unit.hostile import make_xlsx, number, sheet_xml, text


@given(row=st.integers(1, 1_048_576), column=st.integers(1, 16_384))
def test_cell_names_are_exact_both_ways(row: int, column: int) -> None:
    assert cell_position(cell_name(row, column)) == (row, column)


@pytest.mark.parametrize(
    ("number_", "letters"), [(1, "A"), (26, "Z"), (27, "AA"), (702, "ZZ"), (703, "AAA")]
)
def test_column_letters(number_: int, letters: str) -> None:
    assert column_letters(number_) == letters


def test_column_zero_has_no_letters() -> None:
    with pytest.raises(ValueError, match="got 0"):
        column_letters(0)


@pytest.mark.parametrize("name", ["", "7", "B", "7B", "ABCD1", "B-7", "B 7"])
def test_what_is_no_cell_name(name: str) -> None:
    with pytest.raises(ValueError, match="not the name of a cell"):
        cell_position(name)


def test_leading_empty_rows_and_columns_keep_their_numbers() -> None:
    sheet = read_sheet(make_xlsx(f'<row r="4">{number("C4", 350)}</row>'))
    assert sheet.first_row_number == 1
    assert sheet.rows == [[None] * 3] * 3 + [[None, None, 350.0]]


def test_kinds_of_cells() -> None:
    rows = (
        f'<row r="1">{text("A1", "VAV-1-01")}{number("B1", 450)}'
        '<c r="C1" t="b"><v>1</v></c><c r="E1" t="d"><v>2026-11-25T08:30:00</v></c></row>'
    )
    assert read_sheet(make_xlsx(rows)).rows == [
        ["VAV-1-01", 450.0, True, None, datetime(2026, 11, 25, 8, 30)]  # noqa: DTZ001  # no zone in a cell
    ]


def test_error_cells_are_named_with_their_error() -> None:
    rows = (
        f'<row r="7">{number("A7", 1)}<c r="B7" t="e"><v>#REF!</v></c>'
        '<c r="C7" t="e"><f>1/0</f><v>#DIV/0!</v></c></row>'
    )
    sheet = read_sheet(make_xlsx(rows))
    assert sheet.error_cells == {"B7": "#REF!", "C7": "#DIV/0!"}
    assert sheet.uncached_formula_cells == ()


@pytest.mark.parametrize("value", ["", "<v></v>", "<v/>"])
def test_formula_without_result_is_named(value: str) -> None:
    rows = (
        f'<row r="3">{number("A3", 1)}<c r="B3"><f>A3*2</f>{value}</c>'
        '<c r="C3"><f>A3</f><v>1</v></c><c r="D3" t="str"><f>""</f><v></v></c></row>'
    )
    sheet = read_sheet(make_xlsx(rows))
    assert sheet.uncached_formula_cells == ("B3",)
    assert sheet.formula_count == 3
    assert "3 cells hold formulas" in sheet.notes[0]


def test_rules_after_the_cells_are_not_taken_for_formulas() -> None:
    tail = "<extLst><ext><rule><f>A1</f></rule></ext></extLst>"
    part = sheet_xml(f'<row r="1">{number("A1", 1)}</row>', tail=tail)
    sheet = read_sheet(make_xlsx(**{"xl/worksheets/sheet1.xml": part}))
    assert sheet.formula_count == 0


def test_prefixed_names_and_missing_references_count_the_same() -> None:
    part = (
        '<x:worksheet xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        '<x:sheetData><x:row><x:c><x:v>1</x:v></x:c><x:c t="e"><x:v>#N/A</x:v></x:c></x:row>'
        "</x:sheetData></x:worksheet>"
    )
    sheet = read_sheet(make_xlsx(**{"xl/worksheets/sheet1.xml": part}))
    assert sheet.error_cells == {"B1": "#N/A"}


def test_many_errors_are_counted_and_the_first_listed() -> None:
    rows = "".join(
        f'<row r="{i}">{number(f"A{i}", 1)}<c r="B{i}" t="e"><v>#N/A</v></c></row>'
        for i in range(1, 1502)
    )
    sheet = read_sheet(make_xlsx(rows))
    assert len(sheet.error_cells) == 1000
    assert "Of 1,501 cells with errors, the first 1,000 are listed." in sheet.notes


def test_number_too_large_for_a_float_is_an_error_cell() -> None:
    sheet = read_sheet(make_xlsx(f'<row r="1">{number("A1", 1)}<c r="B1"><v>1e999</v></c></row>'))
    assert sheet.error_cells == {"B1": "#NUM!"}
    assert sheet.rows == [[1.0, None]]


def test_hidden_rows_are_said() -> None:
    sheet = read_sheet(make_xlsx(f'<row r="1" hidden="1">{number("A1", 1)}</row>'))
    assert sheet.notes == ("1 rows are hidden in the workbook; they are read as well.",)


def test_sheets_with_sizes_and_hidden_ones(tmp_path: Path) -> None:
    path = tmp_path / "three.xlsx"
    write_grid(
        path,
        [
            GridSheet("Cover", [["Terminal unit schedule"]]),
            GridSheet("Units", [["Tag", "Max"], ["VAV-1", 450.0]], merged=("A4:B4",)),
            GridSheet("Old", [["Tag"], ["VAV-0"]], hidden=True),
        ],
    )
    assert list_sheets(path) == [
        SheetInfo("Cover", 1, 1, hidden=False),
        SheetInfo("Units", 4, 2, hidden=False),
        SheetInfo("Old", 2, 1, hidden=True),
    ]
    assert read_sheet(path, "Units").merged_ranges == ("A4:B4",)
    assert read_sheet(path).name == "Cover"
    assert read_sheet(path.read_bytes(), "Old").rows == [["Tag"], ["VAV-0"]]


def test_stored_results_of_a_program_that_cannot_calculate_are_doubted(tmp_path: Path) -> None:
    path = tmp_path / "formula.xlsx"
    write_grid(path, [GridSheet("S", [[1.0, Formula("=A1*2", 2.0), Formula("=A1", None)]])])
    sheet = read_sheet(path)
    assert sheet.rows == [[1.0, 2.0, None]]
    assert sheet.uncached_formula_cells == ("C1",)
    assert any("out of date" in note for note in sheet.notes)


@pytest.mark.parametrize(
    ("encoding", "note"),
    [
        ("utf-8", False),
        ("utf-8-sig", False),
        ("utf-16", False),
        ("cp1252", True),
    ],
)
def test_csv_encodings(encoding: str, note: bool) -> None:
    sheet = read_sheet("Tag,Zulufttemperatur °C\nVAV-1,13\n".encode(encoding))
    assert sheet.name == TEXT_SHEET_NAME
    assert sheet.rows == [["Tag", "Zulufttemperatur °C"], ["VAV-1", "13"]]
    assert any("Windows-1252" in text_ for text_ in sheet.notes) is note


def test_big_endian_utf_16() -> None:
    assert read_sheet("﻿Tag;Max\nVAV-1;4\n".encode("utf-16-be")).rows[1] == ["VAV-1", "4"]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_csv_delimiters(delimiter: str) -> None:
    lines = [["Tag", "Max", "Note"], ["VAV-1", "450", "8 in"], ["VAV-2", "300", ""]]
    content = "\r\n".join(delimiter.join(line) for line in lines).encode()
    assert read_sheet(content).rows[1] == ["VAV-1", "450", "8 in"]


def test_decimal_commas_between_semicolons() -> None:
    content = b"Tag;Max L/s;Min L/s\nVAV-1;212,5;60,5\nVAV-2;99,5;30,5\n"
    assert read_sheet(content).rows[1] == ["VAV-1", "212,5", "60,5"]


def test_quoted_remarks_do_not_mislead() -> None:
    content = b'Tag,Note\nVAV-1,"a; b; c"\nVAV-2,"d; e; f"\n'
    assert read_sheet(content).rows[1] == ["VAV-1", "a; b; c"]


def test_named_separator_line_is_obeyed() -> None:
    assert read_sheet(b"sep=;\r\nTag;Max\r\nVAV,1;450\r\n").rows[1] == ["VAV,1", "450"]


def test_line_breaks_and_inch_marks_in_fields() -> None:
    content = b'Tag,Inlet,Note\r\nVAV-1,8",first\r\nVAV-2,"10""","two\nlines"\r\n'
    assert read_sheet(content).rows[1:] == [
        ["VAV-1", '8"', "first"],
        ["VAV-2", '10"', "two\nlines"],
    ]


def test_blank_rows_are_kept_and_trailing_ones_dropped() -> None:
    assert read_sheet(b"a,b\n\n,,\nc,,\n,,\n\n").rows == [
        ["a", "b"],
        [None, None],
        [None, None],
        ["c", None],
    ]


def csv_refusal(content: bytes) -> str:
    with pytest.raises(WorkbookError) as caught:
        read_sheet(content)
    return caught.value.message


def test_zero_bytes_are_refused_with_their_line() -> None:
    assert "line 2 holds a zero byte" in csv_refusal(b"a,b\nc\0,d\n")


def test_letters_of_no_known_encoding_are_refused() -> None:
    assert "line 2" in csv_refusal(b"a,b\n\x81\x8d,d\n")


@pytest.mark.parametrize("content", [b"%PDF-1.7 x", b"\x89PNG\r\n", b" <html></html>"])
def test_other_kinds_of_files_are_named(content: bytes) -> None:
    assert "not a workbook" in csv_refusal(content)


def test_csv_of_200_000_rows_is_counted() -> None:
    message = csv_refusal(b"tag,max\n" + b"VAV-1,450\n" * 199_999)
    assert "200,000 rows" in message
    assert "50,000" in message


def test_csv_far_column_is_named() -> None:
    assert "cell OK2" in csv_refusal(b"a,b\n" + b"," * 400 + b"x\n")


def test_csv_of_blank_lines_is_empty() -> None:
    assert "is empty" in csv_refusal(b"\n\n,,\n")


def test_csv_is_listed_as_one_sheet() -> None:
    assert list_sheets(b"a,b\n1,2\n") == [SheetInfo(TEXT_SHEET_NAME, 2, 2, hidden=False)]
