"""From the cells of a column to values in SI, with a message for each cell that can't be read."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from zones.inventory.domain.fields import Field
from zones.inventory.domain.schedule.types import (
    VOLTAGE_AND_PHASES,
    Cell,
    Choices,
    Mapped,
    UnitBook,
    UnitLine,
)

BLANKS = frozenset({"", "-", "–", "—", "--", "---", "―"})
"""What schedules write for "nothing here"."""
NOT_APPLICABLE = frozenset({"n/a", "na", "n.a.", "n. a.", "not applicable"})

_YES_NO = {
    **dict.fromkeys(("yes", "y", "x", "✓", "true", "1", "required", "provided"), "yes"),
    **dict.fromkeys(("no", "n", "none", "false", "0", "not required"), "no"),
}
WORDS: dict[str, dict[str, str]] = {
    "discharge_sensor": _YES_NO,
    "occupancy_sensor": _YES_NO,
    "fan": {
        **dict.fromkeys(("none", "no", "n", "no fan", "single duct", "0"), "none"),
        **dict.fromkeys(("parallel", "par", "parallel fan", "pfp", "yes, parallel"), "parallel"),
        **dict.fromkeys(
            ("series", "ser", "series fan", "sfp", "constant", "yes, series"), "series"
        ),
    },
    "heat": {
        **dict.fromkeys(
            ("none", "no", "n", "no reheat", "no heat", "cooling only", "cool only", "0"), "none"
        ),
        **dict.fromkeys(
            ("hot water", "hot-water", "hw", "hhw", "hwc", "lphw", "lthw", "water", "hydronic"),
            "hot-water",
        ),
        **dict.fromkeys(
            ("electric", "elec", "elec.", "electrical", "e", "eh", "el", "ehc"), "electric"
        ),
    },
    "kind": {
        **dict.fromkeys(
            ("ceiling", "ceiling diffuser", "square diffuser", "diffuser", "cd", "sd"), "ceiling"
        ),
        **dict.fromkeys(
            ("slot", "slot diffuser", "linear", "linear slot", "linear diffuser"), "slot"
        ),
        **dict.fromkeys(
            ("sidewall", "sidewall register", "sidewall grille", "register", "grille"), "sidewall"
        ),
        **dict.fromkeys(("floor", "floor outlet", "floor diffuser", "floor grille"), "floor"),
        **dict.fromkeys(("perforated", "perforated diffuser", "perf"), "perforated"),
        **dict.fromkeys(("other",), "other"),
    },
}
"""Words for a choice, as schedules write them (common practice, no source)."""

_COUNT_TAILS = frozenset(
    {"", "ph", "phase", "phases", "ø", "stage", "stages", "stg", "row", "rows", "-row", "-stage"}
)
_DECIMAL_COMMA = re.compile(r"^[+-]?\d+,(?:\d{1,2}|\d{4,})(?!\d|,)|^[+-]?0,\d+")
_COMMA_OF_THREE = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}(?![\d,.])")
_PAIR = re.compile(
    r"^\s*(\d+(?:\.\d+)?)\s*(?:v|volts?)?\s*[/,x-]\s*([13])\s*(?:ph|phase|ø)?(?:\s*/\s*\d+\s*(?:hz)?)?\s*$",
    re.IGNORECASE,
)
_MINUS = str.maketrans({"\u2212": "-", "\u00a0": " ", "\u202f": " "})

Read = tuple[Any, str, str]
"""Value, text as entered ("" for none), what is wrong ("" for nothing)."""
EMPTY: Read = (None, "", "")


@dataclass(slots=True)
class Column:
    """A column as read; ``problems`` by position in the cells."""

    values: list[Any] = field(default_factory=list)
    entered: list[str] = field(default_factory=list)
    problems: dict[int, str] = field(default_factory=dict)
    own_units: int = 0
    """Number of cells that give another unit than the column's."""


