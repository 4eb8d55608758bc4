"""Look-ahead, weeks past, who is to do what, planned periods."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path, reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_GET, require_http_methods

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError
from projectsite.core.plots_work import ShareBar, week_shares
from projectsite.core.scope import Scope
from projectsite.ui.columns import Empty
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Table
from zones.inventory.domain.types import UnitOutline
from zones.work.domain import words
from zones.work.domain.planning import WeekFigures
from zones.work.forms.planning import (
    CellsForm,
    LookAheadForm,
    PromiseForm,
    planned_cells,
)
from zones.work.operations.assignments import AssignOutcome, assign, end_assignments, take
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.board_rows import BoardFilter, board_rows, floors
from zones.work.queries.cells import CellFacts, cell, details
from zones.work.queries.people import people_who_work
from zones.work.queries.planning import (
    FINISHED,
    SORTS,
    PromiseRow,
    in_order,
    last_day,
    narrowed,
    promises,
)
from zones.work.queries.weeks import past_weeks
from zones.work.tables import planning as tables
from zones.work.views import periods

WEEKS_PAST = 8
"""Whole weeks of which the share done as promised is shown."""
_MOST_TOLD = 5
"""Cells left out that a message names; the others are counted."""


def _today(scope: Scope, at: datetime) -> date:
    return at.astimezone(ZoneInfo(scope.project.time_zone)).date()


@require_GET
def look_ahead(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show what is promised for the next weeks, what holds it up, and how past weeks went."""
    scope = scope_for(request, project_key, Action.SEE)
    now = timezone.now()
    whole = whole_board(scope)
    rows = promises(scope, _today(scope, now), whole)
    form = LookAheadForm(request.GET, choices=_choices(whole, rows))
    shown = narrowed(rows, form.wanted(_today(scope, now)))
    listing = Listing.read(request.GET, sorts=SORTS, default="due", size=50)
    listing, ordered = listing.counted(len(shown)), in_order(shown, listing.sort)
    kind = request.GET.get("format", "")
    if wants_file(kind):
        return file_of(_ahead_table(scope, ordered, listing), kind, f"{project_key}-look-ahead")
    page = ordered[listing.offset : listing.offset + listing.size]
    context = _ahead_context(scope, now, form, shown) | {
        "table": _ahead_table(scope, page, listing),
        **_weeks(past_weeks(scope, now, WEEKS_PAST, whole)),
    }
    return render(request, "work/look_ahead.html", context)


def _ahead_table(scope: Scope, rows: Sequence[PromiseRow], listing: Listing) -> Table:
    may_plan = scope.allows(Action.PLAN_WORK)
    empty = Empty(
        "Nothing is promised for these weeks.",
        "Choose a step and its units, and say who does it and by when."
        if may_plan
        else "The office plans who does which step by when; you can take steps on the grid.",
        reverse("work:assign", args=[scope.project.key]) if may_plan else "",
        "Plan work" if may_plan else "",
    )
    return tables.look_ahead_table(scope, rows, listing=listing, may_plan=may_plan, empty=empty)


def _ahead_context(
    scope: Scope, now: datetime, form: LookAheadForm, shown: Sequence[PromiseRow]
) -> dict[str, Any]:
    may_plan = scope.allows(Action.PLAN_WORK)
    return {
        "filters": form,
        "may_plan": may_plan,
        "until": last_day(_today(scope, now), form.weeks_ahead()),
        "summary": tables.summary_table(shown) if shown else None,
        "late": sum(row.is_overdue for row in shown),
        "can": sum(row.can_be_done for row in shown),
        "held": sum(not row.can_be_done and not row.is_finished for row in shown),
        "promise": PromiseForm(people=_people(scope)) if may_plan else None,
    }


def _weeks(weeks: Sequence[WeekFigures]) -> dict[str, Any]:
    """Picture and table of the weeks past."""
    bars = [ShareBar(w.label, w.completed_fraction, f"{w.done} of {w.promised}") for w in weeks]
    return {
        "weeks": tables.weeks_table(weeks),
        "picture": _picture(bars),
        "has_weeks": any(week.promised for week in weeks),
    }


def _picture(bars: Sequence[ShareBar]) -> SafeString:
    return mark_safe(week_shares(bars, title="Share of planned work completed, by week"))  # noqa: S308  # escaped there


def _choices(whole: WholeBoard, rows: Sequence[PromiseRow]) -> dict[str, list[tuple[Any, str]]]:
    people = {
        row.assignment.person_id: row.assignment.person
        for row in rows
        if row.assignment.person_id is not None
    }
    return {
        "floor": [(floor, floor) for floor in floors(whole)],
        "air_handler": _air_handlers(whole),
        "person": sorted(people.items(), key=lambda pair: pair[1].casefold()),
    }


def _air_handlers(whole: WholeBoard) -> list[tuple[Any, str]]:
    return [(g.id, g.label) for g in whole.groupings["air-handler"].groups.values()]


