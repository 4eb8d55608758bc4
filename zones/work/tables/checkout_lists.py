"""Checkout lists and their points as tables."""

from __future__ import annotations

from collections.abc import Sequence

from django.urls import reverse

from projectsite.accounts.access import Action
from projectsite.core.scope import Scope
from projectsite.ui.columns import Empty
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Column, Table
from zones.work.domain import words
from zones.work.domain.checkout import asked
from zones.work.domain.checkout_lists import FANS, HEATS
from zones.work.queries.checkout_lists import CheckoutList, ListPoint
from zones.work.queries.checkouts import shower

_WORDS = {**{f"heat-{k}": v for k, v in HEATS}, **{f"fan-{k}": v for k, v in FANS}}
_NEEDS = dict(words.NEEDS)
_SOURCES = dict(words.POINT_SOURCES)


def meant_for(row: CheckoutList | ListPoint) -> str:
    """Which units a list or a point is for, in words."""
    parts = [
        " or ".join(_WORDS[f"heat-{heat}"] for heat in row.heats),
        " or ".join(_WORDS[f"fan-{fan}"] for fan in row.fans),
    ]
    if isinstance(row, ListPoint):
        parts += [_NEEDS[need] for need in row.needs]
    else:
        parts.insert(0, row.controller_model)
    return ", ".join(filter(None, parts)) or "every unit"


def lists_table(scope: Scope, rows: Sequence[CheckoutList], *, listing: Listing) -> Table:
    """Checkout lists; each leads to its points."""

    def address(row: CheckoutList) -> str:
        return reverse("work:checkout-list", args=[scope.project.key, row.id])

    return Table(
        caption="Checkout lists",
        columns=(
            Column("name", "Checkout list", sort="name", link=address, width=40),
            Column("meant_for", "For", value=meant_for, width=40),
            Column("points", "Points", "count", lambda row: len(row.points), sort="points"),
        ),
        rows=rows,
        system=scope.system,
        listing=listing,
        stack=True,
        empty=Empty("No checkout list is archived."),
    )


def points_table(scope: Scope, found: CheckoutList) -> Table:
    """Points of a list in their order; each leads to its form for those who may change it."""
    trades, show = dict(words.TRADES), shower(scope)

    def address(row: ListPoint) -> str:
        if not scope.allows(Action.PLAN_WORK) or found.archived_at is not None:
            return ""
        args = [scope.project.key, found.id, row.id]
        return reverse("work:checkout-list-point", args=args)

    def expected(row: ListPoint) -> str:
        return _SOURCES[row.facts.source] if row.facts.source else asked(row.facts, show)

    return Table(
        caption=f"Points of {found.name}",
        columns=(
            Column("place", "Order", "count"),
            Column("name", "Point", link=address, width=44),
            Column("expected", "Expected", value=expected, width=28),
            Column("owes", "Who mends it", value=lambda row: trades[row.owes]),
            Column("is_required", "Needed", "yes"),
            Column("meant_for", "For", value=meant_for, priority=2, width=28),
        ),
        rows=found.points,
        system=scope.system,
        stack=True,
        empty=Empty("No points yet.", "Add what is looked at."),
    )
