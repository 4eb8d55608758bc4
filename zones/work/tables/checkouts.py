"""Units with the state of their checkouts, and checkout lists, as tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast
from zoneinfo import ZoneInfo

from django.urls import reverse

from projectsite.core.scope import Scope
from projectsite.ui.columns import Empty
from projectsite.ui.lists import Listing
from projectsite.ui.marks import Mark, State
from projectsite.ui.tables import Column, Table
from zones.work.queries.checkout_lines import CheckoutLine
from zones.work.queries.checkouts import STATES

_SHAPES: Mapping[str, str] = {
    "none": "wait",
    "in-hand": "look",
    "failing": "hold",
    "outdated": "hold",
    "complete": "done",
}
_VERDICTS: Mapping[str, tuple[str, str]] = {
    "": ("wait", "open"),
    "pass": ("done", "passes"),
    "fail": ("hold", "fails"),
}


def state_mark(state: str) -> Mark:
    """Mark and word of a checkout's state."""
    return Mark(cast("State", _SHAPES[state]), STATES[state])


def verdict_mark(verdict: str) -> Mark:
    """Mark and word of a point's verdict."""
    shape, word = _VERDICTS[verdict]
    return Mark(cast("State", shape), word)


def checkouts_table(
    scope: Scope, rows: Sequence[CheckoutLine], *, listing: Listing | None = None
) -> Table:
    """Units in use with their checkouts; each leads to its checkout, or to the unit."""
    key = scope.project.key

    def address(line: CheckoutLine) -> str:
        if line.checkout_id is not None:
            return reverse("work:checkout", args=[key, line.checkout_id])
        return reverse("work:checkout-begin", args=[key, line.unit.id])

    return Table(
        caption="Checkouts",
        columns=(
            Column("tag", "Unit", value=lambda r: r.unit.tag, sort="tag", link=address),
            Column("state", "State", "mark", lambda r: state_mark(r.state), sort="state"),
            Column("passed", "Pass", "count"),
            Column("failed", "Fail", "count"),
            Column("points", "Points", "count"),
            Column("floor", "Floor", value=lambda r: r.unit.floor, sort="floor", width=8),
            Column("location", "Location", value=lambda r: r.unit.location, priority=2, width=24),
            Column(
                "air_handler",
                "Air handler",
                value=lambda r: r.unit.air_handler,
                sort="air-handler",
                priority=2,
                width=12,
            ),
            Column("list_name", "Checkout list", priority=3),
            Column("changed", "Changed since", value=lambda r: ", ".join(r.changed), priority=3),
            Column("begun_at", "Begun", "time", sort="begun", priority=3),
            Column("completed_at", "Completed", "time", sort="completed", priority=2),
        ),
        rows=rows,
        system=scope.system,
        zone=ZoneInfo(scope.project.time_zone),
        listing=listing,
        stack=True,
        empty=Empty("No terminal units yet.", "Import the schedule first; then check units out."),
    )
