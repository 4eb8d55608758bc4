"""Reads CSV files as people send them: any common encoding, comma, semicolon or tab."""

import codecs
import csv
import io
import re
from collections import Counter
from typing import Final

from projectsite.core.workbook.types import (
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_ROWS,
    Cell,
    WorkbookError,
    cell_name,
)

DELIMITERS: Final = ",;\t"
_SAMPLE_CHARACTERS: Final = 64 * 1024
_QUOTED_FIELD: Final = re.compile(r'(^|[,;\t\r\n])"(?:[^"]|"")*+"')
_GUARDED: Final = re.compile(r"'+[=+\-@\t\r\n]")
_NEEDS_GUARD: Final = re.compile(r"'*[=+\-@\t\r\n]")
_OTHER_KINDS: Final = {
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"{\\rtf": "a text document",
    b"<": "a web page or XML file",
}


def guard_text(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet program would take for a formula.

    Text that already looks guarded gets one more, so that `unguard_text` always restores it.
    """
    return f"'{text}" if _NEEDS_GUARD.match(text) else text


def unguard_text(text: str) -> str:
    """Undo `guard_text`; other text that begins with an apostrophe stays as it is."""
    return text[1:] if _GUARDED.match(text) else text


def decode(content: bytes) -> tuple[str, list[str]]:
    """Return the text of a file and notes about its encoding; raises WorkbookError."""
    notes: list[str] = []
    start = content[:512].lstrip()
    for signature, kind in _OTHER_KINDS.items():
        if start.startswith(signature):
            raise WorkbookError(
                f"The file is {kind}, not a workbook. Upload an .xlsx workbook or a .csv file."
            )
    try:
        if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            text = content.decode("utf-16")
        else:
            text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text, notes = _decode_windows(content)
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise WorkbookError(
            f"The file is not a text file: line {line} holds a zero byte. Upload an .xlsx"
            " workbook, or save the schedule as CSV (UTF-8) and upload that."
        )
    return text, notes


def _decode_windows(content: bytes) -> tuple[str, list[str]]:
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise WorkbookError(
            f"The letters in line {line} of the file are in no encoding that is read here. Save the"
            " schedule as CSV (UTF-8) or as .xlsx, then upload that file."
        ) from error
    return text, [
        "The file is not UTF-8; its letters were read as Windows-1252. Check signs such as ° and ³."
    ]


def sniff_delimiter(text: str) -> str:
    """Return the delimiter that cuts the most records into equally many fields.

    Only what stands outside quotes counts: a decimal comma or a semicolon in a remark does not.
    """
    sample = _QUOTED_FIELD.sub(r"\1", text[:_SAMPLE_CHARACTERS])
    records = [record for record in re.split(r"\r\n|\r|\n", sample) if record.strip()]
    best, best_score = ",", (0.0, 0)
    for delimiter in DELIMITERS:
        counts = Counter(count for record in records if (count := record.count(delimiter)))
        if not counts:
            continue
        fields, times = max(counts.items(), key=lambda item: (item[1], item[0]))
        score = (times / len(records), fields)
        if score > best_score:
            best, best_score = delimiter, score
    return best


def read_text(content: bytes, *, keep_rows: bool) -> tuple[list[list[Cell]], int, int, list[str]]:
    """Return rows of equal length, their number, the number of columns, and notes.

    With ``keep_rows`` false the rows are only counted. Row numbers are those that a spreadsheet
    program shows for the same file; an empty field is None. Raises WorkbookError.
    """
    text, notes = decode(content)
    explicit = re.match(r"sep=([,;\t])\r?\n", text)
    if explicit:
        delimiter, text = explicit[1], text[explicit.end() :]
    else:
        delimiter = sniff_delimiter(text)
    if delimiter != ",":
        notes.append(
            f"The columns are separated by {'tabs' if delimiter == chr(9) else 'semicolons'}."
        )
    csv.field_size_limit(1_000_000)
    rows: list[list[Cell]] = []
    count = last = width = 0
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for count, fields in enumerate(reader, start=1):
            filled = _last_filled(fields)
            if not filled:
                if keep_rows and count <= MAX_ROWS:
                    rows.append([])
                continue
            last, width = count, max(width, filled)
            if filled > MAX_COLUMNS:
                raise WorkbookError(
                    f"The file has something in cell {cell_name(count, filled)}; at most"
                    f" {MAX_COLUMNS} columns are read. Delete what does not belong to the"
                    " schedule, then upload again."
                )
            if keep_rows and count <= MAX_ROWS:
                rows.append([unguard_text(value) if value else None for value in fields[:filled]])
    except csv.Error as error:
        raise WorkbookError(
            f"Line {reader.line_num} of the file cannot be read as CSV ({error}). Look for a"
            " quotation mark that is never closed, mend it, then upload again."
        ) from error
    _refuse_size(last, width)
    del rows[last:]
    for row in rows:
        row.extend([None] * (width - len(row)))
    return rows, last, width, notes


def _last_filled(fields: list[str]) -> int:
    filled = len(fields)
    while filled and not fields[filled - 1]:
        filled -= 1
    return filled


def _refuse_size(rows: int, columns: int) -> None:
    if rows > MAX_ROWS:
        raise WorkbookError(
            f"The file has {rows:,} rows; at most {MAX_ROWS:,} are read. Split the schedule, or"
            " delete the rows that do not belong to it, then upload again."
        )
    if rows * columns > MAX_CELLS:
        raise WorkbookError(
            f"The file spans {rows:,} rows by {columns:,} columns; at most {MAX_CELLS:,} cells are"
            " read. Delete what does not belong to the schedule, or split it, then upload again."
        )
