"""Tables of documents, for the page and for files."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from django.urls import reverse

from projectsite.core import units
from projectsite.core.scope import Scope
from projectsite.ui.lists import Listing
from projectsite.ui.marks import Mark
from projectsite.ui.tables import Column, Empty, Table
from reports.domain.compare import Difference
from reports.queries import DocumentRow

RENDER_MARKS = {
    "waiting": Mark("wait", "waits to be made"),
    "running": Mark("look", "in hand"),
    "failed": Mark("hold", "not made"),
    "cancelled": Mark("hold", "stopped"),
}


def state_mark(row: DocumentRow) -> Mark:
    """How a document stands, in one mark and word."""
    if not row.is_done:
        return RENDER_MARKS[row.render_state]
    return Mark("done", "issued") if row.is_issued else Mark("look", "draft")


def document_table(
    scope: Scope, rows: Sequence[DocumentRow], *, listing: Listing | None = None
) -> Table:
    """Documents of the project."""

    def address(row: DocumentRow) -> str:
        return reverse("reports:document", args=[scope.project.key, row.id])

    columns = (
        Column("title", "Document", sort="title", link=address, width=34),
        Column("number", "Number", value=lambda r: r.number_text or "—", sort="number", width=10),
        Column("issue", "Issue", kind="count", sort="issue", width=7),
        Column("state", "State", kind="mark", value=state_mark, sort="state"),
        Column("kind", "Kind", value=lambda r: r.kind_word, sort="kind", priority=2),
        Column("page_count", "Pages", kind="count", sort="pages", priority=2, width=7),
        Column("issued_at", "Issued", kind="time", sort="issued"),
        Column("created_at", "Drafted", kind="time", sort="created", priority=3),
        Column("by", "By", value=lambda r: r.issued_by or r.created_by, priority=3),
        Column("downloads", "Copies taken", kind="count", priority=3, width=8),
    )
    new = reverse("reports:document-new", args=[scope.project.key])
    may = scope.allows("draft-test-sheet")
    empty = Empty(
        "No documents yet.",
        "Draft an air balance sheet of a unit, or a report of an air handler."
        if may
        else "The office has not issued any document yet.",
        new if may else "",
        "New document",
    )
    return Table(
        "Documents",
        columns,
        rows,
        system=scope.system,
        zone=ZoneInfo(scope.project.time_zone),
        listing=listing,
        empty=empty,
    )


def difference_table(scope: Scope, changes: Sequence[Difference]) -> Table:
    """Figures that changed between two issues."""

    def text(change: Difference, value: float | str | None) -> str:
        if change.kind and not isinstance(value, str):
            return units.show(value, change.kind, scope.system, with_unit=value is not None)
        return "—" if value is None else str(value)

    columns = (
        Column("subject", "Unit", width=12),
        Column("what", "Figure", width=40),
        Column("old", "Earlier issue", value=lambda c: text(c, c.old), align="right", width=18),
        Column("new", "Later issue", value=lambda c: text(c, c.new), align="right", width=18),
    )
    return Table(
        "What changed",
        columns,
        changes,
        system=scope.system,
        empty=Empty("Nothing changed.", "Both issues show the same figures."),
    )
