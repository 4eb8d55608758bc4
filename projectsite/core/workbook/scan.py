"""Reads a sheet's XML as a stream for what the fast reader does not tell or cannot survive.

The fast reader makes a dense grid up to the farthest cell (a 1.5 kB file can ask for 550 GB),
and gives an empty text for an error and for a formula that was never calculated. This pass
finds the extent before the grid is made, and names those cells.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import Final
from xml.parsers import expat

from projectsite.core.workbook.archive import (
    LAST_PIECE,
    Archive,
    forbid_document_type,
    local_name,
    malformed,
)
from projectsite.core.workbook.types import (
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_NAMED_CELLS,
    MAX_ROWS,
    WorkbookError,
    cell_name,
    cell_position,
    column_letters,
)

_MERGE: Final = re.compile(r"[A-Z]{1,3}[0-9]{1,7}:[A-Z]{1,3}[0-9]{1,7}")
_ROW_START: Final = re.compile(rb"<(?:[A-Za-z0-9_]+:)?row[\s>/]")
_DIMENSION: Final = re.compile(rb"<(?:[A-Za-z0-9_]+:)?dimension[^>]*\sref=[\"']([A-Z0-9:$]+)[\"']")


@dataclass(slots=True)
class SheetScan:
    """What one pass over a sheet found; positions from 1."""

    rows: int = 0
    columns: int = 0
    error_cells: dict[str, str] = field(default_factory=dict)
    error_count: int = 0
    uncached: list[str] = field(default_factory=list)
    uncached_count: int = 0
    formula_count: int = 0
    merged: list[str] = field(default_factory=list)
    hidden_row_count: int = 0


class _TooFarError(Exception):
    """A filled cell lies beyond the limits."""


class _Scanner:
    def __init__(self, part: str) -> None:
        self.found = SheetScan()
        self.row = 0
        self.column = 0
        self.row_elements = 0
        self._row_text = "0"
        self._row_digits = 1
        self._columns: dict[str, int] = {}
        self._kind = ""
        self._formula = False
        self._value = False
        self._text = ""
        self._element = ""
        self._handlers: dict[str, Callable[[dict[str, str]], None]] = {
            "row": self._start_row,
            "c": self._start_cell,
            "v": self._start_value,
            "is": self._start_value,
            "f": self._start_formula,
            "mergeCell": self._start_merge,
        }
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        forbid_document_type(self.parser, part)
        self.parser.StartElementHandler = self._start

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        handler = self._handlers.get(name)
        if handler is not None:
            handler(attributes)
        elif ":" in name and local_name(name) in self._handlers:
            self._handlers[local_name(name)](attributes)
        self._element = name

    def _start_row(self, attributes: dict[str, str]) -> None:
        if self._formula or self._kind == "e":
            self.close_cell()
        self.row = _row_number(attributes.get("r"), self.row)
        self._row_text = str(self.row)
        self._row_digits = len(self._row_text)
        self.column = 0
        self.row_elements += 1
        if attributes.get("hidden") in {"1", "true"}:
            self.found.hidden_row_count += 1

    def _start_cell(self, attributes: dict[str, str]) -> None:
        if self._formula or self._kind == "e":
            self.close_cell()
        reference = attributes.get("r")
        if reference is None:
            self.column += 1
        else:
            # The reference is nearly always in the current row; then only its letters are new.
            column = self._columns.get(reference[: -self._row_digits])
            if column is not None and reference.endswith(self._row_text):
                self.column = column
            else:
                self._move_to(reference)
        self._kind = attributes.get("t", "")
        self._value = False
        if self._kind == "e":
            self.parser.CharacterDataHandler = self._data

    def _move_to(self, reference: str) -> None:
        try:
            self.row, self.column = cell_position(reference)
        except ValueError as error:
            raise WorkbookError(
                f"The workbook holds a cell with the impossible name {reference[:20]!r}. Save it"
                " again in your spreadsheet program, then upload the new file."
            ) from error
        self._row_text = str(self.row)
        self._row_digits = len(self._row_text)
        self._columns[column_letters(self.column)] = self.column

    def _start_value(self, _attributes: dict[str, str]) -> None:
        self._value = True
        self._extend()

    def _extend(self) -> None:
        found = self.found
        if self.column > found.columns or self.row > found.rows:
            found.columns = max(found.columns, self.column)
            found.rows = max(found.rows, self.row)
            if self.row > MAX_ROWS or self.column > MAX_COLUMNS:
                raise _TooFarError

    def _start_formula(self, _attributes: dict[str, str]) -> None:
        # Rules for colours and lists hold an "f" as well; only a cell's own stands right in it.
        if local_name(self._element) == "c":
            self._formula = True
            self._extend()
            self.parser.CharacterDataHandler = self._data

    def _start_merge(self, attributes: dict[str, str]) -> None:
        reference = attributes.get("ref", "")
        if len(self.found.merged) < MAX_NAMED_CELLS and _MERGE.fullmatch(reference):
            self.found.merged.append(reference)

    def _data(self, text: str) -> None:
        # Character data is only watched inside the few cells whose value must be judged.
        if local_name(self._element) == "v":
            self._text += text.strip()

    def close_cell(self) -> None:
        """Judge the cell that ended: an error, or a formula without a stored result."""
        found = self.found
        if self._kind == "e":
            found.error_count += 1
            if len(found.error_cells) < MAX_NAMED_CELLS:
                found.error_cells[cell_name(self.row, self.column)] = self._text[:40] or "error"
        if self._formula:
            found.formula_count += 1
            # A text result may honestly be empty; a number may not.
            if not self._text and not (self._kind == "str" and self._value):
                found.uncached_count += 1
                if len(found.uncached) < MAX_NAMED_CELLS:
                    found.uncached.append(cell_name(self.row, self.column))
        self._formula = False
        self._kind = ""
        self._text = ""
        self._element = ""
        self.parser.CharacterDataHandler = None


def _row_number(text: str | None, before: int) -> int:
    if text is None:
        return before + 1
    if not text.isascii() or not text.isdigit() or len(text) > 7 or int(text) < 1:
        raise WorkbookError(
            f"The workbook holds a row with the impossible number {text[:20]!r}. Save it again in"
            " your spreadsheet program, then upload the new file."
        )
    return int(text)


def scan_sheet(archive: Archive, part: str, sheet_name: str) -> SheetScan:
    """Scan one sheet; raises WorkbookError when it is too large, damaged or declares a DTD."""
    scanner = _Scanner(part)
    pieces = archive.chunks(part)
    piece, offset = b"", 0
    try:
        for piece in pieces:
            scanner.parser.Parse(piece)
            offset += len(piece)
        scanner.parser.Parse(b"", LAST_PIECE)
        scanner.close_cell()
    except expat.ExpatError as error:
        raise malformed(part, error) from error
    except _TooFarError as error:
        rest = piece[scanner.parser.CurrentByteIndex - offset :]
        row_count = scanner.row_elements + _count_rows(rest, pieces)
        raise _too_far(scanner, row_count, sheet_name) from error
    found = scanner.found
    if found.rows * found.columns > MAX_CELLS:
        raise WorkbookError(
            f"Sheet {sheet_name!r} spans {found.rows:,} rows by {found.columns:,} columns; at most"
            f" {MAX_CELLS:,} cells are read. Delete what does not belong to the schedule, or split"
            " it, then upload again."
        )
    return found


def _count_rows(rest: bytes, pieces: Iterator[bytes]) -> int:
    """Count the rows still to come without parsing them, only to name the number in the refusal."""
    count, tail = 0, b""
    for piece in chain((rest,), pieces):
        window = tail + piece
        cut = window.rfind(b"<")  # A name that is cut by the end of the piece waits for the next.
        tail = window[cut:] if cut >= 0 else b""
        count += len(_ROW_START.findall(window, 0, cut if cut >= 0 else len(window)))
    return count + len(_ROW_START.findall(tail))


def _too_far(scanner: _Scanner, row_count: int, sheet_name: str) -> WorkbookError:
    if row_count > MAX_ROWS:
        return WorkbookError(
            f"Sheet {sheet_name!r} has {row_count:,} rows; at most {MAX_ROWS:,} are read. Split the"
            " schedule, or delete the rows that do not belong to it, then upload again."
        )
    return WorkbookError(
        f"Sheet {sheet_name!r} has something in cell {cell_name(scanner.row, scanner.column)},"
        f" beyond the {MAX_ROWS:,} rows and {MAX_COLUMNS} columns that are read. Delete that cell,"
        " save, then upload again."
    )


def declared_extent(archive: Archive, part: str) -> tuple[int, int] | None:
    """Return rows and columns that the sheet declares, or None when it says nothing useful.

    Only good for showing a size: the declaration may be wrong, and an empty sheet declares A1.
    """
    for piece in archive.chunks(part):
        match = _DIMENSION.search(piece[:8192])
        if match is None or b":" not in match[1]:
            return None
        try:
            return cell_position(match[1].decode("ascii").partition(":")[2])
        except ValueError:
            return None
    return None