def plain(cell: Cell) -> str:
    """Give the text that a cell shows: whole numbers without a point.

    >>> plain(2.0), plain(" VAV 1 "), plain(None)
    ('2', 'VAV 1', '')
    """
    if isinstance(cell, str):
        return cell.strip()
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return str(cell).upper()
    if isinstance(cell, datetime):
        is_day = cell.time() == datetime.min.time()
        return cell.date().isoformat() if is_day else cell.isoformat(" ")
    return format(cell, ".12g") if abs(cell) < 1e15 else repr(cell)


def uses_decimal_comma(cells: Sequence[Cell]) -> bool:
    """Tell whether a column writes decimals with a comma: 92,5 or 0,125."""
    return any(
        isinstance(cell, str) and _DECIMAL_COMMA.match(cell.strip()) is not None for cell in cells
    )


def coerce(mapped: Mapped, cells: Sequence[Cell], book: UnitBook, choices: Choices) -> Column:
    """Read every cell of a column, good and bad.

    Parameters
    ----------
    mapped
        Field of the column and the unit of its bare numbers; values come out in the field's
        SI unit.
    cells
        The cells in order.
    book
        Units that may be typed.
    choices
        What the person decided for this import.
    """
    read = _reader(mapped, book, choices, comma=uses_decimal_comma(cells))
    known: dict[Any, Read] = {}
    column = Column()
    values, entered = column.values, column.entered
    symbol = mapped.unit.symbol if mapped.unit else ""
    for place, cell in enumerate(cells):
        # Schedules repeat themselves, so each different cell is read once. True equals 1 as a
        # key, therefore truth values go by another one.
        key = cell if not isinstance(cell, bool) else ("bool", cell)
        found = known.get(key)
        if found is None:
            found = known[key] = read(cell)
        value, text, problem = found
        values.append(value)
        entered.append(text)
        if problem:
            column.problems[place] = problem
        elif symbol and text and isinstance(cell, str) and not text.endswith(symbol):
            column.own_units += _has_other_unit(text, mapped, book)
    return column


def _has_other_unit(text: str, mapped: Mapped, book: UnitBook) -> bool:
    rest = book.split(text.translate(_MINUS))[1]
    found = book.find(_kind(mapped.field), rest) if rest else None
    return found is not None and mapped.unit is not None and found.name != mapped.unit.name


def _kind(field_: Field) -> str:
    return "diameter" if field_.name == "inlet" else field_.kind


def _reader(
    mapped: Mapped, book: UnitBook, choices: Choices, *, comma: bool
) -> Callable[[Cell], Read]:
    field_ = mapped.field
    if field_.kind == "choice":
        return lambda cell: _choice(cell, field_)
    read = _read_filled(field_, mapped.unit, book, comma=comma)
    return _with_blanks(read, choices) if read else _text


def _read_filled(
    field_: Field, unit: UnitLine | None, book: UnitBook, *, comma: bool
) -> Callable[[Cell], Read] | None:
    """Reader of the cells that are not empty; None for plain text."""
    if field_.name == VOLTAGE_AND_PHASES:
        return _pair
    if field_.name == "inlet":
        return lambda cell: _inlet(cell, unit, book, comma=comma)
    if field_.is_quantity:
        return lambda cell: _quantity(cell, field_.kind, unit, book, comma=comma)
    if field_.kind in {"count", "figure"}:
        is_whole = field_.kind == "count"
        return lambda cell: _number(cell, book, comma=comma, is_whole=is_whole)
    if field_.kind == "link":
        return lambda cell: (" ".join(plain(cell).split()), "", "")
    return None


def _with_blanks(read: Callable[[Cell], Read], choices: Choices) -> Callable[[Cell], Read]:
    def reader(cell: Cell) -> Read:
        if cell is None:
            return EMPTY
        if isinstance(cell, str):
            text = cell.strip().casefold()
            if text in BLANKS or (choices.is_na_empty and text in NOT_APPLICABLE):
                return EMPTY
        return read(cell)

    return reader


def _text(cell: Cell) -> Read:
    text = plain(cell)
    return ("" if text in BLANKS else text, "", "")


