"""Punch items out of a workbook or a text file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from typing import Any

from projectsite.core.errors import InvalidInput
from projectsite.core.scope import Scope
from projectsite.core.workbook import cell_name, read_sheet
from zones.inventory import queries as inventory
from zones.work.domain.words import SEVERITIES, TRADES
from zones.work.queries.punch import PunchFilter, punch_rows
from zones.work.queries.subjects import NOUNS

MOST_ROWS = 2000
_HEADINGS = {
    "about": "kind",
    "tag": "subject",
    "unit": "subject",
    "owed by": "trade",
    "trade": "trade",
    "what is to be done": "text",
    "text": "text",
    "weight": "severity",
    "severity": "severity",
    "due": "due_date",
}
_NEEDED = {"subject": "Tag", "trade": "Owed by", "text": "What is to be done"}


@dataclass(frozen=True, slots=True)
class PunchGiven:
    """One good row: what to open."""

    row: int
    kind: str
    subject_id: int
    subject: str
    trade: str
    text: str
    severity: str
    due_date: str = ""

    @property
    def due(self) -> date | None:
        """The due date."""
        return date.fromisoformat(self.due_date) if self.due_date else None


@dataclass(frozen=True, slots=True)
class PunchFile:
    """What a file comes to: good rows, rows that are there already, complaints with cells."""

    good: tuple[PunchGiven, ...]
    known: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()

    def packed(self) -> list[dict[str, Any]]:
        """The good rows as plain values, for a form that carries them along."""
        return [asdict(row) for row in self.good]


@dataclass(slots=True)
class _Reader:
    subjects: dict[tuple[str, str], int]
    open_items: set[tuple[str, int, str]]
    good: list[PunchGiven] = field(default_factory=list)
    known: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def take(self, number: int, columns: dict[str, int], cells: Sequence[Any]) -> None:
        """Read one row; every complaint names its cell."""
        given = {name: _text(cells[at]) if at < len(cells) else "" for name, at in columns.items()}
        if not any(given.values()):
            return
        before = len(self.wrong)
        kind = self._word(given.get("kind") or "unit", NOUNS.items(), number, columns, "kind")
        trade = self._word(given["trade"], TRADES, number, columns, "trade")
        severity = self._word(
            given.get("severity") or "mend", SEVERITIES, number, columns, "severity"
        )
        due = self._date(given.get("due_date", ""), number, columns)
        subject_id = self.subjects.get((kind, _same(given["subject"])))
        if kind and subject_id is None:
            self._complain(
                number, columns, "subject", f"there is no {NOUNS[kind]} {given['subject']!r}"
            )
        if not given["text"]:
            self._complain(number, columns, "text", "nothing is said")
        elif len(given["text"]) > 2000:
            self._complain(number, columns, "text", "more than 2000 characters")
        if len(self.wrong) > before or subject_id is None:
            return
        if (kind, subject_id, _same(given["text"])) in self.open_items:
            self.known.append(f"Row {number}: {given['subject']} has this item already.")
            return
        self.open_items.add((kind, subject_id, _same(given["text"])))
        self.good.append(
            PunchGiven(
                number, kind, subject_id, given["subject"], trade, given["text"], severity, due
            )
        )

    def _word(self, text: str, known: Any, number: int, columns: dict[str, int], name: str) -> str:
        for key, label in known:
            if _same(text) in {_same(key), _same(label)}:
                return str(key)
        words = ", ".join(str(label) for _, label in known)
        self._complain(number, columns, name, f"{text!r} is none of: {words}")
        return ""

    def _date(self, text: str, number: int, columns: dict[str, int]) -> str:
        try:
            return date.fromisoformat(text[:10]).isoformat() if text else ""
        except ValueError:
            self._complain(number, columns, "due_date", f"{text!r} is not a date like 2026-11-25")
            return ""

    def _complain(self, number: int, columns: dict[str, int], name: str, words: str) -> None:
        at = columns.get(name, 0)
        self.wrong.append(f"{cell_name(number, at + 1)}: {words}.")


def read(scope: Scope, content: bytes) -> PunchFile:
    """Read a file of punch items against the record; nothing is stored.

    Raises
    ------
    InvalidInput
        The file can't be read, lacks a heading, or has more than 2000 rows.
    """
    sheet = read_sheet(content)
    rows = list(sheet.rows)
    if not rows:
        raise InvalidInput("The file has no rows.", fields={"file": "The file has no rows."})
    columns: dict[str, int] = {}
    for at, heading in enumerate(rows[0]):
        name = _HEADINGS.get(_same(_text(heading)))
        if name is not None:
            columns.setdefault(name, at)
    lacking = [label for name, label in _NEEDED.items() if name not in columns]
    if lacking:
        message = f"The first row has no heading {', '.join(lacking)}."
        raise InvalidInput(message, fields={"file": message})
    if len(rows) > MOST_ROWS + 1:
        message = f"The file has {len(rows) - 1} rows; send up to {MOST_ROWS} at a time."
        raise InvalidInput(message, fields={"file": message})
    reader = _Reader(_subjects(scope), _open_items(scope))
    for number, cells in enumerate(rows[1:], start=sheet.first_row_number + 1):
        reader.take(number, columns, cells)
    return PunchFile(tuple(reader.good), tuple(reader.known), tuple(reader.wrong))


def _subjects(scope: Scope) -> dict[tuple[str, str], int]:
    found: dict[tuple[str, str], int] = {}
    tags: dict[int, str] = {}
    for unit in inventory.outlines(scope):
        found["unit", _same(unit.tag)] = unit.id
        tags[unit.id] = unit.tag
    for outlet in inventory.outlet_places(scope):
        tag = f"{outlet['unit_tag']}, {outlet['tag']}"
        found["outlet", _same(tag)] = outlet["id"]
        found["outlet", _same(f"{outlet['unit_tag']}, outlet {outlet['tag']}")] = outlet["id"]
    for handler in inventory.air_handlers(scope):
        found["air-handler", _same(handler.tag)] = handler.id
    return found


def _open_items(scope: Scope) -> set[tuple[str, int, str]]:
    rows = punch_rows(scope, PunchFilter(state="unverified"))
    return {(row.kind, row.subject_id, _same(row.text)) for row in rows}


def _text(value: Any) -> str:
    if isinstance(value, datetime | date):
        return value.isoformat()[:10]
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return "" if value is None else str(value).strip()


def _same(text: str) -> str:
    return " ".join(text.split()).casefold()
