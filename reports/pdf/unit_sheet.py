"""The air balance sheet of one terminal unit.

It depends on nothing but the unit and the project's units and limits, so that an unchanged
unit's sheet can be used again.
"""

from __future__ import annotations

from html import escape
from io import BytesIO

import segno

from projectsite.core import plots, units
from projectsite.core.scope import UnitSystem
from projectsite.ui import marks
from reports.domain.dossier import (
    InstrumentData,
    PointData,
    ProjectData,
    TestData,
    UnitData,
    point_of,
)
from reports.pdf.parts import (
    DASH,
    Col,
    facts,
    figure,
    findings,
    mark,
    page,
    percent,
    signed_percent,
    table,
    working,
)

HEATS = {"none": "no reheat", "hot-water": "hot-water reheat", "electric": "electric reheat"}
FANS = {"none": "", "parallel": "parallel fan", "series": "series fan"}
SETPOINTS = (
    ("cooling maximum", "cooling_max_m3_s"),
    ("cooling minimum", "cooling_min_m3_s"),
    ("heating maximum", "heating_max_m3_s"),
    ("heating minimum", "heating_min_m3_s"),
    ("standby minimum", "standby_min_m3_s"),
)


def unit_sheet(project: ProjectData, unit: UnitData) -> str:
    """Give the sheet as an HTML document."""
    system = project.system
    body = [_head(unit), _three_columns(project, unit)]
    if unit.test is None:
        body.append("<h2>Test</h2><p>No flow test has been recorded for this unit.</p>")
    else:
        body += [
            _readings(unit.test, system),
            _outlets(unit, unit.test, system),
            _picture_and_k(project, unit, unit.test),
        ]
    body.append(_open_items(unit))
    if unit.test is not None:
        body.append(_notes(unit.test))
    body.append(_sign_off(unit.test))
    if unit.test is not None:
        body.append(_working(unit.tag, unit.test, system))
    title = f"{unit.tag}, air balance sheet"
    return page(
        f'<main class="part" data-part="{escape(unit.tag)}">{"".join(body)}</main>',
        title=title,
        system=system,
    )


def code_picture(address: str) -> str:
    """A QR code as a drawing: dark modules only, on the paper's own ground."""
    out = BytesIO()
    segno.make(address, error="m", micro=False).save(
        out, kind="svg", border=0, xmldecl=False, svgns=True, omitsize=True, nl=False, scale=1
    )
    return out.getvalue().decode()


def _head(unit: UnitData) -> str:
    where = [unit.location, f"floor {unit.floor}" if unit.floor else "", unit.air_handler]
    what = [
        unit.box_model,
        f"{unit.inlet} inlet" if unit.inlet else "",
        FANS.get(unit.fan, unit.fan),
        HEATS.get(unit.heat, unit.heat),
    ]
    lines = [" · ".join(filter(None, part)) for part in (where, what)]
    triangle = (
        f" {marks.delta(unit.revision, f'changed by schedule revision {unit.revision}')}"
        if unit.revision
        else ""
    )
    code = ""
    if unit.address:
        code = (
            f'<div class="qr">{code_picture(unit.address)}<span>This unit in the record:<br>'
            f"{escape(unit.address)}</span></div>"
        )
    return (
        f'<div class="head"><div><h1>{escape(unit.tag)}</h1>'
        f'<p class="sub">{escape(lines[0])}<br>{escape(lines[1])}{triangle}</p>'
        f'<p class="verdict">{mark(unit.state)}</p></div>{code}</div>'
    )


def _three_columns(project: ProjectData, unit: UnitData) -> str:
    system = project.system
    box = facts(
        [
            ("Zone", escape(unit.zone)),
            ("Box model", escape(unit.box_model)),
            ("Inlet", escape(unit.inlet)),
            ("Free area", _known(unit.free_area_m2, "free_area", system)),
            ("Nominal K", _known(unit.nominal_k_m3_s_sqrt_pa, "k_factor", system)),
            ("Controller", escape(unit.controller)),
            ("Lowest readable", _known(unit.readable_pressure_pa, "pressure", system)),
        ]
    )
    setpoints = facts(
        (name.capitalize(), _known(getattr(unit, field), "airflow", system))
        for name, field in SETPOINTS
    )
    return (
        f'<div class="cols"><section><h2>Terminal unit</h2>{box}</section>'
        f"<section><h2>Scheduled airflows</h2>{setpoints}</section>"
        "<section><h2>Conditions and instrument</h2>"
        f"{_conditions(unit.test, system)}</section></div>"
    )


def _known(value: float | None, kind: str, system: UnitSystem) -> str:
    return "" if value is None else figure(value, kind, system, with_unit=True)


