"""Reads and writes workbooks: the only door to the spreadsheet libraries.

Reading happens in a child process with limited memory and time; see `read` and `child`.
"""

from projectsite.core.workbook.delimited import guard_text, unguard_text
from projectsite.core.workbook.read import list_sheets, read_sheet
from projectsite.core.workbook.types import (
    MAX_COLUMNS,
    MAX_FILE_BYTES,
    MAX_ROWS,
    TEXT_SHEET_NAME,
    Cell,
    ColumnOut,
    Sheet,
    SheetInfo,
    SheetOut,
    WorkbookError,
    cell_name,
    cell_position,
    column_letters,
)
from projectsite.core.workbook.write import Formula, GridSheet, write_csv, write_grid, write_xlsx

__all__ = [
    "MAX_COLUMNS",
    "MAX_FILE_BYTES",
    "MAX_ROWS",
    "TEXT_SHEET_NAME",
    "Cell",
    "ColumnOut",
    "Formula",
    "GridSheet",
    "Sheet",
    "SheetInfo",
    "SheetOut",
    "WorkbookError",
    "cell_name",
    "cell_position",
    "column_letters",
    "guard_text",
    "list_sheets",
    "read_sheet",
    "unguard_text",
    "write_csv",
    "write_grid",
    "write_xlsx",
]
