"""The catalogue as a table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from zoneinfo import ZoneInfo

from projectsite.core.scope import Scope
from projectsite.ui.columns import Empty
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Column, Table
from zones.work.domain import words
from zones.work.queries.catalogue import StepRow

_TRADES = dict(words.TRADES)
_PER = dict(words.PER)
_NEEDS = dict(words.NEEDS)
_HEATS = {"none": "no reheat", "hot-water": "hot water", "electric": "electric reheat"}
_FANS = {"none": "no fan", "parallel": "parallel fan", "series": "series fan"}


def applies_when(row: StepRow) -> str:
    """Which units a step applies to, in words."""
    parts = [
        " or ".join(_HEATS[heat] for heat in row.heats),
        " or ".join(_FANS[fan] for fan in row.fans),
        *(_NEEDS[need] for need in row.needs),
    ]
    return ", ".join(filter(None, parts)) or "always"


def catalogue_table(
    scope: Scope,
    rows: Sequence[StepRow],
    *,
    address: Callable[[StepRow], str],
    listing: Listing | None = None,
) -> Table:
    """Steps in their order; each leads to its form for those who may change it."""
    return Table(
        caption="Steps",
        columns=(
            Column("name", "Step", sort="name", link=address, width=40),
            Column("place", "Order", "count", sort="place"),
            Column("trade", "Trade", value=lambda row: _TRADES[row.trade], sort="trade"),
            Column(
                "per", "Done once for each", value=lambda row: _PER[row.per], priority=2, width=20
            ),
            Column(
                "budget_h",
                "Budgeted hours (h)",
                "figure",
                value=lambda row: f"{row.budget_h:g}",
                sort="hours",
            ),
            Column("applies", "Applies when", value=applies_when, priority=2, width=28),
            Column(
                "before",
                "After",
                value=lambda row: "; ".join(row.before_names) or "nothing",
                width=60,
            ),
        ),
        rows=rows,
        system=scope.system,
        zone=ZoneInfo(scope.project.time_zone),
        listing=listing,
        stack=True,
        empty=Empty("No step is archived."),
    )
