"""My work: what a trade can do now, made for a phone in one hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, URLResolver, path, reverse
from django.views.decorators.http import require_GET

from projectsite.accounts.access import Action, scope_for
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.fragments import wants_fragment
from projectsite.ui.lists import Listing
from zones.work.forms.grid import BoardFilterForm, filter_choices
from zones.work.queries import my_work
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.board_rows import BoardRows, board_rows
from zones.work.queries.cells import CellFacts, Details, details
from zones.work.tables.cells import TRADES, zone_of
from zones.work.tables.my_work import StepLine, line_of, sheet_of

PLACES = 50
"""Units on a page: a phone shows a few at a time."""
_LEFT_OUT = ("trunk", "state", "sort")


@require_GET
def mine(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show what the person's trade can do now, and what the rest waits for."""
    scope = scope_for(request, project_key, Action.SEE)
    whole = whole_board(scope)
    form = _form(request, scope, whole)
    wanted = form.wanted()
    rows = board_rows(whole, wanted, "walking")
    places = my_work.places(whole, rows)
    kind = request.GET.get("format", "")
    if wants_file(kind):
        return _file(scope, whole, places, kind)
    context = _context(request, scope, whole, rows, places)
    is_fragment = wants_fragment(request)
    name = "work/mine.html#list" if is_fragment else "work/mine.html"
    context |= {"filters": form, "is_fragment": is_fragment}
    context["trade"] = TRADES.get(wanted.trade, "All trades")
    return render(request, name, context)


def _file(
    scope: Scope, whole: WholeBoard, places: Sequence[my_work.Place], kind: str
) -> HttpResponse:
    known = details(scope, whole, {place.unit.id for place in places})
    table = sheet_of(my_work.cells_of(whole, known, places), zone_of(scope))
    return file_of(table, kind, f"{scope.project.key}-work-now")


def _form(request: HttpRequest, scope: Scope, whole: WholeBoard) -> BoardFilterForm:
    own = "" if scope.trade == "office" else scope.trade
    form = BoardFilterForm(request.GET, choices=filter_choices(whole), own_trade=own)
    for name in _LEFT_OUT:
        form.fields.pop(name, None)
    return form


def _context(
    request: HttpRequest,
    scope: Scope,
    whole: WholeBoard,
    rows: BoardRows,
    places: Sequence[my_work.Place],
) -> dict[str, Any]:
    listing = Listing.read(request.GET, sorts=(), default="", size=PLACES)
    listing = replace(listing, size=PLACES).counted(len(places))
    page = places[listing.offset : listing.offset + listing.size]
    mine = my_work.assigned_rows(scope, whole)
    units = {place.unit.id for place in page} | {unit.id for _, unit, _ in mine}
    known = details(scope, whole, units)
    trades = {step.trade for step in rows.steps}
    own = next(iter(trades)) if len(trades) == 1 else ""
    return {
        "listing": listing,
        "floors": _floors(scope, whole, known, page),
        "assigned": [
            (found, line_of(scope, found.facts, zone_of(scope)))
            for found in my_work.assigned(whole, known, mine)
        ],
        "blockers": [
            {"found": found, "trade": TRADES[found.step.trade]}
            for found in my_work.blockers(whole, rows, own_trade=own)
        ],
        "has_steps": bool(whole.board.steps),
        "has_own": bool(rows.steps),
        "has_many_trades": not own,
        "next": request.get_full_path(),
    }


def _floors(
    scope: Scope, whole: WholeBoard, known: Details, page: Sequence[my_work.Place]
) -> list[tuple[str, list[tuple[my_work.Place, str, list[StepLine]]]]]:
    """Places by floor, each with its page and its steps as they are shown."""
    zone = zone_of(scope)

    def shown(
        place: my_work.Place, cells: list[CellFacts]
    ) -> tuple[my_work.Place, str, list[StepLine]]:
        address = place.address or reverse(
            "inventory:unit", args=[scope.project.key, place.unit.id]
        )
        return place, address, [line_of(scope, facts, zone) for facts in cells]

    return [
        (heading, [shown(place, cells) for place, cells in group])
        for heading, group in groupby(my_work.cells_of(whole, known, page), key=_heading)
    ]


def _heading(found: tuple[my_work.Place, list[CellFacts]]) -> str:
    place = found[0]
    if place.kind != "unit":
        return "Once for many units"
    return f"Floor {place.unit.floor}" if place.unit.floor else "No floor"


urlpatterns: list[URLPattern | URLResolver] = [path("work/mine/", mine, name="mine")]
