"""What a workbook is to the rest of the program: limits, plain rows, and one error.

Standard library only, because the child process that reads hostile files imports it too.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from projectsite.core.errors import InvalidInput

Cell = str | float | bool | datetime | None

# Limits. Each is far above an honest schedule and far below what hurts the server.
MAX_FILE_BYTES: Final = 25 * 1024 * 1024
"""Largest upload [bytes]: ten thousand units with 40 columns take about 2 MB as XLSX."""
MAX_ROWS: Final = 50_000
"""Last row that is read: five times the largest campus that the program is tested with."""
MAX_COLUMNS: Final = 400
"""Last column that is read: the widest schedules seen in the trade have fewer than 100."""
MAX_CELLS: Final = 4_000_000
"""Largest rows times columns: the reader holds a dense grid, about 100 bytes a cell."""
MAX_SHEETS: Final = 200
"""Most sheets in one workbook; more is no schedule and makes the choice list useless."""
MAX_ARCHIVE_ENTRIES: Final = 2_000
"""Most parts in the archive; an office program writes a handful for each sheet."""
MAX_INFLATED_BYTES: Final = 400 * 1024 * 1024
"""Largest sum of the unpacked XML parts [bytes]; 50,000 rows of 40 columns take about 100 MB."""
MAX_RATIO: Final = 150
"""Largest unpacked to packed size of one XML part; honest sheets stay below 40."""
RATIO_FLOOR_BYTES: Final = 4 * 1024 * 1024
"""Parts that unpack to less than this [bytes] are harmless whatever their ratio."""
MAX_NAMED_CELLS: Final = 1_000
"""Most cells of one kind (errors, uncalculated formulas) that are listed by name."""
MAX_ANSWER_BYTES: Final = 100 * 1024 * 1024
"""Largest answer of the child process [bytes], so that the web process stays small."""
CHILD_MEMORY_BYTES: Final = 1024 * 1024 * 1024
"""Address space of the child process [bytes]."""
CHILD_CPU_S: Final = 60
"""Processor time of the child process [s]."""
CHILD_WALL_S: Final = 90
"""Longest wait for the child process [s]; more than its processor time, for a busy machine."""

TEXT_SHEET_NAME: Final = "Text file"
"""Name under which the one table of a CSV file is offered."""


class WorkbookError(InvalidInput):
    """A file that cannot be read or written as a table; the message is fit for a user."""


@dataclass(frozen=True, slots=True)
class SheetInfo:
    """One sheet as it is offered for choice; rows and columns count up to the last filled cell."""

    name: str
    rows: int
    columns: int
    hidden: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """The cells of one sheet by true position, and what a reader must be warned of.

    ``rows[i][j]`` is the cell in row ``first_row_number + i`` and column ``j + 1``. Rows have
    equal length. Cells with an error or with a formula that was never calculated are None
    and named in ``error_cells`` and ``uncached_formula_cells``.
    """

    name: str
    first_row_number: int
    rows: list[list[Cell]]
    merged_ranges: tuple[str, ...] = ()
    error_cells: Mapping[str, str] = field(default_factory=dict)
    uncached_formula_cells: tuple[str, ...] = ()
    formula_count: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ColumnOut:
    """One column of a table to write; ``width`` is in characters."""

    label: str
    unit: str = ""
    width: float = 12.0
    number_format: str = ""
    align: str = ""

    @property
    def heading(self) -> str:
        """Label with its unit in brackets, as our own import recognises it."""
        return f"{self.label} ({self.unit})" if self.unit else self.label


@dataclass(frozen=True, slots=True)
class SheetOut:
    """One table to write: a heading row, then the rows in the order of the columns."""

    title: str
    columns: tuple[ColumnOut, ...]
    rows: Iterable[Iterable[object]]
    notes: tuple[str, ...] = ()


def column_letters(column: int) -> str:
    """Return the letters of a column number: 1 is A, 27 is AA.

    Raises ValueError when ``column`` is below 1.
    """
    if column < 1:
        raise ValueError(f"column must be 1 or more, got {column}")
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def cell_name(row: int, column: int) -> str:
    """Return the name of a cell from its row and column number, both from 1: (7, 2) is B7."""
    return f"{column_letters(column)}{row}"


_CELL_REFERENCE = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,7})")


def cell_position(name: str) -> tuple[int, int]:
    """Return row and column number of a cell name: B7 is (7, 2).

    Raises ValueError when ``name`` is not the name of a cell.
    """
    match = _CELL_REFERENCE.fullmatch(name)
    if match is None:
        raise ValueError(f"not the name of a cell: {name!r}")
    column = 0
    for letter in match[1].upper():
        column = column * 26 + ord(letter) - 64
    return int(match[2]), column
