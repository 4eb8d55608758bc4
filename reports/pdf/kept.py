"""Unit sheets that are kept for the next document, by a digest of all that they depend on."""

from __future__ import annotations

import hashlib
import json
import os
import time
from functools import cache
from importlib.metadata import version
from pathlib import Path

from reports.domain.codec import encode
from reports.domain.dossier import ProjectData, UnitData

ROOT = Path(__file__).resolve().parent.parent.parent
KEEP_S = 90 * 24 * 3600
_SOURCES = (
    "reports/pdf/*.py",
    "reports/domain/*.py",
    "reports/static/reports/document.css",
    "projectsite/ui/static/ui/fonts/*.woff2",
    "projectsite/ui/marks.py",
    "projectsite/core/plots.py",
    "projectsite/core/drawing.py",
    "projectsite/core/numeric.py",
    "projectsite/core/units.*",
    "projectsite/core/quantities.py",
)


@cache
def edition() -> str:
    """Digest of everything besides the data that a sheet depends on: code, styles, library."""
    digest = hashlib.sha256(f"{version('weasyprint')} {version('segno')}".encode())
    for pattern in _SOURCES:
        for path in sorted(ROOT.glob(pattern)):
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()


def sheet_file(folder: Path, project: ProjectData, unit: UnitData) -> Path:
    """Where a unit's sheet stands, or is to stand: the name is the digest of its content."""
    data = json.dumps([edition(), encode(project), encode(unit)], sort_keys=True)
    name = hashlib.sha256(data.encode()).hexdigest()
    return folder / name[:2] / f"{name}.pdf"


def sweep(folder: Path) -> int:
    """Remove sheets that no document has used for a quarter of a year; give their number."""
    limit = time.time() - KEEP_S
    old = [path for path in folder.glob("*/*.pdf*") if path.stat().st_mtime < limit]
    for path in old:
        path.unlink(missing_ok=True)
    return len(old)


def touch(path: Path) -> None:
    """Note that a sheet is still in use."""
    os.utime(path)
