"""Schedule imports for tests: the whole way through the operations."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from projectsite.core.scope import Scope
from projectsite.core.workbook import GridSheet, write_grid
from tests.builders.accounts import AT
from zones.inventory.imports import work
from zones.inventory.operations import load_starter_library
from zones.inventory.operations.applying import Applied
from zones.inventory.operations.imports import MappedColumn, store_mapping
from zones.inventory.queries import imports as queries
from zones.inventory.queries.imports import ImportFacts, RowFilter

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
SCHEDULES = FIXTURES / "schedules"

HEADINGS = ["Tag", "AHU", "Cooling max", "Cooling min"]
UNITS = [None, None, "cfm", "cfm"]


def starter_library(scope: Scope) -> None:
    """Store the generic starter library."""
    load_starter_library(scope, path=FIXTURES / "library.json")


def schedule(*rows: list[Any], head: tuple[list[Any], ...] = (HEADINGS, UNITS)) -> bytes:
    """A workbook with headings, units and these rows; the first unit stands in row 3."""
    stream = io.BytesIO()
    write_grid(stream, [GridSheet("VAV", [*head, *rows])])
    return stream.getvalue()


def receive(
    scope: Scope, content: bytes, *, name: str = "schedule.xlsx", target: str = "units"
) -> ImportFacts:
    """Take a file in."""
    import_id = work.receive(scope, name=name, content=content, target=target, at=AT)
    return queries.import_facts(scope, import_id)


def proposed(found: ImportFacts, **instead: tuple[str, str]) -> list[MappedColumn]:
    """The proposed columns; by letter another field and unit."""
    return [
        MappedColumn(
            column["index"],
            column["heading"],
            *instead.get(column["letters"], (column["field"], column["unit"])),
        )
        for column in found.proposal["columns"]
    ]


def preview(
    scope: Scope,
    content: bytes,
    *,
    target: str = "units",
    name: str = "schedule.xlsx",
    box_model_id: int | None = None,
    is_na_empty: bool = False,
    **instead: tuple[str, str],
) -> ImportFacts:
    """Take a file in and make its preview."""
    found = receive(scope, content, name=name, target=target)
    store_mapping(
        scope,
        import_id=found.id,
        version=found.version,
        layout=work.layout_of(found),
        columns=proposed(found, **instead),
        box_model_id=box_model_id,
        is_na_empty=is_na_empty,
    )
    work.start(scope, found.id, task="preview", words="Reading the file")
    return queries.import_facts(scope, found.id)


def fixture(scope: Scope, name: str, **choices: Any) -> ImportFacts:
    """Preview one of the sample's files."""
    return preview(scope, (SCHEDULES / name).read_bytes(), name=name, **choices)


def apply(scope: Scope, found: ImportFacts, *, is_whole: bool = False) -> Applied:
    """Apply a preview."""
    return work.apply_or_renew(
        scope, import_id=found.id, version=found.version, is_whole=is_whole, at=AT
    )


def refusals(scope: Scope, found: ImportFacts) -> dict[tuple[int, str], str]:
    """Messages of refused rows by row and cell."""
    rows = queries.list_rows(scope, found.id, RowFilter("refused"))
    return {(r["row_number"], p["cell"]): p["message"] for r in rows for p in r["problems"]}


def outcomes(scope: Scope, found: ImportFacts) -> dict[int, str]:
    """Outcome by row number."""
    rows = queries.list_rows(scope, found.id, RowFilter())
    return {row["row_number"]: row["outcome"] for row in rows}
