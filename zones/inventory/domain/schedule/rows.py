"""From the rows of a sheet to units or outlets: what is none, what can't be taken, and why."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from zones.inventory.domain import checks
from zones.inventory.domain.fields import OUTLET_FIELDS, UNIT_FIELDS, Field
from zones.inventory.domain.schedule import cells, links
from zones.inventory.domain.schedule.differences import diff
from zones.inventory.domain.schedule.types import (
    UNIT_OF_OUTLET,
    VOLTAGE_AND_PHASES,
    Base,
    Cell,
    Choices,
    Layout,
    Mapped,
    Problem,
    Row,
    UnitBook,
    tag_key,
)

NameOf = Callable[[int, int], str]
"""Name of a cell from its row and column, both from 1."""
Rows = Sequence[Sequence[Cell]]

_TOTAL = re.compile(
    r"^(?:grand[\s-]*|sub[\s-]*)?(?:totals?|sum|average|mean)\b(?![-_ ]?\d)", re.IGNORECASE
)
_NOTE = re.compile(r"^(?:general\s+)?(?:notes?|remarks?|legend|abbreviations?)\b", re.IGNORECASE)
_EMPTY: tuple[Any, ...] = (None, "")


def read_rows(
    rows: Rows,
    layout: Layout,
    mapping: Sequence[Mapped],
    *,
    target: str,
    book: UnitBook,
    choices: Choices,
    name_of: NameOf,
    faults: Mapping[tuple[int, int], str],
) -> tuple[list[Row], list[str]]:
    """Read the rows below the headings; every error of every cell is collected.

    Parameters
    ----------
    rows
        Rows of the sheet from row 1.
    mapping
        Columns that are used; ``tag`` must be among them.
    faults
        Message of each cell (row and column from 1) that could not be read at all.

    Returns
    -------
    tuple
        The rows that are not empty, in order, and notes about the whole.
    """
    tag_column = next(m.column for m in mapping if m.field.name == "tag")
    heads = _head_rows(rows, layout)
    found: list[Row] = []
    taken: list[int] = []
    for number in range(layout.first_row, min(layout.last_row, len(rows)) + 1):
        line = rows[number - 1]
        row = Row(number, cells.plain(line[tag_column]) if tag_column < len(line) else "")
        reason = _not_a_unit(line, row.tag, tag_column, mapping, heads)
        if reason == "empty":
            continue
        if reason:
            row.outcome, row.reason = "ignored", reason
        else:
            taken.append(len(found))
        found.append(row)
    read = [found[i] for i in taken]
    notes = _fill(read, rows, mapping, book, choices, name_of, faults)
    _keys(read, target, mapping, name_of)
    _refuse_duplicates(read, target, mapping, name_of)
    return found, notes


def _head_rows(rows: Rows, layout: Layout) -> set[tuple[str, ...]]:
    numbers = [*range(layout.heading_row, layout.heading_end_row + 1), layout.units_row]
    return {tuple(map(cells.plain, rows[n - 1])) for n in numbers if 0 < n <= len(rows)}


def _not_a_unit(
    line: Sequence[Cell],
    tag: str,
    tag_column: int,
    mapping: Sequence[Mapped],
    heads: set[tuple[str, ...]],
) -> str:
    """Tell why a row is no unit; "" when it is one, "empty" when there is nothing in it."""
    if tag and tag not in cells.BLANKS:
        return _tag_of_none(tag, line, tag_column) or _heads_again(line, heads)
    others = _others(line, tag_column)
    if not others:
        return "empty"
    if any(isinstance(cell, str) and _TOTAL.match(cell.strip()) for cell in others):
        return "This is a total."
    columns = [m.column for m in mapping if m.field.is_quantity and m.column < len(line)]
    if any(re.match(r"\s*[\d.,]", cells.plain(line[j])) for j in columns):
        return ""
    again = _heads_again(line, heads)
    return again or "There is no tag and no figure: a section heading or a note."


def _others(line: Sequence[Cell], tag_column: int) -> list[Cell]:
    return [cell for j, cell in enumerate(line) if j != tag_column and cell not in _EMPTY]


def _tag_of_none(tag: str, line: Sequence[Cell], tag_column: int) -> str:
    """Tell why what stands in the tag column is no tag; "" when it may be one."""
    if _TOTAL.match(tag):
        return f"“{tag}” is a total."
    if _NOTE.match(tag) or tag.startswith("*"):
        return "This is a note."
    looks_like_tag = re.search(r"\d", tag) and " " not in tag and len(tag) <= 40
    if not looks_like_tag and not _others(line, tag_column):
        return "Only the tag column is filled: a section heading or a note."
    return ""


def _heads_again(line: Sequence[Cell], heads: set[tuple[str, ...]]) -> str:
    first = cells.plain(line[0])
    if not any(head[0] == first for head in heads if head):
        return ""
    return "The headings again." if tuple(map(cells.plain, line)) in heads else ""


def _fill(
    read: list[Row],
    rows: Rows,
    mapping: Sequence[Mapped],
    book: UnitBook,
    choices: Choices,
    name_of: NameOf,
    faults: Mapping[tuple[int, int], str],
) -> list[str]:
    own_units: list[str] = []
    for mapped in mapping:
        j, name = mapped.column, mapped.field.name
        column = [
            rows[row.number - 1][j] if j < len(rows[row.number - 1]) else None for row in read
        ]
        done = cells.coerce(mapped, column, book, choices)
        if name == VOLTAGE_AND_PHASES:
            _store_pairs(read, done)
        else:
            for row, value, text in zip(read, done.values, done.entered, strict=True):
                row.values[name] = value
                if text:
                    row.entered[name] = text
        for place, message in done.problems.items():
            row = read[place]
            row.problems.append(Problem(name_of(row.number, j + 1), name, message))
        if done.own_units:
            own_units.append(f"{mapped.field.label.lower()} {done.own_units}")
    if faults:
        _add_faults(read, mapping, name_of, faults)
    if not own_units:
        return []
    listed = ", ".join(own_units)
    used = "Some cells give another unit than their column; the cell's own was used."
    return [f"{used} Cells by field: {listed}."]


def _store_pairs(read: list[Row], done: cells.Column) -> None:
    for row, value, text in zip(read, done.values, done.entered, strict=True):
        row.values["heater_voltage_v"], row.values["heater_phases"] = value or (None, None)
        if text:
            row.entered["heater_voltage_v"] = text


def _add_faults(
    read: list[Row],
    mapping: Sequence[Mapped],
    name_of: NameOf,
    faults: Mapping[tuple[int, int], str],
) -> None:
    by_number = {row.number: row for row in read}
    fields = {mapped.column + 1: mapped.field.name for mapped in mapping}
    for (number, column), message in faults.items():
        if number in by_number and column in fields:
            problem = Problem(name_of(number, column), fields[column], message)
            by_number[number].problems.append(problem)


def _column_of(mapping: Sequence[Mapped], *names: str) -> int | None:
    """Column (from 1) of the first of these fields that is mapped."""
    columns = {mapped.field.name: mapped.column + 1 for mapped in mapping}
    if VOLTAGE_AND_PHASES in columns:
        columns.setdefault("heater_voltage_v", columns[VOLTAGE_AND_PHASES])
        columns.setdefault("heater_phases", columns[VOLTAGE_AND_PHASES])
    return next((columns[name] for name in names if name in columns), None)


def _keys(read: list[Row], target: str, mapping: Sequence[Mapped], name_of: NameOf) -> None:
    for row in read:
        row.tag = " ".join(str(row.values.get("tag") or "").split())
        row.values["tag"] = row.tag
        row.key = tag_key(row.tag)
        if target == "outlets":
            unit = " ".join(str(row.values.get(UNIT_OF_OUTLET) or "").split())
            row.values[UNIT_OF_OUTLET] = unit
            row.key = f"{tag_key(unit)}\n{row.key}"
        for name, label in (("tag", "tag"), (UNIT_OF_OUTLET, "unit tag")):
            column = _column_of(mapping, name)
            has_problem = any(p.field == name for p in row.problems)
            if column and not row.values.get(name) and not has_problem:
                cell = name_of(row.number, column)
                row.problems.append(Problem(cell, name, f"There is no {label} in this row."))


def _refuse_duplicates(
    read: list[Row], target: str, mapping: Sequence[Mapped], name_of: NameOf
) -> None:
    by_key: dict[str, list[Row]] = defaultdict(list)
    for row in read:
        if row.tag:
            by_key[row.key].append(row)
    column = _column_of(mapping, "tag") or 1
    of_unit = " for the same unit" if target == "outlets" else ""
    for same in by_key.values():
        if len(same) == 1:
            continue
        for row in same:
            others = [str(other.number) for other in same if other is not row]
            where = f"row {others[0]}" if len(others) == 1 else f"rows {', '.join(others[:5])}"
            message = f"The tag {row.tag} is also in {where}{of_unit}. Which one is right?"
            row.problems.append(Problem(name_of(row.number, column), "tag", message))


def judge(
    found: list[Row],
    mapping: Sequence[Mapped],
    base: Base,
    choices: Choices,
    *,
    target: str,
    name_of: NameOf,
    show: checks.Show,
) -> None:
    """Hold rows against the record: sets outcome, changes and problems of each row.

    Parameters
    ----------
    found
        Rows out of ``read_rows``; changed in place.
    base
        The project's records and the library.
    show
        Prints an SI value of a kind in the reader's unit.
    """
    read = [row for row in found if row.outcome != "ignored"]
    fields = UNIT_FIELDS if target == "units" else OUTLET_FIELDS
    if target == "units":
        links.resolve_units(read, mapping, base, choices, name_of, show)
    else:
        links.resolve_outlets(read, mapping, base, name_of)
    stored = [field for field in fields if field.is_stored]
    defaults = {f.name: f.default if f.default is not None else _nothing(f) for f in stored}
    for row in read:
        record = base.records.get(row.key)
        if record is None:
            row.outcome = "new"
            merged = defaults | row.values
        else:
            row.record_id, row.unit_id = record.id, record.unit_id
            row.changes = diff(fields, record.values, row.values)
            row.outcome = "changed" if row.changes else "unchanged"
            merged = {**record.values, **row.values}
        if row.outcome != "unchanged" and _is_suspect(stored, merged):
            _add_problems(row, checks.problems(fields, merged, show=show), mapping, name_of)
        if row.problems:
            row.outcome = "refused"


def _nothing(field: Field) -> str | None:
    return "" if field.is_text else None


def _is_suspect(stored: Sequence[Field], merged: Mapping[str, Any]) -> bool:
    """Tell cheaply whether the full check could find anything; never misses, may be wrong."""
    for field in stored:
        value = merged.get(field.name)
        if value is None or value == "":
            if field.required:
                return True
        elif field.is_text:
            is_known = value in dict(field.choices) if field.choices else True
            if not is_known or "\x00" in value or len(value) > (field.max_length or len(value)):
                return True
        elif field.kind != "link" and (
            (field.choices and f"{value:g}" not in dict(field.choices))
            or (field.is_above_zero and value <= 0)
            or (field.low is not None and value < field.low)
            or (field.high is not None and value > field.high)
        ):
            return True
    get = merged.get
    for low, high in (
        ("cooling_min_m3_s", "cooling_max_m3_s"),
        ("heating_min_m3_s", "heating_max_m3_s"),
    ):
        lower, upper = get(low), get(high)
        if lower is not None and upper is not None and lower > upper:
            return True
    return (get("position_x_m") is None) != (get("position_y_m") is None)


def _add_problems(
    row: Row, messages: Mapping[str, str], mapping: Sequence[Mapped], name_of: NameOf
) -> None:
    known = {problem.field for problem in row.problems}
    partners = {
        "cooling_min_m3_s": "cooling_max_m3_s",
        "heating_min_m3_s": "heating_max_m3_s",
        "position_x_m": "position_y_m",
        "position_y_m": "position_x_m",
    }
    for name, message in messages.items():
        if name in known:
            continue
        column = _column_of(mapping, name, partners.get(name, name))
        cell = name_of(row.number, column) if column else ""
        row.problems.append(Problem(cell, name, message))