def _conditions(test: TestData | None, system: UnitSystem) -> str:
    if test is None:
        return "<p>Not tested.</p>"
    air = ", ".join(
        filter(
            None,
            (
                _known(test.air_degc, "temperature", system),
                f"{percent(test.humidity_fraction)} % RH" if test.humidity_fraction else "",
            ),
        )
    )
    pairs = [
        ("Test", f"{test.number}, {escape(test.tested_date)}"),
        ("Air", air),
        ("Elevation", _known(test.elevation_m, "elevation", system)),
        ("Density", _known(test.density_kg_m3, "density", system)),
        ("Zero reading", _known(test.zero_reading_pa, "pressure", system)),
    ]
    return facts(pairs + (instrument_facts(test, test.instrument, system)))


def instrument_facts(
    test: TestData, instrument: InstrumentData | None, system: UnitSystem
) -> list[tuple[str, str]]:
    """Names and values of the instrument of a test."""
    if instrument is None:
        return [("Instrument", "not recorded")]
    density = "actual flow" if test.hood_reads_actual else "standard flow, corrected here"
    return [
        ("Instrument", f"{escape(instrument.name)}, no. {escape(instrument.serial)}"),
        ("Accuracy", accuracy(instrument, system)),
        ("Calibrated", f"{instrument.calibrated_date or DASH}, due {instrument.due_date or DASH}"),
        ("Reads", density if instrument.kind.endswith("hood") else ""),
    ]


def accuracy(instrument: InstrumentData, system: UnitSystem) -> str:
    """Accuracy of an instrument in words."""
    text = f"±{percent(instrument.accuracy_fraction)} %"
    if instrument.accuracy_floor_si:
        fixed = figure(instrument.accuracy_floor_si, instrument.floor_kind, system, with_unit=True)
        text += f" ±{fixed}"
    return text


def _readings(test: TestData, system: UnitSystem) -> str:
    columns = [
        Col("Point", 14),
        Col("Target", 8, "airflow"),
        *(
            column
            for group in ("As found", "As left")
            for column in (
                Col("Reported", 8.5, "airflow", group=group),
                Col("Measured", 8.5, "airflow", group=group),
                Col("of target", 7, "fraction", group=group),
                Col("rep. − meas.", 9.5, "fraction", group=group),
            )
        ),
        Col("±", 5, "fraction"),
        Col("Verdict", 15),
    ]
    order = dict.fromkeys((p.setpoint, p.label) for p in test.points)
    by_place = {(p.setpoint, p.round): p for p in test.points}
    rows = []
    for setpoint, label in order:
        found = by_place.get((setpoint, "as-found"))
        left = by_place.get((setpoint, "as-left"))
        last = point_of(test, setpoint) or left or found
        assert last is not None
        rows.append(
            [
                escape(label + (" (traverse)" if last.is_traverse else "")),
                figure(last.target_m3_s, "airflow", system),
                *_of_round(found, system),
                *_of_round(left, system),
                percent(last.uncertainty_fraction),
                mark(last.verdict),
            ]
        )
    return f"<h2>Reported and measured airflow</h2>{table(columns, rows, system, classes='one')}"


def _of_round(point: PointData | None, system: UnitSystem) -> list[str]:
    if point is None:
        return [DASH] * 4
    return [
        figure(point.reported_m3_s, "airflow", system),
        figure(point.measured_m3_s, "airflow", system),
        percent(point.design_fraction),
        signed_percent(point.agreement_fraction),
    ]


def _k_factor(unit: UnitData, test: TestData, system: UnitSystem) -> str:
    found, left = test.k_as_found_m3_s_sqrt_pa, test.k_as_left_m3_s_sqrt_pa
    change = (left - found) / found if left is not None and found else None
    method = escape(test.k_method)
    if change:
        method += f", {signed_percent(change)} % from as found"
    pairs = [
        ("Nominal", _known(unit.nominal_k_m3_s_sqrt_pa, "k_factor", system)),
        ("As found", _known(found, "k_factor", system)),
        ("As left", _known(left, "k_factor", system)),
        ("By", method),
        ("Lowest controllable", _known(test.lowest_controllable_m3_s, "airflow", system)),
    ]
    reason = f'<p class="reason">{escape(test.k_reason)}</p>' if test.k_reason else ""
    return f"<h2>K factor</h2>{facts(pairs)}{reason}"


