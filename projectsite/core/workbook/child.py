"""The child process that meets the file: limits itself, checks, reads, answers plain lists.

Started as ``python -m projectsite.core.workbook.child``. The request is one JSON object on
standard input, the answer one on standard output. Whatever the file does to this process
(memory, processor time, an abort inside the reader), the web process only sees it end.
"""

import math
import resource
import sys
from datetime import date, datetime
from pathlib import Path
from typing import Any

import orjson
from python_calamine import CalamineError, CalamineWorkbook

from projectsite.core.workbook.archive import (
    OLE_SIGNATURE,
    ZIP_SIGNATURES,
    Archive,
    WorkbookParts,
    refuse_ole,
    verify_part,
)
from projectsite.core.workbook.delimited import read_text
from projectsite.core.workbook.scan import SheetScan, declared_extent, scan_sheet
from projectsite.core.workbook.types import (
    CHILD_CPU_S,
    CHILD_MEMORY_BYTES,
    MAX_ANSWER_BYTES,
    TEXT_SHEET_NAME,
    WorkbookError,
    cell_name,
)

Answer = dict[str, Any]


def limit_resources() -> None:
    """Bound memory, processor time and core dumps of this process, once and for good."""
    _set_limit(resource.RLIMIT_AS, CHILD_MEMORY_BYTES)
    _set_limit(resource.RLIMIT_CPU, CHILD_CPU_S)
    _set_limit(resource.RLIMIT_CORE, 0)


def _set_limit(kind: int, value: int) -> None:
    ceiling = resource.getrlimit(kind)[1]
    if ceiling != resource.RLIM_INFINITY:
        value = min(value, ceiling)
    resource.setrlimit(kind, (value, value))


def list_sheets(path: Path) -> Answer:
    """Answer the sheets of a file with their sizes."""
    if not _is_archive(path):
        _, rows, columns, _ = read_text(path.read_bytes(), keep_rows=False)
        return {"sheets": [[TEXT_SHEET_NAME, rows, columns, False]]}
    archive = Archive(path)
    sheets = []
    for name, part, hidden in WorkbookParts(archive).sheets:
        extent = declared_extent(archive, part)
        if extent is None:
            found = scan_sheet(archive, part, name)
            extent = (found.rows, found.columns)
        sheets.append([name, *extent, hidden])
    return {"sheets": sheets}


def read_sheet(path: Path, sheet_name: str | None) -> Answer:
    """Answer the cells of one sheet, or of the first visible one when no name is given."""
    if not _is_archive(path):
        rows, _, _, notes = read_text(path.read_bytes(), keep_rows=True)
        return {"name": TEXT_SHEET_NAME, "rows": rows, "dates": [], "errors": {}, "notes": notes}
    archive = Archive(path)
    contents = WorkbookParts(archive)
    name, part = _choose(contents, sheet_name)
    for other in ("[Content_Types].xml", "xl/styles.xml", "xl/sharedStrings.xml"):
        if archive.has(other):
            verify_part(archive, other)
    found = scan_sheet(archive, part, name)
    rows = _read_grid(path, name) if found.rows else []
    if len(rows) > found.rows or (rows and len(rows[0]) > found.columns):
        raise WorkbookError(
            f"Sheet {name!r} does not hold what the workbook's contents say. Save it again in your"
            " spreadsheet program, then upload the new file."
        )
    dates = _flatten_values(rows, found)
    return {
        "name": name,
        "rows": rows,
        "dates": dates,
        "errors": found.error_cells,
        "uncached": found.uncached,
        "formula_count": found.formula_count,
        "merged": found.merged,
        "notes": _notes(found, calculates_on_load=contents.calculates_on_load),
    }


def _is_archive(path: Path) -> bool:
    with path.open("rb") as stream:
        start = stream.read(8)
    if start == OLE_SIGNATURE:
        refuse_ole(path)
    return start.startswith(ZIP_SIGNATURES)


