"""Point and address list, as far as the record holds it."""

from __future__ import annotations

from html import escape

from reports.domain.dossier import Dossier, UnitData
from reports.pdf.front import ROWS_A_PART
from reports.pdf.parts import Col, figure, page, table
from reports.pdf.unit_sheet import FANS, HEATS

FILL = '<span class="fill">to fill</span>'
COLUMNS = (
    Col("Unit", 11),
    Col("Air handler", 9),
    Col("Floor", 5),
    Col("Location", 18),
    Col("Box and reheat", 29),
    Col("Controller", 18),
    Col("Network number", 8, is_number=True),
    Col("MAC address", 7, is_number=True),
    Col("Device instance", 9, is_number=True),
    Col("Cooling max.", 8, "airflow"),
    Col("Cooling min.", 8, "airflow"),
    Col("Heating max.", 8, "airflow"),
    Col("K as left", 8, "k_factor"),
)


def point_list_parts(dossier: Dossier) -> list[tuple[str, str]]:
    """Give title and HTML of each part."""
    many, parts = dossier.units, []
    for start in range(0, max(len(many), 1), ROWS_A_PART):
        chunk = many[start : start + ROWS_A_PART]
        title = dossier.frame.title
        if len(many) > ROWS_A_PART:
            title += f", units {start + 1} to {start + len(chunk)}"
        head = "" if start else _head(dossier)
        rows = [_row(unit, dossier) for unit in chunk]
        body = f"{head}{table(COLUMNS, rows, dossier.project.system)}"
        parts.append((title, _whole(dossier, title, body)))
    return parts


def _whole(dossier: Dossier, title: str, body: str) -> str:
    part = f"Point and address list, {dossier.frame.scope_label}"
    return page(
        f'<main class="part" data-part="{escape(part)}">{body}</main>',
        title=title,
        system=dossier.project.system,
        is_wide=True,
    )


def _head(dossier: Dossier) -> str:
    whole = len(dossier.units)
    addressed = sum(_is_addressed(unit) for unit in dossier.units)
    return (
        f"<h1>{escape(dossier.frame.title)}</h1>"
        f'<p class="sub">{whole} terminal units; {addressed} with network number, MAC address '
        f"and device instance, {whole - addressed} to fill. Cells marked “to fill” are not yet in "
        "the record. Points and their instances, trunk order and cable lengths are not recorded "
        "in this project yet and are left out.</p><h2>Addresses</h2>"
    )


def _is_addressed(unit: UnitData) -> bool:
    return None not in (unit.network_number, unit.mac_address, unit.device_instance)


def _row(unit: UnitData, dossier: Dossier) -> list[str]:
    system = dossier.project.system
    box = ", ".join(
        filter(
            None,
            (
                f"{unit.inlet} inlet" if unit.inlet else "",
                FANS.get(unit.fan, unit.fan),
                HEATS.get(unit.heat, unit.heat),
            ),
        )
    )
    left = unit.test.k_as_left_m3_s_sqrt_pa if unit.test else None
    return [
        escape(unit.tag),
        escape(unit.air_handler),
        escape(unit.floor),
        escape(unit.location),
        escape(box),
        escape(unit.controller) or FILL,
        *(
            FILL if value is None else str(value)
            for value in (unit.network_number, unit.mac_address, unit.device_instance)
        ),
        figure(unit.cooling_max_m3_s, "airflow", system),
        figure(unit.cooling_min_m3_s, "airflow", system),
        figure(unit.heating_max_m3_s, "airflow", system),
        figure(left, "k_factor", system),
    ]
