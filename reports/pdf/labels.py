"""Box labels: tag, zone, address, K factor and a code that leads to the unit."""

from __future__ import annotations

from html import escape

from projectsite.core import units
from reports.domain.dossier import Dossier, UnitData
from reports.pdf.unit_sheet import code_picture
from zones.work.domain.labels import PAPER_MM, SHEET, LabelSheet, places

LABELS_A_PART = 240
TALL_MM = 45.0
"""Labels of this height and more have room for the location and a larger code."""


def label_parts(dossier: Dossier) -> list[tuple[str, str]]:
    """Give title and HTML of each part; a part is a number of whole sheets."""
    sheet, used = SHEET[dossier.frame.label_sheet], dossier.frame.labels_used
    sheets: list[list[str]] = []
    for unit, place in zip(
        dossier.units, places(sheet, len(dossier.units), used=used), strict=True
    ):
        if place.sheet == len(sheets):
            sheets.append([])
        sheets[place.sheet].append(_label(dossier, unit, sheet, place.x_mm, place.y_mm))
    step = max(LABELS_A_PART // sheet.count, 1)
    return [
        (f"Sheets {start + 1} to {start + len(held)}", _document(sheet, held))
        for start in range(0, len(sheets), step)
        if (held := sheets[start : start + step])
    ]


def _document(sheet: LabelSheet, sheets: list[list[str]]) -> str:
    width, height = PAPER_MM[sheet.paper]
    pages = "".join(
        f'<div class="labels" style="width:{width}mm;height:{height - 0.2:.1f}mm">'
        f"{''.join(labels)}</div>"
        for labels in sheets
    )
    return (
        f'<!DOCTYPE html><html lang="en" class="labels-{sheet.paper}"><head>'
        '<meta charset="utf-8"><title>Box labels</title></head>'
        f"<body>{pages}</body></html>"
    )


def _label(dossier: Dossier, unit: UnitData, sheet: LabelSheet, x_mm: float, y_mm: float) -> str:
    is_tall = sheet.height_mm >= TALL_MM
    lines = [f"<b>{escape(unit.tag)}</b>"]
    lines += [f"<span>{escape(text)}</span>" for text in _lines(dossier, unit, is_tall=is_tall)]
    code = min(sheet.height_mm - 6.0, 18.0 if not is_tall else 30.0)
    return (
        f'<div class="label{" tall" if is_tall else ""}" style="left:{x_mm:.3f}mm;top:{y_mm:.3f}mm;'
        f'width:{sheet.width_mm:.3f}mm;height:{sheet.height_mm:.3f}mm">'
        f'<div class="words">{"".join(lines)}</div>'
        f'<div class="code" style="width:{code:.1f}mm;height:{code:.1f}mm">'
        f"{code_picture(unit.address)}</div></div>"
    )


def _lines(dossier: Dossier, unit: UnitData, *, is_tall: bool) -> list[str]:
    """What stands below the tag; what the record does not hold is left for a pen."""
    zone = f"Zone {unit.zone}" if unit.zone else ""
    floor = f"floor {unit.floor}" if unit.floor else ""
    address = (
        f"MAC {_known(unit.mac_address)} · instance {_known(unit.device_instance)}"
        if unit.mac_address is not None or unit.device_instance is not None
        else "MAC ______ · instance ____________"
    )
    left = unit.test.k_as_left_m3_s_sqrt_pa if unit.test and unit.test.state == "accepted" else None
    k_factor = (
        f"K {units.show(left, 'k_factor', dossier.project.system, with_unit=True)}"
        if left is not None
        else "K ____________"
    )
    inlet = f"{unit.inlet} inlet" if unit.inlet else ""
    lines = [
        " · ".join(filter(None, (zone, floor))),
        address,
        " · ".join(filter(None, (inlet, k_factor))),
    ]
    if is_tall:
        lines += [unit.location, " · ".join(filter(None, (unit.air_handler, unit.controller)))]
    return [line for line in lines if line]


def _known(number: int | None) -> str:
    return "______" if number is None else str(number)