def _people(scope: Scope) -> list[tuple[int, str]]:
    return [(m.user_id, m.full_name) for m in people_who_work(scope)]


@require_http_methods(["GET", "POST"])
def assign_work(request: HttpRequest, project_key: str) -> HttpResponse:
    """Choose a step and units and say who is to do them by when; others take steps themselves."""
    if request.method == "POST":
        scope = scope_for(request, project_key, Action.MARK_STEPS)
        _tell(request, *_promise(scope, request))
        return redirect(_next(request, scope))
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    whole = whole_board(scope)
    form = CellsForm(request.GET, choices=_cell_choices(whole))
    rows = _cells(scope, whole, form)
    table = _cells_table(scope, request, rows)
    kind = request.GET.get("format", "")
    if wants_file(kind):
        return file_of(table, kind, f"{project_key}-work-to-plan")
    context = {
        "filters": form,
        "table": table,
        "is_chosen": bool(form.cleaned_data.get("step")),
        "promise": PromiseForm(people=_people(scope)),
    }
    return render(request, "work/assign.html", context)


def _cells_table(
    scope: Scope, request: HttpRequest, rows: Sequence[tuple[UnitOutline, CellFacts]]
) -> Table:
    listing = Listing.read(request.GET, sorts=("tag",), default="tag", size=250)
    listing = listing.counted(len(rows))
    ordered = rows[::-1] if listing.is_descending else rows
    is_whole = wants_file(request.GET.get("format", ""))
    page = ordered if is_whole else ordered[listing.offset : listing.offset + listing.size]
    return tables.cells_table(scope, page, listing=listing)


def _cell_choices(whole: WholeBoard) -> dict[str, list[tuple[Any, str]]]:
    trades = dict(words.TRADES)
    steps = [(s.id, f"{trades[s.trade]}: {s.name}") for s in whole.board.steps]
    return {
        "floor": [(floor, floor) for floor in floors(whole)],
        "air_handler": _air_handlers(whole),
        "step": steps,
    }


def _cells(scope: Scope, whole: WholeBoard, form: CellsForm) -> list[tuple[UnitOutline, CellFacts]]:
    """Units of the choice with how the step stands; none until a step is chosen."""
    form.is_valid()
    given = form.cleaned_data
    step = next((s for s in whole.board.steps if s.id == given.get("step")), None)
    if step is None:
        return []
    wanted = BoardFilter(floor=given.get("floor") or "", air_handler=given.get("air_handler"))
    units = board_rows(whole, wanted).units
    known = details(scope, whole, [unit.id for unit in units])
    rows = [(unit, cell(whole, known, unit.id, step)) for unit in units]
    which = given.get("open") or ""
    if which == "ready":
        return [row for row in rows if row[1].key == "ready"]
    return rows if which == "all" else [row for row in rows if row[1].state not in FINISHED]


def _promise(scope: Scope, request: HttpRequest) -> tuple[str, AssignOutcome | str]:
    """Do what was sent; gives what it is called, and the outcome or why nothing was done."""
    cells, at = planned_cells(request.POST.getlist("cell")), timezone.now()
    try:
        if request.POST.get("act") == "end":
            return "ended", end_assignments(scope, cells=cells, at=at)
        may_plan = scope.allows(Action.PLAN_WORK)
        people = _people(scope) if may_plan else [(scope.person.id, scope.person.name)]
        form = PromiseForm(request.POST, people=people)
        if not form.is_valid():
            return "planned", form.problems()
        if not may_plan:
            return "taken", take(scope, cells=cells, due_date=form.due_date_given, at=at)
        done = assign(
            scope,
            cells=cells,
            person_id=form.person_id,
            due_date=form.due_date_given,
            at=at,
            keep=form.kept,
        )
    except ApplicationError as error:
        return "", error.message
    return "planned", done


def _tell(request: HttpRequest, word: str, outcome: AssignOutcome | str) -> None:
    if isinstance(outcome, str):
        messages.error(request, outcome)
        return
    noun = "step" if outcome.changed == 1 else "steps"
    same = f" {outcome.unchanged} said the same already." if outcome.unchanged else ""
    messages.success(request, f"{outcome.changed} {noun} {word}.{same}")
    left = [skipped.text for skipped in outcome.skipped]
    if left:
        more = f" And {len(left) - _MOST_TOLD} more." if len(left) > _MOST_TOLD else ""
        messages.warning(request, " ".join(left[:_MOST_TOLD]) + more)


def _next(request: HttpRequest, scope: Scope) -> str:
    """Page of this site that the form came from; any other address leads to the look-ahead."""
    to = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(to, allowed_hosts=None)
    return to if is_ours else reverse("work:look-ahead", args=[scope.project.key])


urlpatterns: list[URLPattern | URLResolver] = [
    path("work/look-ahead/", look_ahead, name="look-ahead"),
    path("work/assign/", assign_work, name="assign"),
    *periods.urlpatterns,
]