def _choose(contents: WorkbookParts, sheet_name: str | None) -> tuple[str, str]:
    if sheet_name is None:
        visible = [sheet for sheet in contents.sheets if not sheet[2]]
        return (visible or contents.sheets)[0][:2]
    for name, part, _ in contents.sheets:
        if name == sheet_name:
            return name, part
    names = ", ".join(repr(name) for name, _, _ in contents.sheets[:10])
    raise WorkbookError(
        f"The workbook has no sheet named {sheet_name!r}. Choose one of its sheets: {names}."
    )


def _read_grid(path: Path, name: str) -> list[list[Any]]:
    try:
        with CalamineWorkbook.from_path(path) as workbook:
            # Leading empty rows are kept, or every row number in a message would be wrong.
            return workbook.get_sheet_by_name(name).to_python(skip_empty_area=False)
    except (CalamineError, ValueError, OSError) as error:
        raise WorkbookError(
            f"Sheet {name!r} cannot be read ({error}). Open the workbook in your spreadsheet"
            " program, save it again, then upload the new file."
        ) from error


def _flatten_values(rows: list[list[Any]], found: SheetScan) -> list[list[Any]]:
    """Make every cell text, number, truth value or None in place; return dates by position."""
    dates: list[list[Any]] = []
    for i, row in enumerate(rows):
        for j, value in enumerate(row):
            kind = value.__class__
            if kind is float:
                if not math.isfinite(value):
                    row[j] = None
                    found.error_cells[cell_name(i + 1, j + 1)] = "#NUM!"
            elif kind is str:
                if not value:
                    row[j] = None
            elif kind is int:
                row[j] = float(value)
            elif isinstance(value, date):
                row[j] = None
                moment = value if isinstance(value, datetime) else datetime(*value.timetuple()[:3])  # noqa: DTZ001  # a workbook has no time zones
                dates.append([i, j, moment.isoformat()])
            elif kind is not bool:
                row[j] = str(value)  # A time of day or a duration: no quantity of ours.
    # The fast reader ends at the last value; a formula without one may lie beyond.
    rows.extend([] for _ in range(found.rows - len(rows)))
    for row in rows:
        row.extend([None] * (found.columns - len(row)))
    return dates


def _notes(found: SheetScan, *, calculates_on_load: bool) -> list[str]:
    notes = []
    if found.formula_count:
        notes.append(
            f"{found.formula_count:,} cells hold formulas; their last calculated results are used."
        )
        if calculates_on_load:
            notes.append(
                "The workbook asks to be calculated when it is opened, so stored results may be"
                " out of date. If it was made by a program, open and save it once before"
                " uploading."
            )
    for count, listed, what in (
        (found.error_count, len(found.error_cells), "cells with errors"),
        (found.uncached_count, len(found.uncached), "formulas without a result"),
    ):
        if count > listed:
            notes.append(f"Of {count:,} {what}, the first {listed:,} are listed.")
    if found.hidden_row_count:
        notes.append(
            f"{found.hidden_row_count:,} rows are hidden in the workbook; they are read as well."
        )
    return notes


def answer(request: Answer) -> bytes:
    """Return the encoded answer to one request; a refusal is an answer too."""
    path = Path(request["path"])
    try:
        if request["task"] == "list":
            result = list_sheets(path)
        else:
            result = read_sheet(path, request["sheet"])
    except WorkbookError as refusal:
        return orjson.dumps({"refused": refusal.message})
    encoded = orjson.dumps(result)
    if len(encoded) > MAX_ANSWER_BYTES:
        return orjson.dumps(
            {
                "refused": (
                    "The sheet holds more text than is read at once"
                    f" ({len(encoded) // 1_000_000:,} MB). Delete what does not belong to the"
                    " schedule, then upload again."
                )
            }
        )
    return encoded


def main() -> None:
    """Serve the one request on standard input."""
    limit_resources()
    try:
        sys.stdout.buffer.write(answer(orjson.loads(sys.stdin.buffer.read())))
    except MemoryError:
        sys.exit(MEMORY_EXIT)


MEMORY_EXIT = 70
"""Exit status that tells the parent process that the memory limit was reached."""

if __name__ == "__main__":
    main()
