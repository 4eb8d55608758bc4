"""Check values from published and other sources; each row says where it comes from."""

from __future__ import annotations

import csv
from pathlib import Path

MARKS = {"published", "common practice, no source", "from memory", "derived"}


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a file of check values; a row without source or mark is refused."""
    path = Path(__file__).with_name(f"{name}.csv")
    with path.open(encoding="utf-8", newline="") as lines:
        found = list(csv.DictReader(lines))
    for row in found:
        if row["mark"] not in MARKS or not row["source"]:
            raise ValueError(f"{path.name}: {row['case']!r} has no source or an unknown mark")
    return found
