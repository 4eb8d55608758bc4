"""Table of photos and files, for those who take the list along."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from projectsite.core.scope import Scope
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Column, Table
from zones.work.queries.files import FileRow


def file_table(scope: Scope, rows: list[FileRow], listing: Listing) -> Table:
    """What is known of each file."""
    return Table(
        "Photos and files",
        (
            Column("subject", "About", value=lambda r: r.subject.label, width=24),
            Column("floor", "Floor", value=lambda r: r.subject.floor),
            Column("location", "Location", value=lambda r: r.subject.location, width=24),
            Column("caption", "Caption", width=40),
            Column("kind", "Kind"),
            Column("file_name", "File name", width=30),
            Column("size", "Size (bytes)", "count"),
            Column("taken_at", "Taken", "time"),
            # Of the place on the globe, not of the plan.
            Column("latitude", "Latitude (°)", value=lambda r: _degrees(r.latitude_deg)),
            Column("longitude", "Longitude (°)", value=lambda r: _degrees(r.longitude_deg)),
            Column("punch_number", "Punch item", "count"),
            Column("step", "Step"),
            Column("checkout_point", "Checkout point"),
            Column("added_by", "Added by"),
            Column("added_at", "Added", "time"),
            Column("sha256", "SHA-256", width=66),
        ),
        rows,
        scope.system,
        ZoneInfo(scope.project.time_zone),
        listing=listing,
    )


def _degrees(value: float | None) -> str:
    """Five digits are about a metre on the ground."""
    return "" if value is None else f"{value:.5f}"
