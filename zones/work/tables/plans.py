"""Tables of floor plans, and of the units on one."""

from __future__ import annotations

from typing import cast
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.urls import reverse

from projectsite.accounts.access import Action
from projectsite.core.plots_plan import PlanMark, plan_drawing
from projectsite.core.scope import Scope
from projectsite.ui.lists import Listing
from projectsite.ui.marks import Mark, State
from projectsite.ui.tables import Column, Empty, Table
from zones.work.queries.plans import FloorRow, PlanFacts, PlanPoint, PlanSheet

FLOOR_SORTS = ("floor", "units", "placed")
POINT_SORTS = ("tag", "standing", "walk")


def floor_table(scope: Scope, rows: list[FloorRow], listing: Listing) -> Table:
    """Floors with and without a plan."""
    key = scope.project.key
    may_plan = scope.allows(Action.PLAN_WORK)

    def address(row: FloorRow) -> str:
        if row.plan is not None:
            return reverse("work:plan", args=[key, row.plan.id])
        if may_plan and row.floor:
            return f"{reverse('work:plan-add', args=[key])}?{urlencode({'floor': row.floor})}"
        return ""

    return Table(
        "Floors and their plans",
        (
            Column("floor", "Floor", value=lambda r: r.floor or "not said", sort="floor"),
            Column(
                "plan",
                "Plan",
                value=lambda r: _plan_words(r, may_plan=may_plan),
                link=address,
                width=30,
            ),
            Column(
                "standing",
                "Standing",
                "mark",
                lambda r: Mark(cast("State", r.standing.state), r.standing.word),
                width=26,
            ),
            Column("units", "Units", "count", sort="units"),
            Column("placed", "With a position", "count", sort="placed"),
            Column("missing", "To place", "count", lambda r: r.units - r.placed, priority=2),
        ),
        rows,
        scope.system,
        listing=listing,
        empty=Empty(
            "No floors yet.",
            "Floors come with the terminal units: import a schedule, or add a plan first."
            if may_plan
            else "Floors come with the terminal units of the schedule.",
            reverse("work:plan-add", args=[key]) if may_plan else "",
            "Add a floor plan" if may_plan else "",
        ),
    )


def _plan_words(row: FloorRow, *, may_plan: bool) -> str:
    if row.plan is not None:
        return row.plan.name or row.plan.file_name
    return "add a plan" if may_plan and row.floor else ""


def archived_table(scope: Scope, rows: list[PlanFacts]) -> Table:
    """Plans that are no longer in use."""
    return Table(
        "Archived plans",
        (
            Column(
                "name",
                "Plan",
                value=lambda p: p.name or p.file_name,
                link=lambda p: reverse("work:plan", args=[scope.project.key, p.id]),
                width=30,
            ),
            Column("floor", "Floor"),
            Column("archived_at", "Archived", "time"),
        ),
        rows,
        scope.system,
        ZoneInfo(scope.project.time_zone),
    )


def point_table(scope: Scope, sheet: PlanSheet, listing: Listing) -> Table:
    """What the plan shows, for those who read it as a table."""
    walk = {unit_id: number for number, unit_id in enumerate(sheet.walk, start=1)}
    return Table(
        f"Units of floor {sheet.plan.floor}",
        (
            Column("tag", "Tag", link=lambda p: p.url, sort="tag"),
            Column("location", "Location", priority=2),
            Column(
                "standing",
                sheet.view_label,
                "mark",
                lambda p: Mark(cast("State", p.state), p.word) if p.state else None,
                sort="standing",
                width=20,
            ),
            Column(
                "x",
                "from the west",
                "length",
                lambda p: None if p.place_m is None else p.place_m[0],
                group="Position",
            ),
            Column(
                "y",
                "from the south",
                "length",
                lambda p: None if p.place_m is None else p.place_m[1],
                group="Position",
            ),
            Column("walk", "Walk", "count", lambda p: walk.get(p.unit_id), sort="walk"),
            Column("note", "On the plan", value=_where, priority=3),
        ),
        in_order(sheet, listing.sort),
        scope.system,
        listing=listing,
        empty=Empty(
            "No units on this floor.",
            f"No terminal unit in use has the floor “{sheet.plan.floor}”. "
            "Floor names must be written alike on the plan and in the schedule.",
        ),
    )


def _where(point: PlanPoint) -> str:
    if point.place_m is None:
        return "not placed"
    return (
        "beside the picture" if point.is_outside else "" if point.x_px is not None else "no scale"
    )


def in_order(sheet: PlanSheet, sort: str) -> list[PlanPoint]:
    """Units in the order that the list asks for; those without a place come last in a walk."""
    rows = list(sheet.points)
    key = sort.removeprefix("-")
    if key == "standing":
        rows.sort(key=lambda point: (point.state, point.word))
    elif key == "walk":
        at = {unit_id: number for number, unit_id in enumerate(sheet.walk)}
        rows.sort(key=lambda point: at.get(point.unit_id, len(at)))
    if sort.startswith("-"):
        rows.reverse()
    return rows


def sheet_drawing(
    sheet: PlanSheet,
    *,
    image: str,
    is_page: bool = True,
    with_walk: bool = False,
    may_place: bool = False,
) -> str:
    """Draw a plan with its units.

    Parameters
    ----------
    image
        Address of the picture, or a ``data:`` address with the picture itself.
    is_page
        Marks open their units; a document has no links.
    may_place
        Units without a place are in the drawing, out of sight, for the page to place them.
    """
    plan = sheet.plan
    shown = sheet.points if may_place else sheet.placed
    marks = [
        PlanMark(
            point.x_px,
            point.y_px,
            point.tag,
            point.state,
            point.word,
            point.url if is_page else "",
            {"unit": point.unit_id, "version": point.version} if may_place else None,
        )
        for point in shown
        if not point.is_outside or may_place
    ]
    scale = plan.scale
    data: dict[str, str | int | float] = {}
    if is_page and scale is not None:
        data = {
            "m-per-px": scale.m_per_px,
            "origin-x": scale.origin_x_px,
            "origin-y": scale.origin_y_px,
        }
    return plan_drawing(
        marks,
        width_px=plan.width_px,
        height_px=plan.height_px,
        image=image,
        title=f"Plan of floor {plan.floor}: {sheet.view_label}",
        path_px=sheet.walk_px if with_walk else (),
        data=data,
    )
