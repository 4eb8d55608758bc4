"""The reader that the rest of the program calls; the file itself is met by a child process."""

import logging
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import orjson

from projectsite.core.workbook.types import (
    CHILD_MEMORY_BYTES,
    CHILD_WALL_S,
    MAX_FILE_BYTES,
    Sheet,
    SheetInfo,
    WorkbookError,
)

logger = logging.getLogger(__name__)

Source = str | os.PathLike[str] | bytes

_ROOT: Final = Path(__file__).resolve().parents[3]
_MEMORY_EXIT: Final = 70
_OUT_OF_TIME: Final = frozenset({-signal.SIGXCPU, -signal.SIGKILL})


def list_sheets(source: Source) -> list[SheetInfo]:
    """Return the sheets of a workbook in order; a CSV file counts as one sheet.

    Sizes are as the file declares them and serve for choosing only.

    Raises WorkbookError when the file is not a readable workbook or is too large.
    """
    with _as_path(source) as path:
        found = _ask(path, {"task": "list"})
    return [SheetInfo(*sheet) for sheet in found["sheets"]]


def read_sheet(source: Source, sheet_name: str | None = None) -> Sheet:
    """Return the cells of one sheet, by default of the first that is not hidden.

    Raises WorkbookError when the file is not a readable workbook, is too large, holds no such
    sheet, or the sheet is empty.
    """
    with _as_path(source) as path:
        found = _ask(path, {"task": "read", "sheet": sheet_name})
    rows: list[list[Any]] = found["rows"]
    if not rows:
        raise WorkbookError(
            f"Sheet {found['name']!r} is empty. Choose the sheet that holds the schedule."
        )
    for row, column, moment in found["dates"]:
        rows[row][column] = datetime.fromisoformat(moment)
    return Sheet(
        name=found["name"],
        first_row_number=1,
        rows=rows,
        merged_ranges=tuple(found.get("merged", ())),
        error_cells=found["errors"],
        uncached_formula_cells=tuple(found.get("uncached", ())),
        formula_count=found.get("formula_count", 0),
        notes=tuple(found["notes"]),
    )


@contextmanager
def _as_path(source: Source) -> Iterator[Path]:
    if isinstance(source, bytes):
        _check_size(len(source))
        with tempfile.NamedTemporaryFile(prefix="upload-") as stream:
            stream.write(source)
            stream.flush()
            yield Path(stream.name)
        return
    path = Path(source)
    _check_size(path.stat().st_size)
    yield path.resolve()


def _check_size(size_bytes: int) -> None:
    if size_bytes == 0:
        raise WorkbookError("The file is empty (0 bytes). Upload the schedule itself.")
    if size_bytes > MAX_FILE_BYTES:
        raise WorkbookError(
            f"The file is {size_bytes / 1024**2:,.1f} MB; at most {MAX_FILE_BYTES // 1024**2} MB is"
            " accepted. Remove pictures and sheets that do not belong to the schedule, then upload"
            " again."
        )


def _ask(path: Path, request: dict[str, Any]) -> dict[str, Any]:
    """Put one request to a fresh child process and return its answer."""
    try:
        # A new interpreter rather than a fork: safe from any thread, and it shares no memory.
        done = subprocess.run(
            [sys.executable, "-E", "-s", "-m", "projectsite.core.workbook.child"],
            input=orjson.dumps({"path": str(path), **request}),
            capture_output=True,
            cwd=_ROOT,
            env={"PATH": os.defpath, "PYTHONDONTWRITEBYTECODE": "1"},
            timeout=CHILD_WALL_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise _too_slow() from error
    if done.returncode == 0:
        found: dict[str, Any] = orjson.loads(done.stdout)
        if "refused" in found:
            raise WorkbookError(found["refused"])
        return found
    logger.warning(
        "workbook reader ended with %s: %s",
        done.returncode,
        done.stderr[-2000:].decode("utf-8", "replace"),
    )
    if done.returncode in _OUT_OF_TIME:
        raise _too_slow()
    if done.returncode in (_MEMORY_EXIT, -signal.SIGABRT) or b"memory" in done.stderr[-2000:]:
        raise WorkbookError(
            f"The workbook needs more memory than is allowed ({CHILD_MEMORY_BYTES // 1024**2:,}"
            " MB). Copy the schedule alone into a new workbook and upload that."
        )
    raise WorkbookError(
        "The workbook could not be read: the reader stopped on it. Copy the schedule into a new"
        " workbook, or save it as CSV, and upload that."
    )


def _too_slow() -> WorkbookError:
    return WorkbookError(
        "The workbook takes too long to read. Copy the schedule alone into a new workbook and"
        " upload that."
    )
