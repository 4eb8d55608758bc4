"""Lists of the planning."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from html import escape
from typing import Any

from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from projectsite.core.scope import Scope
from projectsite.ui.columns import Column, Empty, Selection
from projectsite.ui.lists import Listing
from projectsite.ui.marks import Mark, mark
from projectsite.ui.tables import Table
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.board import State
from zones.work.domain.planning import WeekFigures, iso_week
from zones.work.queries.cells import CellFacts
from zones.work.queries.planning import Blocker, PromiseRow
from zones.work.tables.cells import LOOK_AGAIN, SHAPES, TRADES, WORDS, standing

BULK = "bulk"
"""Id of the form that acts on chosen rows."""
ANY_FLOOR, ANY_TRADE = "every floor", "every trade"


def state_of(row: PromiseRow) -> Mark:
    """Mark and word of a promised step; held up is said where it is promised all the same."""
    if row.is_withdrawn and row.state is not State.HELD:
        return Mark("look", LOOK_AGAIN)
    return Mark(SHAPES[row.state], WORDS[row.state])


def day_of(row: PromiseRow) -> str:
    """Day with its name, and that it is gone by."""
    day = row.assignment.due_date
    if day is None:
        return ""
    return f"{day.isoformat()} {day:%a}{', overdue' if row.is_overdue else ''}"


def _due_html(row: PromiseRow) -> SafeString:
    day = row.assignment.due_date
    late = f"<br>{mark('hold', 'overdue')}" if row.is_overdue else ""
    shown = f"{day.isoformat()} {day:%a}" if day else ""
    return mark_safe(f'<span class="due">{shown}</span>{late}')  # noqa: S308  # digits and a day


def week_of(row: PromiseRow) -> str:
    """Week of the day, as in ISO 8601."""
    return iso_week(row.assignment.due_date) if row.assignment.due_date else ""


def _week_html(row: PromiseRow) -> SafeString:
    return mark_safe(f'<span class="due">{week_of(row)}</span>')  # noqa: S308  # digits and a W


def told_blocker(blocker: Blocker) -> str:
    """What is open before, who owes it, how it stands, and by when it is promised."""
    where = f" at {blocker.units} units" if blocker.units > 1 else ""
    note = f" ({blocker.note.rstrip('.')})" if blocker.note else ""
    who = blocker.person or "nobody named"
    day = f"by {blocker.due_date.isoformat()}" if blocker.due_date else "no day"
    later = ", later than this" if blocker.is_later else ""
    return (
        f"{TRADES[blocker.step.trade]}: {blocker.step.name}{where} – "
        f"{WORDS[blocker.state]}{note}; {who}, {day}{later}"
    )


def held_up(row: PromiseRow) -> list[str]:
    """Why a promised step can't be done yet, one sentence for each reason."""
    own = [f"Held: {row.note}"] if row.state is State.HELD else []
    return own + [told_blocker(blocker) for blocker in row.blockers]


def _held_up_html(row: PromiseRow) -> SafeString:
    lines = held_up(row)
    if not lines:
        return mark_safe("") if row.is_finished else mark_safe("nothing")
    inner = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return mark_safe(f'<ul class="reasons">{inner}</ul>')  # noqa: S308  # escaped above


def place_of(row: PromiseRow) -> str:
    """Floor and location of the unit, or the floors of the units."""
    floors = ", ".join(row.floors)
    return " · ".join(filter(None, (f"floor {floors}" if floors else "", row.subject.location)))


def look_ahead_table(
    scope: Scope, rows: Sequence[PromiseRow], *, listing: Listing, may_plan: bool, empty: Empty
) -> Table:
    """Promised steps that are due, with what holds each up."""
    columns = (
        Column(
            "subject",
            "Unit",
            value=lambda row: row.subject.label,
            sort="unit",
            link=lambda row: row.subject.url,
            width=14,
        ),
        Column("due", "Due", value=day_of, sort="due", html=_due_html, width=22),
        Column("week", "Week", value=week_of, html=_week_html, priority=3, width=10),
        Column("step", "Step", value=lambda row: row.step.name, sort="step", width=30),
        Column("trade", "Trade", value=lambda row: TRADES[row.step.trade], sort="trade", width=12),
        Column(
            "person",
            "Person",
            value=lambda row: row.assignment.person or "nobody named",
            sort="person",
        ),
        Column("state", "State", kind="mark", value=state_of, sort="state", width=12),
        Column(
            "blocked",
            "Held up by",
            value=lambda row: "; ".join(held_up(row)),
            html=_held_up_html,
            width=50,
        ),
        Column("place", "Where", value=place_of, priority=3, width=20),
        Column("air_handler", "Air handler", priority=3, width=10),
    )
    selection = Selection(
        "cell",
        lambda row: f"{row.unit_ids[0]}:{row.step.id}",
        lambda row: f"{row.step.name} of {row.subject.label}",
        BULK,
    )
    return Table(
        "Promised steps",
        columns,
        rows,
        scope.system,
        listing=listing,
        selection=selection if may_plan else None,
        empty=empty,
        stack=True,
    )


