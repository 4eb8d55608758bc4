"""Columns of the punch list."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from django.urls import reverse

from projectsite.core.scope import Scope
from projectsite.ui.lists import Listing
from projectsite.ui.marks import Mark
from projectsite.ui.tables import Column, Empty, Table
from zones.work.queries.punch import PunchRow
from zones.work.queries.subjects import NOUNS

STATE_MARKS = {
    "open": Mark("wait", "open"),
    "answered": Mark("look", "answered"),
    "verified": Mark("done", "verified"),
}


def state_mark(row: PunchRow) -> Mark:
    """How an item stands: one that holds turnover is a diamond until it is verified."""
    if row.severity == "holds" and row.state == "open":
        return Mark("hold", "open, holds turnover")
    return STATE_MARKS[row.state]


def punch_table(scope: Scope, rows: Sequence[PunchRow], *, listing: Listing | None = None) -> Table:
    """Punch items of a project."""

    def address(row: PunchRow) -> str:
        return reverse("work:punch-item", args=[scope.project.key, row.id])

    columns = (
        Column("number", "Number", kind="count", sort="number", link=address, width=8),
        Column("state", "State", kind="mark", value=state_mark, sort="state", width=14),
        Column("about", "About", value=lambda r: NOUNS[r.kind], priority=3, width=14),
        Column("subject", "Tag", link=lambda r: r.subject_url, width=16),
        Column("floor", "Floor", sort="floor", priority=2, width=7),
        Column("location", "Location", priority=3, width=20),
        Column("trade", "Owed by", value=lambda r: r.trade_word, sort="trade", width=12),
        Column("text", "What is to be done", width=50),
        Column("severity", "Weight", value=lambda r: r.severity_word, sort="severity", priority=2),
        Column("due_date", "Due", kind="date", sort="due", width=11),
        Column("person", "Person", priority=3, width=18),
        Column("last_text", "Last said", priority=3, width=30),
        Column("photos", "Photos", kind="count", priority=3, width=7),
        Column("opened_by", "Opened by", priority=3, width=18),
        Column("opened_at", "Opened", kind="time", sort="opened", priority=3),
    )
    return Table(
        "Punch list",
        columns,
        rows,
        scope.system,
        ZoneInfo(scope.project.time_zone),
        listing=listing,
        stack=True,
        row_class=lambda row: "off" if row.severity == "holds" and row.state == "open" else "",
        empty=Empty(
            "No punch item yet.",
            "Whoever sees something that is not right opens an item here, or on the page of a "
            "unit or an air handler.",
            reverse("work:punch-add", args=[scope.project.key]),
            "Open an item",
        ),
    )
