"""Planned periods: when each trade is to work on each floor."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError, Conflict
from projectsite.core.scope import Scope
from projectsite.ui.columns import Empty
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Table
from zones.work.forms.planning import PeriodFilterForm, PeriodForm
from zones.work.operations import periods as operations
from zones.work.queries.periods import PERIOD_SORTS, floors_of, list_periods, period_row
from zones.work.tables.planning import periods_table


@require_http_methods(["GET", "POST"])
def periods(request: HttpRequest, project_key: str) -> HttpResponse:
    """List when each trade is to work on each floor; plan another period."""
    action = Action.SEE if request.method == "GET" else Action.PLAN_WORK
    scope = scope_for(request, project_key, action)
    floors = floors_of(scope)
    form = PeriodForm(request.POST or None, floors=floors)
    if request.method == "POST" and form.is_valid() and _add(scope, form):
        messages.success(request, "The period is planned.")
        return redirect("work:periods", project_key)
    filters = PeriodFilterForm(request.GET, floors=floors)
    table = _table(scope, request, filters)
    kind = request.GET.get("format", "")
    if wants_file(kind):
        return file_of(table, kind, f"{project_key}-planned-periods")
    context = {
        "form": form,
        "filters": filters,
        "table": table,
        "may_plan": scope.allows(Action.PLAN_WORK),
    }
    return render(request, "work/periods.html", context)


def _add(scope: Scope, form: PeriodForm) -> bool:
    try:
        operations.add_period(scope, values=form.values)
    except ApplicationError as error:
        form.refuse(error)
        return False
    return True


def _table(scope: Scope, request: HttpRequest, filters: PeriodFilterForm) -> Table:
    listing = Listing.read(request.GET, sorts=PERIOD_SORTS, default="start_date")
    rows = list_periods(scope, sort=listing.sort, **filters.wanted())
    listing = listing.counted(len(rows))
    is_whole = wants_file(request.GET.get("format", ""))
    return periods_table(
        scope,
        rows if is_whole else rows[listing.offset : listing.offset + listing.size],
        today=timezone.now().astimezone(ZoneInfo(scope.project.time_zone)).date(),
        listing=listing,
        empty=Empty(
            "No period is planned yet.",
            "Say when each trade is to work on each floor; progress is held against it.",
        ),
    )


@require_http_methods(["GET", "POST"])
def period(request: HttpRequest, project_key: str, period_id: int) -> HttpResponse:
    """Change a planned period."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    row = period_row(scope, period_id)
    form = PeriodForm(request.POST or None, floors=floors_of(scope), initial=row)
    status = 200
    if request.method == "POST" and form.is_valid():
        status = _change(scope, form, row)
        if status == 302:
            messages.success(request, "The period is saved.")
            return redirect("work:periods", project_key)
    return render(request, "work/period.html", {"form": form, "row": row}, status=status)


def _change(scope: Scope, form: PeriodForm, row: dict[str, Any]) -> int:
    """Save the form; gives the status of the answer."""
    version = form.cleaned_data["version"] or 0
    try:
        operations.change_period(scope, period_id=row["id"], version=version, values=form.values)
    except Conflict as error:
        form.refuse(error)
        # Saving again puts what was typed in place of what stands.
        form.data = {**form.data.dict(), "version": row["version"]}  # type: ignore[attr-defined]  # a QueryDict, as it came from a request
        return 409
    except ApplicationError as error:
        form.refuse(error)
        return 200
    return 302


@require_POST
def remove_period(request: HttpRequest, project_key: str, period_id: int) -> HttpResponse:
    """Take a planned period out of the plan."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    given = request.POST.get("version", "")
    version = int(given) if given.isascii() and given.isdecimal() and len(given) < 10 else 0
    try:
        operations.remove_period(scope, period_id=period_id, version=version)
    except Conflict as error:
        messages.error(request, error.message)
        return redirect("work:period", project_key, period_id)
    messages.success(request, "The period is removed. The change log keeps it.")
    return redirect("work:periods", project_key)


urlpatterns: list[URLPattern | URLResolver] = [
    path("work/periods/", periods, name="periods"),
    path("work/periods/<int:period_id>/", period, name="period"),
    path("work/periods/<int:period_id>/remove/", remove_period, name="remove-period"),
]
