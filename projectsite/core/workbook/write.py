"""Writes tables as XLSX and CSV so that no text in them can become a formula or a link."""

import io
import math
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, BinaryIO, Final

from projectsite.core.workbook.delimited import guard_text
from projectsite.core.workbook.types import SheetOut

Target = str | os.PathLike[str] | BinaryIO

LONGEST_CELL: Final = 32_767
"""Most characters that a cell of a workbook can hold."""
CUT_MARK: Final = " … [cut: longer than a cell can hold]"
_FIXED_TIME: Final = datetime(1980, 1, 1, tzinfo=UTC)
_NOT_IN_XML: Final = re.compile("[\ud800-\udfff\ufffe\uffff]")
_NOT_IN_TITLE: Final = re.compile(r"[\[\]:*?/\\\x00-\x1f]")
# Text stays text: neither "=1+1" nor "http://..." may come alive on the reader's desk.
_INERT: Final = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}


@dataclass(frozen=True, slots=True)
class Formula:
    """A live formula with its stored result, only for `write_grid`; None stores no result."""

    text: str
    result: float | str | None


@dataclass(frozen=True, slots=True)
class GridSheet:
    """A sheet laid out freely, row by row from A1, as other parties send schedules.

    ``merged`` holds ranges such as "C3:F3"; ``widths`` holds characters by column number from 1.
    """

    title: str
    rows: list[list[object]]
    merged: tuple[str, ...] = ()
    widths: Mapping[int, float] = field(default_factory=dict)
    bold_rows: tuple[int, ...] = ()
    hidden: bool = False


def write_xlsx(
    target: Target, sheets: Iterable[SheetOut], *, created_at: datetime = _FIXED_TIME
) -> None:
    """Write tables as a workbook: heading frozen and filtered, notes on a sheet of their own.

    Rows are written as they come, so a long iterable needs little memory. Numbers stay numbers;
    every text is inert. A text longer than a cell holds is cut with a visible mark.
    """
    with _open_workbook(target, created_at, constant_memory=True) as workbook:
        titles = _Titles()
        heading = workbook.add_format(
            {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}
        )
        notes: list[tuple[str, str]] = []
        for sheet in sheets:
            worksheet = workbook.add_worksheet(titles.free(sheet.title))
            formats = []
            for j, column in enumerate(sheet.columns):
                properties = {"num_format": column.number_format, "align": column.align}
                formats.append(workbook.add_format({k: v for k, v in properties.items() if v}))
                worksheet.set_column(j, j, column.width)
                worksheet.write_string(0, j, _clean(column.heading), heading)
            worksheet.freeze_panes(1, 0)
            last = 0
            for last, row in enumerate(sheet.rows, start=1):
                for j, value in enumerate(row):
                    _write_cell(worksheet, last, j, value, formats[j])
            if sheet.columns:
                worksheet.autofilter(0, 0, max(last, 1), len(sheet.columns) - 1)
            notes.extend((sheet.title, note) for note in sheet.notes)
        if notes:
            worksheet = workbook.add_worksheet(titles.free("Notes"))
            worksheet.set_column(0, 0, 24)
            worksheet.set_column(1, 1, 100)
            for i, pair in enumerate(notes):
                for j, text in enumerate(pair):
                    worksheet.write_string(i, j, _clean(text))


def write_csv(target: Target, sheet: SheetOut) -> None:
    """Write one table as CSV (UTF-8 with signature, comma): text guarded, numbers exact.

    Our own import removes the guard, so text comes back as it was.
    """
    if isinstance(target, (str, os.PathLike)):
        with Path(target).open("wb") as stream:
            write_csv(stream, sheet)
        return
    text = io.TextIOWrapper(target, encoding="utf-8-sig", errors="replace", newline="")
    try:
        text.write(_csv_line([column.heading for column in sheet.columns]))
        for row in sheet.rows:
            text.write(_csv_line(row))
        text.flush()
    finally:
        text.detach()


