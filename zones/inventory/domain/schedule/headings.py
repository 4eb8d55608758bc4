"""Where the table of a sheet begins, and what its headings mean."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from zones.inventory.domain.schedule.cells import plain
from zones.inventory.domain.schedule.types import TARGETS, Cell, Layout, UnitBook
from zones.inventory.domain.schedule.words import HEADINGS, phrase

SEARCHED_ROWS = 60
"""Headings are looked for this far down."""
MOST_HEADING_ROWS = 3
_BRACKETED = re.compile(r"[(\[]\s*([^()\[\]]+?)\s*[)\]]\s*$")
_AFTER_COMMA = re.compile(r"[,;:]\s*([^,;:]+)$")

Rows = Sequence[Sequence[Cell]]


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a heading proposes: a field ("" for none) and a unit as spelled ("" for none)."""

    field: str
    unit: str = ""


def spread(rows: Rows, merged: Sequence[tuple[int, int, int, int]]) -> list[list[str]]:
    """Give rows as text with merged cells filled across.

    ``merged`` holds first row, first column, last row, last column, from 0, inside ``rows``.
    """
    texts = [[plain(cell) for cell in row] for row in rows]
    for top, left, bottom, right in merged:
        if bottom >= len(texts) or not texts[top] or left >= len(texts[top]):
            continue
        for i in range(top, bottom + 1):
            for j in range(left, min(right + 1, len(texts[i]))):
                texts[i][j] = texts[top][left]
    return texts


def join_headings(texts: Sequence[Sequence[str]], *, has_merges: bool) -> list[str]:
    """Join heading rows column by column: COOLING over MAX becomes "COOLING MAX".

    Without merged cells (a text file) a heading reaches over the empty cells to its right as
    long as something stands below them.
    """
    rows = [list(row) for row in texts]
    if not has_merges:
        for upper, lower in pairwise(rows):
            for j in range(1, len(upper)):
                is_group = bool(upper[j - 1]) and bool(lower[j - 1])
                if not upper[j] and lower[j] and is_group:
                    upper[j] = upper[j - 1]
    width = max(map(len, rows), default=0)
    return [
        " ".join(dict.fromkeys(row[j] for row in rows if j < len(row) and row[j]))
        for j in range(width)
    ]


def meaning(heading: str, target: str, book: UnitBook, *, unit: str = "") -> Meaning:
    """Propose what a heading means; ``unit`` is what the units row says below it."""
    text = " ".join(heading.split())
    spellings = [unit] if unit else []
    stripped = text
    match = _BRACKETED.search(text) or _AFTER_COMMA.search(text)
    if match and book.kinds_of(match[1]):
        stripped = text[: match.start()].strip()
        spellings.append(match[1])
    words = stripped.split()
    for count in (2, 1):
        tail = " ".join(words[-count:])
        if len(words) > count and book.kinds_of(tail):
            # "COOLING MAX CFM": the last word is the unit, not part of the name.
            spelling = spellings[0] if spellings else tail
            found = _field(" ".join(words[:-count]), target, book, spelling)
            if found:
                return Meaning(found, spelling)
    spelling = spellings[0] if spellings else ""
    found = _field(stripped, target, book, spelling) or _field(text, target, book, spelling)
    return Meaning(found, spelling if found else "")


def _field(text: str, target: str, book: UnitBook, spelling: str) -> str:
    candidates = HEADINGS[target].get(phrase(text), ())
    kinds = {field.name: field.kind for field in TARGETS[target]} | {"inlet": "diameter"}
    if not spelling:
        return candidates[0] if candidates else ""
    of_unit = book.kinds_of(spelling)
    return next((name for name in candidates if kinds[name] in of_unit), "")


def meanings(
    headings: Sequence[str],
    target: str,
    book: UnitBook,
    *,
    units: Sequence[str] = (),
    remembered: Mapping[str, Meaning] | None = None,
) -> list[Meaning]:
    """Propose what each column is: as remembered, else by the words; each field once."""
    taken: set[str] = set()
    found: list[Meaning] = [Meaning("")] * len(headings)
    known = remembered or {}
    order = sorted(range(len(headings)), key=lambda j: headings[j].casefold() not in known)
    for j in order:
        below = units[j] if j < len(units) else ""
        proposed = meaning(headings[j], target, book, unit=below if book.kinds_of(below) else "")
        before = known.get(headings[j].casefold())
        if before is not None:
            # What the sheet itself says about its unit counts for more than the last file.
            proposed = Meaning(before.field, proposed.unit or before.unit)
        if proposed.field and proposed.field not in taken:
            taken.add(proposed.field)
            found[j] = proposed
    return found


def is_units_row(cells: Sequence[str], book: UnitBook) -> bool:
    """Tell whether a row holds nothing but units: cfm, in., °F."""
    filled = [text for text in cells if text and text not in {"-", "–", "—"}]
    units = [text for text in filled if book.kinds_of(text)]
    return len(units) >= 2 and len(units) >= 0.6 * len(filled)


def propose_layout(
    rows: Rows, target: str, book: UnitBook, *, merged: Sequence[tuple[int, int, int, int]] = ()
) -> Layout:
    """Find the headings of a sheet whose first row is row 1.

    Every group of up to three rows is read as headings; the one that names most fields wins,
    the shorter and the higher one when two name as many.
    """
    texts = spread(rows[:SEARCHED_ROWS], [m for m in merged if m[2] < SEARCHED_ROWS])
    best = (0.0, 0, 0)
    for start in range(len(texts)):
        if not any(texts[start]):
            continue
        for end in range(start, min(start + MOST_HEADING_ROWS, len(texts))):
            if end > start and is_units_row(texts[end], book):
                break
            joined = join_headings(texts[start : end + 1], has_merges=bool(merged))
            found = {m.field for m in meanings(joined, target, book)} - {""}
            has_tag = "tag" in found
            score = len(found) + (2 if has_tag else 0) - 0.4 * (end - start)
            if len(found) > (end - start) and score > best[0] + 1e-9:
                best = (score, start, end)
    last = max(
        (i for i, row in enumerate(rows) if any(c not in (None, "") for c in row)), default=0
    )
    if best[0] == 0.0:
        return Layout(1, 1, 0, 2, last + 1)
    _, start, end = best
    has_units = end + 1 < len(texts) and is_units_row(texts[end + 1], book)
    return Layout(
        start + 1, end + 1, end + 2 if has_units else 0, end + (3 if has_units else 2), last + 1
    )


def score_sheet(
    rows: Rows, target: str, book: UnitBook, *, merged: Sequence[tuple[int, int, int, int]] = ()
) -> int:
    """How many fields the proposed headings of a sheet name."""
    layout = propose_layout(rows, target, book, merged=merged)
    headings, units = headings_of(rows, layout, merged=merged)
    return sum(bool(m.field) for m in meanings(headings, target, book, units=units))


def headings_of(
    rows: Rows, layout: Layout, *, merged: Sequence[tuple[int, int, int, int]] = ()
) -> tuple[list[str], list[str]]:
    """Joined headings and the units below them ("" where there are none), by column."""
    upto = max(layout.heading_end_row, layout.units_row)
    texts = spread(rows[:upto], [m for m in merged if m[2] < upto])
    headings = join_headings(
        texts[layout.heading_row - 1 : layout.heading_end_row], has_merges=bool(merged)
    )
    units = list(texts[layout.units_row - 1]) if layout.units_row else []
    return headings, units + [""] * (len(headings) - len(units))