def _choice(cell: Cell, field_: Field) -> Read:
    text = " ".join(plain(cell).casefold().replace("_", " ").split())
    if text in BLANKS or text in NOT_APPLICABLE:
        return (field_.default or "", "", "")
    own = {label.casefold(): key for key, label in field_.choices} | {
        key: key for key, _ in field_.choices
    }
    found = own.get(text) or WORDS.get(field_.name, {}).get(text)
    if found is None:
        accepted = ", ".join(label for _, label in field_.choices)
        return (
            None,
            "",
            f"“{plain(cell)}” is not known as {field_.label.lower()}. Use one of: {accepted}.",
        )
    return (found, "", "")


def _bare(cell: Cell, book: UnitBook, *, comma: bool) -> tuple[float | None, str, str]:
    """Number of a cell, what follows it, and what is wrong."""
    if isinstance(cell, (bool, datetime)):
        what = "a truth value" if isinstance(cell, bool) else "a date"
        return None, "", f"{plain(cell)} is {what}, not a number."
    if isinstance(cell, (int, float)):
        is_finite = math.isfinite(cell)
        return (float(cell), "", "") if is_finite else (None, "", "This is not a finite number.")
    text = (cell or "").strip().translate(_MINUS)
    if comma and _COMMA_OF_THREE.match(text):
        message = (
            f"“{text}” can be read in two ways, because other cells of this column have a decimal "
            "comma. Write it without the comma, or with a decimal point."
        )
        return None, "", message
    number, rest = book.split(text)
    if number is None:
        shown = text if len(text) <= 40 else f"{text[:40]}…"
        return None, "", f"“{shown}” is not a number."
    return number, rest, ""


def _quantity(cell: Cell, kind: str, unit: UnitLine | None, book: UnitBook, *, comma: bool) -> Read:
    number, rest, problem = _bare(cell, book, comma=comma)
    if number is None:
        return (None, "", problem)
    line = unit
    if rest:
        line = book.find(kind, rest)
        if line is None:
            return (None, "", f"“{plain(cell)}” is not a number with a unit that is known here.")
    if line is None:
        return (None, "", f"“{plain(cell)}” has no unit; choose one for the column.")
    entered = plain(cell) if rest else f"{plain(cell)} {line.symbol}".strip()
    return (number * line.factor + line.offset, entered, "")


def _number(cell: Cell, book: UnitBook, *, comma: bool, is_whole: bool) -> Read:
    number, rest, problem = _bare(cell, book, comma=comma)
    if number is None:
        return (None, "", problem)
    if rest and not (is_whole and rest.casefold().rstrip(".") in _COUNT_TAILS):
        return (None, "", f"“{plain(cell)}” is not a plain number.")
    if not is_whole:
        return (number, "", "")
    # The database keeps whole numbers of four bytes.
    if number != int(number) or abs(number) > 2_000_000_000:
        return (None, "", f"“{plain(cell)}” is not a whole number that can be kept.")
    return (int(number), "", "")


def _inlet(cell: Cell, unit: UnitLine | None, book: UnitBook, *, comma: bool) -> Read:
    """Inlet size: a diameter [m] where the cell gives one, else the text to look up."""
    text = plain(cell).lstrip("Øø∅ ").strip()
    number, rest, _ = _bare(cell if isinstance(cell, (int, float)) else text, book, comma=comma)
    rest = rest.rstrip("Øø∅. ").removesuffix("dia").removesuffix("diameter").strip()
    line = book.find("diameter", rest) if rest else unit
    if number is None or line is None:
        return (text, text, "")
    entered = plain(cell) if rest else f"{text} {line.symbol}".strip()
    return (number * line.factor + line.offset, entered, "")


def _pair(cell: Cell) -> Read:
    match = _PAIR.match(plain(cell))
    if match is None:
        return (None, "", f"“{plain(cell)}” is not a voltage and phases such as 277/1 or 480/3.")
    return ((float(match[1]), int(match[2])), f"{match[1]} V", "")