def write_grid(
    target: Target, sheets: Iterable[GridSheet], *, created_at: datetime = _FIXED_TIME
) -> None:
    """Write freely laid out sheets, merged cells and formulas included: samples and tests only."""
    with _open_workbook(target, created_at, constant_memory=False) as workbook:
        bold = workbook.add_format(
            {"bold": True, "text_wrap": True, "align": "center", "border": 1}
        )
        plain = workbook.add_format()
        for sheet in sheets:
            worksheet = workbook.add_worksheet(sheet.title)
            for column, width in sheet.widths.items():
                worksheet.set_column(column - 1, column - 1, width)
            for reference in sheet.merged:
                worksheet.merge_range(reference, "", bold)
            for i, row in enumerate(sheet.rows):
                style = bold if i + 1 in sheet.bold_rows else plain
                for j, value in enumerate(row):
                    if isinstance(value, Formula):
                        result = "" if value.result is None else value.result
                        worksheet.write_formula(i, j, value.text, style, result)
                    else:
                        _write_cell(worksheet, i, j, value, style)
            if sheet.hidden:
                worksheet.hide()


class _Titles:
    """Makes sheet titles that spreadsheet programs accept, each once."""

    def __init__(self) -> None:
        self._used: set[str] = {"history"}  # A name that one program keeps for itself.

    def free(self, title: str) -> str:
        base = _NOT_IN_TITLE.sub(" ", _clean(title)).strip().strip("'")[:31] or "Sheet"
        name, number = base, 1
        while name.casefold() in self._used:
            number += 1
            name = f"{base[: 31 - len(str(number)) - 1]} {number}"
        self._used.add(name.casefold())
        return name


@contextmanager
def _open_workbook(target: Target, created_at: datetime, *, constant_memory: bool) -> Iterator[Any]:
    # Imported here because the child process that reads would pay for it at every start.
    import xlsxwriter  # noqa: PLC0415

    destination = str(os.fspath(target)) if isinstance(target, (str, os.PathLike)) else target
    workbook = xlsxwriter.Workbook(destination, {**_INERT, "constant_memory": constant_memory})
    workbook.set_properties({"created": created_at})
    try:
        yield workbook
    finally:
        workbook.close()


def _write_cell(worksheet: Any, row: int, column: int, value: object, style: Any) -> None:
    if value is None or value == "":
        return
    if isinstance(value, bool):
        worksheet.write_boolean(row, column, value, style)
    elif isinstance(value, (int, float)):
        if math.isfinite(value):
            worksheet.write_number(row, column, value, style)
    elif isinstance(value, datetime):
        worksheet.write_string(row, column, value.isoformat(sep=" "), style)
    elif isinstance(value, date):
        worksheet.write_string(row, column, value.isoformat(), style)
    else:
        worksheet.write_string(row, column, _clean(str(value)), style)


def _clean(text: str) -> str:
    text = _NOT_IN_XML.sub("\ufffd", text)
    if len(text) > LONGEST_CELL:
        text = text[: LONGEST_CELL - len(CUT_MARK)] + CUT_MARK
    return text


def _csv_line(values: Iterable[object]) -> str:
    return ",".join(_csv_field(value) for value in values) + "\r\n"


_CSV_QUOTE: Final = re.compile(r"[,;\t\r\n\"]")


def _csv_field(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, (int, float)):
        return _csv_number(value)
    if isinstance(value, (datetime, date)):
        return value.isoformat(sep=" ") if isinstance(value, datetime) else value.isoformat()
    text = guard_text(str(value).replace("\0", "\ufffd"))
    # Semicolons and tabs are quoted as well, so that every reader finds the comma.
    return '"' + text.replace('"', '""') + '"' if _CSV_QUOTE.search(text) else text


def _csv_number(value: float) -> str:
    if not math.isfinite(value):
        return ""
    text = repr(value)
    return text.removesuffix(".0")
