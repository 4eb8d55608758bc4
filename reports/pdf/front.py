"""Front part of an air balance report: cover, summary of all units, open items, method."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from html import escape

from projectsite.core.scope import UnitSystem
from projectsite.ui import marks
from reports.domain.dossier import (
    Dossier,
    FindingData,
    ToleranceData,
    UnitData,
    instruments,
    point_of,
)
from reports.pdf.parts import Col, figure, findings, mark, page, percent, table
from reports.pdf.unit_sheet import accuracy

ROWS_A_PART = 175
"""Rows of the summary that one part holds; memory stays flat however many units there are."""

SUMMARY = (
    Col("Unit", 12),
    Col("Air handler", 9),
    Col("Floor", 5),
    Col("Design", 7, "airflow", group="Cooling maximum"),
    Col("Measured", 8, "airflow", group="Cooling maximum"),
    Col("of design", 7, "fraction", group="Cooling maximum"),
    Col("Design", 7, "airflow", group="Cooling minimum"),
    Col("Measured", 8, "airflow", group="Cooling minimum"),
    Col("of design", 7, "fraction", group="Cooling minimum"),
    Col("Found", 9.5, "k_factor", group="K factor"),
    Col("Left", 9.5, "k_factor", group="K factor"),
    Col("Verdict", 13),
    Col("Test", 12),
)


def front_parts(dossier: Dossier) -> list[tuple[str, str]]:
    """Give title and HTML of each part before the unit sheets."""
    system = dossier.project.system
    parts = [("Cover", _whole(dossier, "Cover", _cover(dossier)))]
    many = dossier.units
    for start in range(0, len(many), ROWS_A_PART):
        chunk = many[start : start + ROWS_A_PART]
        title = "Summary"
        if len(many) > ROWS_A_PART:
            title += f", units {start + 1} to {start + len(chunk)}"
        body = (
            f"<h1>{title}</h1>{table(SUMMARY, summary_rows(chunk, system), system, classes='one')}"
        )
        parts.append((title, _whole(dossier, title, body)))
    parts.append(
        ("Open items and method", _whole(dossier, "Open items and method", _items(dossier)))
    )
    return parts


def _whole(dossier: Dossier, part: str, body: str) -> str:
    return page(
        f'<main class="part" data-part="{escape(part)}">{body}</main>',
        title=f"{dossier.frame.title}, {part}",
        system=dossier.project.system,
    )


def summary_rows(units: Sequence[UnitData], system: UnitSystem) -> list[list[str]]:
    """Rows of the summary table."""
    rows = []
    for unit in units:
        top, low = point_of(unit.test, "cooling-max"), point_of(unit.test, "cooling-min")
        test = unit.test
        rows.append(
            [
                escape(unit.tag),
                escape(unit.air_handler),
                escape(unit.floor),
                figure(unit.cooling_max_m3_s, "airflow", system),
                figure(top.measured_m3_s if top else None, "airflow", system),
                percent(top.design_fraction if top else None),
                figure(unit.cooling_min_m3_s, "airflow", system),
                figure(low.measured_m3_s if low else None, "airflow", system),
                percent(low.design_fraction if low else None),
                figure(test.k_as_found_m3_s_sqrt_pa if test else None, "k_factor", system),
                figure(test.k_as_left_m3_s_sqrt_pa if test else None, "k_factor", system),
                mark(test.verdict) if test else "",
                mark(unit.state),
            ]
        )
    return rows


def _cover(dossier: Dossier) -> str:
    frame, units = dossier.frame, dossier.units
    accepted = sum(unit.state.state == "done" for unit in units)
    outdated = sum(unit.state.word == "out of date" for unit in units)
    untested = [unit for unit in units if unit.test is None]
    off = sum(unit.test is not None and unit.test.verdict.state == "hold" for unit in units)
    counts = "".join(
        f"<div><b>{count}</b><small>{label}</small></div>"
        for count, label in (
            (len(units), "terminal units"),
            (accepted, "tests accepted"),
            (len(units) - accepted - outdated - len(untested), "tests not accepted yet"),
            (outdated, "out of date"),
            (len(untested), "not tested"),
            (off, "of the tested, out of tolerance"),
        )
    )
    state = (
        f"{escape(frame.number)}, issue {frame.issue}, {escape(frame.date)}"
        if frame.state == "issued"
        else f"Draft of {escape(frame.date)}, not issued"
    )
    note = f"<h2>Note of this issue</h2><p>{escape(frame.note)}</p>" if frame.note else ""
    missing = ""
    if untested:
        tags = ", ".join(escape(unit.tag) for unit in untested)
        missing = f"<h2>Units not tested</h2><p>{tags}</p>"
    return (
        f'<div class="cover"><h1>{escape(frame.title)}</h1>'
        f'<p class="sub">{escape(dossier.project.name)} · {escape(frame.scope_label)}</p>'
        f'<p class="sub">{state}</p><div class="counts">{counts}</div>'
        f"{note}{missing}<h2>What this report holds</h2>"
        "<p>A summary of all units with design and measured airflow; the open items; the "
        "instruments, limits and method; then one sheet for each terminal unit.</p></div>"
    )


def _items(dossier: Dossier) -> str:
    system = dossier.project.system
    items = sorted(
        (replace(item, subject=unit.tag) for unit in dossier.units for item in unit.findings),
        key=lambda item: -item.severity,
    )
    listed = _findings(items)
    return (
        f"<h1>Open items and method</h1><h2>Open items</h2>{listed}"
        f"<h2>Instruments used</h2>{_instruments(dossier, system)}"
        f"<h2>Limits</h2>{tolerance_table(dossier.project.tolerances, system)}"
        f"<h2>Method</h2>{_method(dossier)}"
    )


def _findings(items: Sequence[FindingData]) -> str:
    if not items:
        return f"<p>{marks.mark('done', 'Nothing is open.')}</p>"
    return findings(items, with_subject=True)


def _instruments(dossier: Dossier, system: UnitSystem) -> str:
    used = instruments(dossier)
    if not used:
        return "<p>No test names an instrument.</p>"
    columns = [
        Col("Instrument", 24),
        Col("Serial number", 16),
        Col("Kind", 16),
        Col("Accuracy", 18),
        Col("Calibrated", 11),
        Col("Due", 11),
    ]
    rows = [
        [
            escape(item.name),
            escape(item.serial),
            escape(item.kind),
            accuracy(item, system),
            escape(item.calibrated_date or "—"),
            escape(item.due_date or "—"),
        ]
        for item in used
    ]
    return table(columns, rows, system)


def tolerance_table(tolerances: ToleranceData, system: UnitSystem) -> str:
    """The limits that the figures were judged by."""
    rows = []
    for item in fields(tolerances):
        value, kind = getattr(tolerances, item.name), item.metadata["kind"]
        shown = (
            ("yes" if value else "no")
            if isinstance(value, bool)
            else figure(value, kind, system, with_unit=True)
        )
        rows.append([escape(str(item.metadata["label"]).capitalize()), shown])
    half = -(-len(rows) // 2)
    columns = [Col("Limit", 30), Col("Value", 14, is_number=True)]
    return (
        f'<div class="cols"><div>{table(columns, rows[:half], system)}</div>'
        f"<div>{table(columns, rows[half:], system)}</div></div>"
    )


def _method(dossier: Dossier) -> str:
    references = sorted(
        {ref for unit in dossier.units if unit.test for ref in unit.test.references}
    )
    sources = (
        f'<p class="references">References: {escape("; ".join(references))}.</p>'
        if references
        else ""
    )
    return (
        "<p>The controller of each unit was told to hold the target airflow. When the flow "
        "stood, the airflow that the controller reported and the airflow measured at the unit "
        "were read together. A measured airflow is the sum of the outlets, each the mean of its "
        "readings times the factor of the hood at that outlet, or one value where the sheet says "
        "traverse. The K factor as left was entered in the controller and the points were read "
        "again where the sheet shows a round as left. Each sheet gives the formulas with what was "
        f"put in.</p>{sources}"
    )
