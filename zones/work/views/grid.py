"""The grid of units and steps, and the one address that marks steps for every page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path, reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import InvalidInput
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.fragments import wants_fragment
from projectsite.ui.lists import Listing
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.board import State
from zones.work.forms.grid import BoardFilterForm, cells_in, filter_choices, ids_in
from zones.work.operations.marks import MarkOutcome, mark_steps
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.board_rows import SORTS, BoardRows, board_rows, counts
from zones.work.queries.cells import Cell, Details, cell, details, may_mark
from zones.work.tables.cells import state_mark, zone_of
from zones.work.tables.grid import Grid, sheet_of
from zones.work.tables.outcomes import outcome_words

SIZES = (50, 100, 250)
SHOWN_REASONS = 8
"""Reasons for cells left alone that are told in full."""
_LEGEND = (
    State.READY,
    State.WAITING,
    State.IN_HAND,
    State.HELD,
    State.DONE,
)


@dataclass(frozen=True, slots=True)
class _Shown:
    """What an address of the grid comes to."""

    whole: WholeBoard
    form: BoardFilterForm
    rows: BoardRows
    listing: Listing

    @property
    def page(self) -> Sequence[UnitOutline]:
        start = self.listing.offset
        return self.rows.units[start : start + self.listing.size]


def _shown(scope: Scope, query: QueryDict) -> _Shown:
    whole = whole_board(scope)
    own = "" if scope.trade == "office" else scope.trade
    form = BoardFilterForm(query, choices=filter_choices(whole), own_trade=own)
    listing = Listing.read(query, sorts=SORTS, default="tag", size=SIZES[0])
    rows = board_rows(whole, form.wanted(), listing.sort)
    size = min(listing.size, SIZES[-1])
    return _Shown(whole, form, rows, replace(listing, size=size).counted(len(rows.units)))


@require_GET
def grid(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show how the steps of the units stand."""
    scope = scope_for(request, project_key, Action.SEE)
    shown = _shown(scope, request.GET)
    kind = request.GET.get("format", "")
    if wants_file(kind):
        units, steps = shown.rows.units, shown.rows.steps
        table = sheet_of(shown.whole, Details(), units, steps)
        return file_of(table, kind, f"{project_key}-steps")
    return render(request, "work/grid.html", _context(scope, shown))


def _context(
    scope: Scope, shown: _Shown, *, chosen: Iterable[Cell] = (), **more: Any
) -> dict[str, Any]:
    units, steps, whole = shown.page, shown.rows.steps, shown.whole
    drawn = Grid(
        scope,
        whole,
        units,
        steps,
        details(scope, whole, [unit.id for unit in units]),
        zone_of(scope),
        lambda unit: reverse("inventory:unit", args=[scope.project.key, unit.id]),
        frozenset(chosen),
    )
    numbers = counts(whole, shown.rows.units, steps)
    return {
        "grid": drawn,
        "filters": shown.form,
        "listing": shown.listing,
        "sizes": [(size, shown.listing.link(size=size, page=None)) for size in SIZES],
        "legend": [(state_mark(state), numbers[state]) for state in _LEGEND],
        "not_applicable": numbers[State.NOT_APPLICABLE],
        "unit_ids": ",".join(str(unit.id) for unit in units),
        "step_ids": ",".join(str(step.id) for step in steps),
        "query": shown.listing.link().removeprefix("?"),
        "has_steps": bool(whole.board.steps),
        "has_units": bool(whole.outlines),
        "may_plan": scope.allows(Action.PLAN_WORK),
        "may_add": scope.allows(Action.EDIT_INVENTORY),
        **more,
    }


@require_POST
def mark(request: HttpRequest, project_key: str) -> HttpResponse:
    """Say of the ticked steps how they stand; goes back to where it came from."""
    scope = scope_for(request, project_key, Action.MARK_STEPS)
    cells = _ticked(scope, request.POST)
    word, note = request.POST.get("mark", ""), request.POST.get("note", "")
    try:
        outcome = mark_steps(scope, cells=cells, mark=word, note=note, at=timezone.now())
    except InvalidInput as error:
        return _refused(request, scope, cells, error)
    _tell(request, outcome, word)
    back = _back(request)
    if back or not wants_fragment(request):
        return redirect(back or _grid_address(request, scope))
    context = _context(scope, _shown(scope, request.GET), is_fragment=True)
    return render(request, "work/grid.html#rows", context)


def _ticked(scope: Scope, given: QueryDict) -> list[Cell]:
    """Cells that are ticked one by one, by row or by column."""
    cells = cells_in(given.getlist("cell"))
    rows, columns = set(ids_in(given.getlist("row"))), set(ids_in(given.getlist("column")))
    if not (rows or columns):
        return cells
    units = ids_in(given.get("shown_units", "").split(","))
    steps = ids_in(given.get("shown_steps", "").split(","))
    whole = whole_board(scope)
    known = details(scope, whole, units)
    in_use = {step.id: step for step in whole.board.steps}
    cells += [
        (unit_id, step_id)
        for unit_id in units
        for step_id in steps
        if (unit_id in rows or step_id in columns)
        and unit_id in whole.board.row_of
        and step_id in in_use
        and may_mark(scope, cell(whole, known, unit_id, in_use[step_id]))
    ]
    return list(dict.fromkeys(cells))


def _back(request: HttpRequest) -> str:
    """Page of this site that the request wants to go back to, or ""."""
    asked = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(asked, allowed_hosts=None)
    return asked if is_ours and asked.startswith("/") else ""


def _grid_address(request: HttpRequest, scope: Scope) -> str:
    query = request.GET.urlencode()
    address = reverse("work:grid", args=[scope.project.key])
    return f"{address}?{query}" if query else address


def _refused(
    request: HttpRequest, scope: Scope, cells: Iterable[Cell], error: InvalidInput
) -> HttpResponse:
    """Tell what is wrong and keep what was ticked and typed."""
    detail = next(iter(error.fields.values()), error.message)
    back = _back(request)
    if back:
        messages.error(request, detail)
        return redirect(back)
    context = _context(
        scope,
        _shown(scope, request.GET),
        chosen=cells,
        note=request.POST.get("note", ""),
        problem=detail,
        is_fragment=wants_fragment(request),
    )
    name = "work/grid.html#rows" if wants_fragment(request) else "work/grid.html"
    return render(request, name, context, status=422)


def _tell(request: HttpRequest, outcome: MarkOutcome, word: str) -> None:
    """Say what was changed, what was left alone and why, and what was done too early."""
    for level, text in outcome_words(outcome, word, most=SHOWN_REASONS):
        messages.add_message(request, level, text)


urlpatterns: list[URLPattern | URLResolver] = [
    path("work/", grid, name="grid"),
    path("work/mark/", mark, name="mark"),
]