def weeks_table(weeks: Sequence[WeekFigures]) -> Table:
    """Weeks past: promised, kept, and what could be done."""

    def percent(share: float | None) -> str:
        return "–" if share is None else f"{100 * share:.0f} %"

    return Table(
        "Weeks past",
        (
            Column("label", "Week", width=10),
            Column("monday", "Begins", "date"),
            Column("promised", "Promised", "count"),
            Column("done", "Done as promised", "count"),
            Column(
                "completed",
                "Share completed",
                value=lambda w: percent(w.completed_fraction),
                align="right",
            ),
            Column("planned", "Planned", "count", priority=2),
            Column("ready", "Could be done", "count", priority=2),
            Column(
                "made_ready",
                "Share made ready",
                value=lambda w: percent(w.ready_fraction),
                align="right",
                priority=2,
            ),
        ),
        weeks,
    )


def summary_table(rows: Sequence[PromiseRow]) -> Table:
    """Promised steps by week and trade: how many, and how many can be done."""
    found: dict[tuple[str, str], list[PromiseRow]] = {}
    for row in rows:
        week = "overdue" if row.is_overdue else week_of(row)
        found.setdefault((week, row.step.trade), []).append(row)
    order = list(TRADES)
    keys = sorted(found, key=lambda key: (key[0] != "overdue", key[0], order.index(key[1])))
    lines = [
        {
            "week": week,
            "trade": TRADES[trade],
            "steps": len(found[week, trade]),
            "can": sum(row.can_be_done for row in found[week, trade]),
            "held": sum(not row.can_be_done and not row.is_finished for row in found[week, trade]),
        }
        for week, trade in keys
    ]
    return Table(
        "By week and trade",
        (
            Column("week", "Week", width=10),
            Column("trade", "Trade"),
            Column("steps", "Steps", "count"),
            Column("can", "Can be done", "count"),
            Column("held", "Held up", "count"),
        ),
        lines,
    )


def cells_table(
    scope: Scope, cells: Sequence[tuple[UnitOutline, CellFacts]], *, listing: Listing
) -> Table:
    """Units of which a step can be given to somebody, with what stands."""

    def promised(row: tuple[UnitOutline, CellFacts]) -> str:
        now = row[1].assignment
        if now is None:
            return ""
        day = f"by {now.due_date.isoformat()}" if now.due_date else ""
        return ", ".join(filter(None, (now.person, day)))

    return Table(
        "Units",
        (
            Column(
                "tag",
                "Unit",
                value=lambda row: row[0].tag,
                link=lambda row: reverse("inventory:unit", args=[scope.project.key, row[0].id]),
                sort="tag",
            ),
            Column("floor", "Floor", value=lambda row: row[0].floor, width=8),
            Column("location", "Location", value=lambda row: row[0].location, priority=2),
            Column("state", "State", kind="mark", value=lambda row: standing(row[1])),
            Column(
                "waits",
                "Waits for",
                value=lambda row: "; ".join(
                    f"{TRADES[s.trade]}: {s.name}" for s in row[1].waits_for
                ),
                width=36,
                priority=2,
            ),
            Column("group", "Counts for all of", value=lambda row: row[1].group, priority=3),
            Column("promised", "Promised", value=promised, width=24),
        ),
        cells,
        scope.system,
        listing=listing,
        selection=Selection(
            "cell",
            lambda row: f"{row[0].id}:{row[1].step.id}",
            lambda row: row[0].tag,
            BULK,
        ),
        empty=Empty("No unit here has this step open.", "Choose another floor or step."),
        empty_filtered=Empty(
            "No unit here has this step open.", "Choose another step, floor or air handler."
        ),
    )


def periods_table(
    scope: Scope, rows: Sequence[dict[str, Any]], *, today: date, listing: Listing, empty: Empty
) -> Table:
    """Planned periods by floor and trade."""

    def standing_of(row: dict[str, Any]) -> Mark:
        if row["finish_date"] < today:
            return Mark("done", "over")
        return Mark("look", "runs") if row["start_date"] <= today else Mark("wait", "ahead")

    def address(row: dict[str, Any]) -> str:
        return reverse("work:period", args=[scope.project.key, row["id"]])

    is_office = scope.allows("plan-work")
    return Table(
        "Planned periods",
        (
            Column(
                "floor",
                "Floor",
                value=lambda row: row["floor"] or ANY_FLOOR,
                sort="floor",
                link=address if is_office else None,
            ),
            Column(
                "trade",
                "Trade",
                value=lambda row: TRADES.get(row["trade"], ANY_TRADE),
                sort="trade",
            ),
            Column("start_date", "Begins", "date", sort="start_date"),
            Column("finish_date", "Ends", "date", sort="finish_date"),
            Column(
                "days",
                "Days",
                "count",
                value=lambda row: (row["finish_date"] - row["start_date"]).days + 1,
                priority=2,
            ),
            Column("now", "Now", kind="mark", value=standing_of),
        ),
        rows,
        scope.system,
        listing=listing,
        empty=empty,
    )