def _outlets(unit: UnitData, test: TestData, system: UnitSystem) -> str:
    """Outlet flows of the last round of each setpoint; verdicts at the cooling maximum."""
    order = dict.fromkeys(p.setpoint for p in test.points)
    points = [p for p in (point_of(test, setpoint) for setpoint in order) if p and p.outlets]
    if not points:
        return ""
    main = points[0]
    listed = {outlet.tag: outlet for outlet in unit.outlets}
    has_locations = any(outlet.location for outlet in unit.outlets)
    columns = [
        Col("Outlet", 10),
        Col("Kind", 18),
        *([Col("Location", 16)] if has_locations else []),
        Col("Factor", 6, is_number=True),
        Col("Design", 8, "airflow"),
        Col("Readings", 15, "airflow", group=main.label),
        *(Col("Flow", 8, "airflow", group=point.label) for point in points),
        Col("of design", 8, "fraction"),
        Col("Verdict", 14),
    ]
    tags = dict.fromkeys(o.tag for point in points for o in point.outlets)
    at = [{o.tag: o for o in point.outlets} for point in points]
    rows = []
    for tag in tags:
        known, first = listed.get(tag), at[0].get(tag)
        readings = first.readings_m3_s if first else ()
        rows.append(
            [
                escape(tag),
                escape(known.kind if known else ""),
                *([escape(known.location if known else "")] if has_locations else []),
                f"{first.hood_factor:.2f}" if first else DASH,
                figure(first.design_m3_s if first else None, "airflow", system),
                " / ".join(units.show_all(readings, "airflow", system)) or DASH,
                *(
                    figure(o.flow_m3_s if (o := flows.get(tag)) else None, "airflow", system)
                    for flows in at
                ),
                percent(first.design_fraction if first else None),
                mark(first.verdict) if first else "",
            ]
        )
    rows.append(_outlet_sum(points, system, blanks=3 if has_locations else 2))
    note = "".join(
        f"<p>{escape(p.label.capitalize())}: {escape(p.note)}</p>" for p in points if p.note
    )
    heading = f"Outlets, {escape(main.round.replace('-', ' '))}"
    return f"<h2>{heading}</h2>{table(columns, rows, system, classes='one')}{note}"


def _outlet_sum(points: list[PointData], system: UnitSystem, *, blanks: int) -> list[str]:
    designs = [o.design_m3_s for o in points[0].outlets]
    known = [value for value in designs if value is not None]
    design = sum(known) if known and len(known) == len(designs) else None
    sums = []
    for point in points:
        flows = [o.flow_m3_s for o in point.outlets if o.flow_m3_s is not None]
        sums.append(sum(flows) if flows else None)
    share = sums[0] / design if design and sums[0] is not None else None
    return [
        "Sum", *[""] * blanks,
        figure(design, "airflow", system), "",
        *(f'<span class="total">{figure(value, "airflow", system)}</span>' for value in sums),
        percent(share), "",
    ]  # fmt: skip


def _picture_and_k(project: ProjectData, unit: UnitData, test: TestData) -> str:
    picture = _picture(project, test) or "<p>No point has both a reported and a measured flow.</p>"
    return (
        '<div class="cols plotted keep"><section><h2>Reported against measured</h2>'
        f"{picture}</section><section>{_k_factor(unit, test, project.system)}</section></div>"
    )


def _open_items(unit: UnitData) -> str:
    items = findings(unit.findings) if unit.findings else "<p>Nothing is open on this unit.</p>"
    return f"<h2>Open items</h2>{items}"


def _notes(test: TestData) -> str:
    said = (("Balancer", test.note), ("On acceptance", test.decision_note))
    notes = "".join(f"<p>{who}: {escape(words)}</p>" for who, words in said if words)
    return f"<h2>Notes</h2>{notes}" if notes else ""


def _picture(project: ProjectData, test: TestData) -> str:
    points = [
        plots.Point(
            p.reported_m3_s,
            p.measured_m3_s,
            label=p.label if p.round == "as-left" or len(test.points) < 5 else "",
            is_open=p.round == "as-found",
            is_off=p.agrees is False,
        )
        for p in test.points
        if p.reported_m3_s is not None and p.measured_m3_s is not None
    ]
    if not points:
        return ""
    found, fitted = test.k_as_found_m3_s_sqrt_pa, test.k_fitted_m3_s_sqrt_pa
    slope = fitted / found if found and fitted is not None else None
    label = f"K {units.show(fitted, 'k_factor', project.system)}" if slope is not None else ""
    return plots.scatter_with_fit(
        points,
        kind="airflow",
        system=project.system,
        slope=slope,
        fit_label=label,
        tolerance=project.tolerances.agreement,
        width=520,
        height=250,
    )


def _working(tag: str, test: TestData, system: UnitSystem) -> str:
    if not test.working:
        return ""
    references = (
        f'<p class="references">References: {escape("; ".join(test.references))}.</p>'
        if test.references
        else ""
    )
    return f"<h2>Working, {escape(tag)}</h2>{working(test.working, system)}{references}"


def _sign_off(test: TestData | None) -> str:
    technician = "&#160;"
    if test is not None:
        technician = f"{escape(test.technician)}<br>{escape(test.tested_date)}"
        if test.entered_by and test.entered_by != test.technician:
            technician += f'<br><span class="dim">entered by {escape(test.entered_by)}</span>'
    accepted = "&#160;"
    if test is not None and test.accepted_by:
        accepted = f"{escape(test.accepted_by)}<br>{escape(test.accepted_date)}"
    return (
        f'<div class="signs"><div><small>Measured by</small>{technician}</div>'
        f"<div><small>Accepted by the office</small>{accepted}</div>"
        "<div><small>For the owner, name and date</small>&#160;</div></div>"
    )
