"""From a received file to rows with their faults, and to the proposal of how to read it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from projectsite.core import units
from projectsite.core.errors import InvalidInput
from projectsite.core.scope import UnitSystem
from projectsite.core.workbook import (
    Sheet,
    SheetInfo,
    WorkbookError,
    cell_name,
    cell_position,
    column_letters,
    list_sheets,
    read_sheet,
)
from projectsite.core.workbook.types import MAX_NAMED_CELLS
from zones.inventory.domain.schedule import cells, headings
from zones.inventory.domain.schedule.headings import Meaning
from zones.inventory.domain.schedule.types import TARGETS, Layout
from zones.inventory.imports.book import BOOK, kind_of

SAMPLE_ROWS = 8
TOP_ROWS = 30
MOST_SHEETS_TRIED = 6
_LONGEST_SAMPLE = 60

Merges = list[tuple[int, int, int, int]]


@dataclass(frozen=True, slots=True)
class Column:
    """A column as it is offered for mapping."""

    index: int
    letters: str
    heading: str
    units: str
    sample: tuple[str, ...]
    field: str
    unit: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """How a file may be read."""

    sheet: str
    layout: Layout
    columns: tuple[Column, ...]
    top: tuple[tuple[int, tuple[str, ...]], ...]
    notes: tuple[str, ...] = field(default_factory=tuple)


def sheets_of(content: bytes) -> list[SheetInfo]:
    """Sheets of a received file; WorkbookError when it is none that can be read."""
    found = list_sheets(content)
    if not found:
        raise WorkbookError("The workbook has no sheets.")
    return found


def merges_of(sheet: Sheet) -> Merges:
    """Merged ranges as first row, first column, last row, last column, from 0."""
    found = []
    for reference in sheet.merged_ranges:
        first, _, last = reference.partition(":")
        (top, left), (bottom, right) = cell_position(first), cell_position(last or first)
        found.append((top - 1, left - 1, bottom - 1, right - 1))
    return found


def faults_of(sheet: Sheet) -> dict[tuple[int, int], str]:
    """What is wrong with the cells that hold no usable value, by row and column from 1."""
    found = {
        cell_position(name): f"{name} holds the error {error}. Mend it in the workbook."
        for name, error in sheet.error_cells.items()
    }
    for name in sheet.uncached_formula_cells:
        found[cell_position(name)] = (
            f"{name} holds a formula that was never calculated. Open the workbook in a "
            "spreadsheet program, save it and upload it again."
        )
    return found


def open_sheet(content: bytes, name: str | None) -> Sheet:
    """Read one sheet whole; refuses one in which faults can't all be named."""
    sheet = read_sheet(content, name)
    if (
        len(sheet.uncached_formula_cells) >= MAX_NAMED_CELLS
        or len(sheet.error_cells) >= MAX_NAMED_CELLS
    ):
        raise WorkbookError(
            f"Sheet {sheet.name!r} has {MAX_NAMED_CELLS:,} or more cells with an error or with a "
            "formula that was never calculated. Open it in a spreadsheet program, mend and save "
            "it, and upload it again."
        )
    return sheet


def choose_sheet(content: bytes, sheets: Sequence[SheetInfo], target: str) -> Sheet:
    """Read the sheet whose headings name most fields; hidden sheets only when all are hidden."""
    visible = [info for info in sheets if not info.hidden] or list(sheets)
    best: tuple[int, Sheet] | None = None
    for info in visible[:MOST_SHEETS_TRIED]:
        try:
            sheet = open_sheet(content, info.name)
        except WorkbookError:
            if len(visible) == 1:
                raise
            continue
        score = headings.score_sheet(sheet.rows, target, BOOK, merged=merges_of(sheet))
        if best is None or score > best[0]:
            best = (score, sheet)
    if best is None:
        raise WorkbookError("No sheet of the workbook holds a table. Upload the schedule itself.")
    return best[1]


def layout_for(sheet: Sheet, target: str, wanted: Mapping[str, int] | None) -> Layout:
    """Where the table stands: as told, else as found."""
    found = headings.propose_layout(sheet.rows, target, BOOK, merged=merges_of(sheet))
    if not wanted:
        return found
    return check_layout(Layout(**{**_as_dict(found), **wanted}), len(sheet.rows))


def _as_dict(layout: Layout) -> dict[str, int]:
    return {name: getattr(layout, name) for name in Layout.__dataclass_fields__}


def check_layout(layout: Layout, rows: int) -> Layout:
    """Refuse rows that can't be: InvalidInput with a message for each field."""
    wrong = {}
    if not 1 <= layout.heading_row <= rows:
        wrong["heading_row"] = f"The sheet has rows 1 to {rows}."
    elif not layout.heading_row <= layout.heading_end_row <= layout.heading_row + 5:
        wrong["heading_end_row"] = "The last heading row is at most five rows below the first."
    if layout.units_row and layout.units_row <= layout.heading_end_row:
        wrong["units_row"] = "The units row stands below the headings."
    if layout.first_row <= max(layout.heading_end_row, layout.units_row):
        wrong["first_row"] = "The first unit stands below the headings and the units row."
    if layout.last_row < layout.first_row:
        wrong["last_row"] = "The last row is above the first."
    if wrong:
        raise InvalidInput("Some row numbers need another look.", fields=wrong)
    return layout


def propose(
    sheet: Sheet,
    target: str,
    *,
    system: UnitSystem,
    remembered: Mapping[str, Meaning],
    wanted: Mapping[str, int] | None = None,
) -> Proposal:
    """Propose headings, fields and units of a sheet."""
    layout = layout_for(sheet, target, wanted)
    merged = merges_of(sheet)
    names, below = headings.headings_of(sheet.rows, layout, merged=merged)
    meant = headings.meanings(names, target, BOOK, units=below, remembered=remembered)
    fields = {f.name: f for f in TARGETS[target]}
    shown = [
        [_short(cell) for cell in sheet.rows[n - 1]]
        for n in range(layout.first_row, min(layout.last_row, len(sheet.rows)) + 1)
    ][:SAMPLE_ROWS]
    columns = []
    for j, (heading, meaning) in enumerate(zip(names, meant, strict=True)):
        sample = tuple(row[j] if j < len(row) else "" for row in shown)
        kind = kind_of(fields[meaning.field]) if meaning.field else ""
        found = BOOK.find(kind, meaning.unit) if kind and meaning.unit else None
        unit = found.name if found else (units.default_unit(kind, system) if kind else "")
        if heading or any(sample):
            columns.append(
                Column(j, column_letters(j + 1), heading, below[j], sample, meaning.field, unit)
            )
    top = tuple(
        (i + 1, tuple(_short(cell) for cell in row[:12]))
        for i, row in enumerate(sheet.rows[:TOP_ROWS])
    )
    return Proposal(sheet.name, layout, tuple(columns), top, sheet.notes)


def _short(cell: Any) -> str:
    text = cells.plain(cell)
    return text if len(text) <= _LONGEST_SAMPLE else f"{text[:_LONGEST_SAMPLE]}…"


def cell_namer(row: int, column: int) -> str:
    """Name of a cell: (7, 2) is B7."""
    return cell_name(row, column)
