"""Which parts a document is made of, and which of them have to be rendered."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from reports.domain.codec import encode
from reports.domain.dossier import Dossier
from reports.pdf import kept
from reports.pdf.front import front_parts
from reports.pdf.labels import label_parts
from reports.pdf.point_list import point_list_parts
from reports.pdf.pool import Ask
from reports.pdf.sections import section_parts


@dataclass(frozen=True, slots=True)
class PlannedPart:
    """A part: title and group in the outline, file, and how to make it (None: it is there)."""

    title: str
    file: Path
    group: str
    ask: Ask | None


def parts(dossier: Dossier, folder: Path, keep_in: Path) -> list[PlannedPart]:
    """Plan a document: what is its own goes to ``folder``, unit sheets to ``keep_in``."""
    kind = dossier.frame.kind
    if kind == "point-list":
        return _own(point_list_parts(dossier), folder)
    if kind == "label-sheet":
        return _own(label_parts(dossier), folder)
    if dossier.sections:
        return _own(section_parts(dossier), folder)
    front = _own(front_parts(dossier), folder) if kind == "balance-report" else []
    group = "Unit sheets" if front else ""
    return front + _sheets(dossier, keep_in, group)


def _own(made: list[tuple[str, str]], folder: Path) -> list[PlannedPart]:
    planned = []
    for i, (title, html) in enumerate(made):
        file = folder / f"part-{i}.pdf"
        planned.append(PlannedPart(title, file, "", {"html": html, "out": str(file)}))
    return planned


def _sheets(dossier: Dossier, keep_in: Path, group: str) -> list[PlannedPart]:
    planned = []
    project = encode(dossier.project)
    for unit in dossier.units:
        file = kept.sheet_file(keep_in, dossier.project, unit)
        ask: Ask | None = None
        if file.exists():
            kept.touch(file)
        else:
            file.parent.mkdir(parents=True, exist_ok=True)
            ask = {"project": project, "unit": encode(unit), "out": str(file)}
        planned.append(PlannedPart(unit.tag, file, group, ask))
    return planned
