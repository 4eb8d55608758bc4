"""Pieces that every document is put together from. Text goes in plain and comes out escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from projectsite.core import units
from projectsite.core.quantities import KINDS
from projectsite.core.scope import UnitSystem
from projectsite.ui import marks
from reports.domain.dossier import FindingData, StepData, Verdict

DASH = "—"


@dataclass(frozen=True, slots=True)
class Col:
    """A column of a printed table: head, its unit, width in characters, numbers to the right."""

    label: str
    width: float
    kind: str = ""
    is_number: bool = False
    group: str = ""


def page(body: str, *, title: str, system: UnitSystem, is_wide: bool = False) -> str:
    """Give a whole HTML document on the paper of the unit system: Letter or A4."""
    paper = "letter" if system == "ip" else "a4"
    wide = " wide" if is_wide else ""
    return (
        f'<!DOCTYPE html><html lang="en" class="{paper}{wide}"><head><meta charset="utf-8">'
        f"<title>{escape(title)}</title></head><body>{body}</body></html>"
    )


def mark(verdict: Verdict) -> str:
    """A state mark with its word."""
    return str(marks.mark(verdict.state, verdict.word))


def figure(value: float | None, kind: str, system: UnitSystem, *, with_unit: bool = False) -> str:
    """A figure as it is read in the document's units, escaped."""
    text = units.show(value, kind, system, with_unit=with_unit)
    return escape(f"−{text[1:]}" if text.startswith("-") else text)


def signed_percent(fraction: float | None) -> str:
    """A difference as a signed percentage.

    >>> signed_percent(0.034), signed_percent(-0.2), signed_percent(None)
    ('+3.4', '−20.0', '—')
    """
    if fraction is None:
        return DASH
    text = units.show(fraction, "fraction", "ip")
    return text.replace("-", "−") if text.startswith("-") else f"+{text}" if fraction else text


def percent(fraction: float | None) -> str:
    """A share as a percentage without its sign."""
    return units.show(fraction, "fraction", "ip")


def facts(pairs: Iterable[tuple[str, str]]) -> str:
    """A list of names and values; values are markup, empty ones are left out."""
    rows = "".join(
        f'<tr><th scope="row">{escape(name)}</th><td>{value}</td></tr>'
        for name, value in pairs
        if value
    )
    return f'<table class="facts"><tbody>{rows}</tbody></table>'


def table(
    columns: Sequence[Col],
    rows: Iterable[Sequence[str]],
    system: UnitSystem,
    *,
    classes: str = "",
) -> str:
    """A table with fixed widths and a head that repeats; cells are markup, the first is a head."""
    whole = sum(column.width for column in columns)
    widths = "".join(f'<col style="width:{100 * column.width / whole:.2f}%">' for column in columns)
    sides = _sides(columns)
    lines = []
    for row in rows:
        cells = [f'<th scope="row"{sides[0]}>{row[0]}</th>']
        cells += [f"<td{side}>{cell}</td>" for side, cell in zip(sides[1:], row[1:], strict=True)]
        lines.append(f"<tr>{''.join(cells)}</tr>")
    return (
        f'<table class="rows {classes}"><colgroup>{widths}</colgroup>'
        f"{_head(columns, sides, system)}"
        f"<tbody>{''.join(lines)}</tbody></table>"
    )


def _sides(columns: Sequence[Col]) -> list[str]:
    """Numbers to the right; words after a number stand clear of it."""
    are_numbers = [column.is_number or bool(column.kind) for column in columns]
    return [
        ' class="n"' if is_number else ' class="t"' if i and are_numbers[i - 1] else ""
        for i, is_number in enumerate(are_numbers)
    ]


def _head(columns: Sequence[Col], sides: Sequence[str], system: UnitSystem) -> str:
    cells = [
        f'<th scope="col"{side}>{escape(column.label)}{_unit(column, system)}</th>'
        for column, side in zip(columns, sides, strict=True)
    ]
    if not any(column.group for column in columns):
        return f"<thead><tr>{''.join(cells)}</tr></thead>"
    upper: list[str] = []
    lower: list[str] = []
    at = 0
    while at < len(columns):
        group = columns[at].group
        if not group:
            upper.append(cells[at].replace("<th ", '<th rowspan="2" ', 1))
            at += 1
            continue
        end = at
        while end < len(columns) and columns[end].group == group:
            end += 1
        upper.append(
            f'<th scope="colgroup" class="group" colspan="{end - at}"><span>{escape(group)}'
            "</span></th>"
        )
        lower += cells[at:end]
        at = end
    return f"<thead><tr>{''.join(upper)}</tr><tr>{''.join(lower)}</tr></thead>"


def _unit(column: Col, system: UnitSystem) -> str:
    symbol = units.unit_symbol(column.kind, system) if column.kind in KINDS else ""
    return f'<span class="u">{escape(symbol)}</span>' if symbol else ""


def findings(items: Sequence[FindingData], *, with_subject: bool = False) -> str:
    """Findings with their marks, the gravest first as they come."""
    lines = []
    for item in items:
        state: marks.State = "look" if item.severity < 20 else "hold"
        subject = f"<b>{escape(item.subject)}</b> " if with_subject else ""
        action = f' <span class="next">{escape(item.action)}</span>' if item.action else ""
        lines.append(
            f"<li>{marks.drawing(state)}<span>{subject}{escape(item.message)}{action}</span></li>"
        )
    return f'<ul class="findings">{"".join(lines)}</ul>'


def working(steps: Sequence[StepData], system: UnitSystem) -> str:
    """How the figures came about: each formula with what was put in."""
    lines = []
    for step in steps:
        terms = ", ".join(
            f"<b>{escape(name)}</b> = {_term(value, kind, system)}"
            for name, value, kind in step.terms
        )
        put_in = f'<span class="terms">{terms}</span>' if terms else ""
        lines.append(f'<li><span class="formula">{escape(step.text)}</span>{put_in}</li>')
    return f'<ol class="working">{"".join(lines)}</ol>'


def _term(value: float | str | None, kind: str, system: UnitSystem) -> str:
    if isinstance(value, str) or kind not in KINDS:
        return escape(DASH if value is None else str(value))
    return figure(value, kind, system, with_unit=True)
