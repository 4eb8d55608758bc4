"""Documents of the work: sections of text, table and picture."""

from __future__ import annotations

from html import escape

from projectsite.core.scope import UnitSystem
from projectsite.ui import marks
from reports.domain.blocks import CellData, ColumnData, SectionData
from reports.domain.dossier import Dossier
from reports.pdf.parts import DASH, Col, figure, page, table

ROWS_A_PART = 400
"""Rows of one rendered part: layout takes longer than its share beyond it."""
WIDE_KINDS = {"punch-list", "floor-plan"}


def section_parts(dossier: Dossier) -> list[tuple[str, str]]:
    """Give title and HTML of each part."""
    parts: list[tuple[str, str]] = []
    body, rows = [_title(dossier)], 0
    for section in dossier.sections:
        if rows and rows + len(section.rows) > ROWS_A_PART:
            parts.append(_part(dossier, body, len(parts)))
            body, rows = [], 0
        rows += len(section.rows)
        for start in range(0, max(len(section.rows), 1), ROWS_A_PART):
            if start:
                parts.append(_part(dossier, body, len(parts)))
                body = []
            body.append(_section(section, dossier.project.system, start))
    parts.append(_part(dossier, body, len(parts)))
    return parts


def _part(dossier: Dossier, body: list[str], number: int) -> tuple[str, str]:
    title = dossier.frame.title if not number else f"{dossier.frame.title}, continued ({number})"
    part = f"{dossier.frame.title}, {dossier.frame.scope_label}"
    html = page(
        f'<main class="part" data-part="{escape(part)}">{"".join(body)}</main>',
        title=title,
        system=dossier.project.system,
        is_wide=dossier.frame.kind in WIDE_KINDS,
    )
    return title, html


def _title(dossier: Dossier) -> str:
    frame = dossier.frame
    note = f"<p>{escape(frame.note)}</p>" if frame.note else ""
    return (
        f'<h1>{escape(frame.title)}</h1><p class="sub">{escape(dossier.project.name)} · '
        f"{escape(frame.scope_label)} · {escape(frame.date)}</p>{note}"
    )


def _section(section: SectionData, system: UnitSystem, start: int) -> str:
    pieces = []
    if not start:
        is_new = ' class="next-page"' if section.starts_page else ""
        pieces.append(f"<h2{is_new}>{escape(section.title)}</h2>" if section.title else "")
        pieces += [f"<p>{escape(text)}</p>" for text in section.paragraphs]
        if section.caution:
            pieces.append(f'<p class="caution"><b>Caution.</b> {escape(section.caution)}</p>')
        if section.picture:
            pieces.append(f'<div class="keep">{section.picture}</div>')
    rows = section.rows[start : start + ROWS_A_PART]
    if section.columns and rows:
        columns = [Col(c.label, c.width, c.kind, c.is_number) for c in section.columns]
        cells = [
            [_cell(cell, column, system) for cell, column in zip(row, section.columns, strict=True)]
            for row in rows
        ]
        pieces.append(table(columns, cells, system))
    return "".join(pieces)


def _cell(cell: CellData, column: ColumnData, system: UnitSystem) -> str:
    if cell.mark is not None:
        return str(marks.mark(cell.mark, cell.text))
    if cell.value is not None and column.kind:
        return figure(cell.value, column.kind, system)
    return escape(cell.text) or DASH
