"""What stands on every page: the title strip, DRAFT on drafts, and "x of y".

It is drawn once and laid under all pages, so that a unit's own sheet does not depend on the
document that it is bound into, and the page total needs no second layout.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from io import BytesIO

import pikepdf
from pikepdf import Array, Dictionary, Name, Object, Pdf

from reports.domain.dossier import Dossier
from reports.pdf import parts
from reports.pdf.writer import write

_GLYPHS = "0123456789 of"
_SIZE_PT = 8.5
_CHAR = re.compile(rb"<([0-9a-fA-F]{4})>\s+<([0-9a-fA-F]{4})>")


@dataclass(frozen=True)
class Stamp:
    """The strip as a drawing, and the face of the page numbers with its glyphs."""

    form: Object
    font: Object
    codes: dict[str, str]
    right_pt: float
    baseline_pt: float


def stamp_html(dossier: Dossier, *, is_wide: bool) -> str:
    """The strip as an HTML document of two pages; the second holds the digits."""
    frame, project = dossier.frame, dossier.project
    if frame.state == "issued":
        issue = f"<small>{escape(frame.number)}</small><b>Issue {frame.issue}</b>"
        draft = ""
    else:
        issue = '<small>Not issued</small><b class="redline">DRAFT</b>'
        draft = '<div class="draft">DRAFT</div>'
    schedule = f"revision {frame.revision}" if frame.revision else "as first issued"
    cells = (
        f'<div class="grow"><small>Project {escape(project.number)}</small>'
        f"<b>{escape(project.name)}</b></div>"
        f'<div class="grow"><small>{escape(frame.scope_label)}</small>'
        f"<b>{escape(frame.title)}</b></div>"
        f"<div><small>Schedule</small>{schedule}</div><div>{issue}</div>"
        f"<div><small>{escape(frame.date)}</small>{escape(frame.person)}</div>"
        "<div><small>Page</small>&#160;</div>"
    )
    body = (
        f'<div class="stamp">{draft}<div class="strip">{cells}</div></div>'
        f'<div class="stamp digits">{_GLYPHS}</div>'
    )
    return parts.page(body, title="strip", system=project.system, is_wide=is_wide)


def make_stamp(target: Pdf, dossier: Dossier, *, is_wide: bool) -> Stamp:
    """Draw the strip and bring it into the document."""
    with pikepdf.open(
        BytesIO(write(stamp_html(dossier, is_wide=is_wide), is_tagged=False))
    ) as source:
        form = target.copy_foreign(source.pages[0].as_form_xobject())
        fonts = source.pages[1].obj.Resources.Font
        face = next(font for font in fonts.values() if "Semi" in str(font.BaseFont))
        font = target.copy_foreign(face)
        width = float(source.pages[0].mediabox[2])
        height = float(source.pages[0].mediabox[3])
    is_metric = dossier.project.system == "si"
    side, top = (15 / 25.4 * 72, 10.5 / 25.4 * 72) if is_metric else (0.6 * 72, 0.42 * 72)
    # The last cell is 58 pt wide with 7 pt of padding; its second line has this baseline.
    return Stamp(form, font, _codes(font), width - side - 66.0, height - top - 20.0)


def _codes(font: Object) -> dict[str, str]:
    """Codes of the characters in the face, from its table for reading text back."""
    table = font.ToUnicode.read_bytes()
    found = {chr(int(code, 16)): glyph.decode() for glyph, code in _CHAR.findall(table)}
    return {char: found[char] for char in _GLYPHS}


def apply(target: Pdf, stamp: Stamp) -> None:
    """Lay the strip and "x of y" under every page, as decoration that is not read aloud."""
    form = target.make_indirect(stamp.form)
    font = target.make_indirect(stamp.font)
    total = len(target.pages)
    for number, sheet in enumerate(target.pages, start=1):
        resources = sheet.obj.Resources
        for group, name, value in (("/XObject", "/Stamp", form), ("/Font", "/StampFont", font)):
            held = resources.get(group)
            own = Dictionary(
                {**dict(held.items()), name: value} if held is not None else {name: value}
            )
            resources[group] = own
        codes = "".join(stamp.codes[char] for char in f"{number} of {total}")
        lines = (
            f"/Artifact <</Type /Pagination>> BDC\nq /Stamp Do Q\nq BT /StampFont {_SIZE_PT} Tf "
            f"{stamp.right_pt:.2f} {stamp.baseline_pt:.2f} Td <{codes}> Tj ET Q\nEMC\n"
        )
        stream = target.make_stream(lines.encode())
        content = sheet.obj.Contents
        own_content = list(content) if isinstance(content, Array) else [content]
        sheet.obj[Name.Contents] = Array([stream, *own_content])
