"""Lists of flow tests: all of them, and those that wait for the office."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from balancing.airflow import tables
from balancing.airflow.forms import TestFilterForm
from balancing.airflow.queries import instruments as instrument_queries
from balancing.airflow.queries import standing
from balancing.airflow.queries import tests as queries
from projectsite.accounts.access import Action, scope_for
from projectsite.core.scope import Scope
from projectsite.ui.columns import Empty
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Table

_NONE_YET = Empty(
    "No flow test yet.",
    "A test is begun at its terminal unit: open a unit of the schedule, or choose one here.",
)
_NONE_WAITS = Empty(
    "No test waits for acceptance.", "Tests appear here when a balancer hands them in."
)


@require_GET
def tests(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the flow tests of a project."""
    scope = scope_for(request, project_key, Action.SEE_TESTS)
    form = _filter_form(request, scope)
    wanted = _wanted(form)
    listing = Listing.read(request.GET, sorts=queries.TEST_SORTS, default="tag")
    return _answer(request, scope, wanted, listing, form=form, name="flow-tests", empty=_NONE_YET)


@require_GET
def acceptance(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the tests that wait for the office, the one that waits longest first."""
    scope = scope_for(request, project_key, Action.ACCEPT_TEST)
    wanted = queries.TestFilter(states=("submitted",))
    listing = Listing.read(request.GET, sorts=queries.TEST_SORTS, default="handed_in")
    return _answer(request, scope, wanted, listing, form=None, name="to-accept", empty=_NONE_WAITS)


def _filter_form(request: HttpRequest, scope: Scope) -> TestFilterForm:
    choices: dict[str, Any] = queries.filter_choices(scope)
    choices["instrument"] = instrument_queries.instrument_choices(scope)
    return TestFilterForm(request.GET, choices=choices)


def _wanted(form: TestFilterForm) -> queries.TestFilter:
    """What the address asks for; a filter that cannot be understood is left out and said so."""
    form.is_valid()
    given = form.cleaned_data
    state = given.get("state")
    return queries.TestFilter(
        text=given.get("text") or "",
        states=(state,) if state else (),
        air_handler=given.get("air_handler"),
        floor=given.get("floor") or None,
        instrument=given.get("instrument"),
        technician=given.get("technician"),
    )


def _answer(
    request: HttpRequest,
    scope: Scope,
    wanted: queries.TestFilter,
    listing: Listing,
    *,
    form: TestFilterForm | None,
    name: str,
    empty: Empty,
) -> HttpResponse:
    kind = request.GET.get("format", "")
    is_file = wants_file(kind)
    listing = listing.counted(queries.count_tests(scope, wanted))
    table = _table(scope, wanted, listing, empty, is_whole=is_file)
    if is_file:
        return file_of(table, kind, f"{scope.project.key}-{name}")
    return render(request, "airflow/tests.html", _context(scope, table, form))


def _table(
    scope: Scope, wanted: queries.TestFilter, listing: Listing, empty: Empty, *, is_whole: bool
) -> Table:
    offset, limit = (0, None) if is_whole else (listing.offset, listing.size)
    return tables.list_of_tests(
        scope,
        standing.with_schedule(
            scope,
            queries.list_tests(scope, wanted, sort=listing.sort, offset=offset, limit=limit),
        ),
        address=lambda row: reverse("airflow:test", args=[scope.project.key, row["id"]]),
        listing=listing,
        empty=empty,
    )


def _context(scope: Scope, table: Table, form: TestFilterForm | None) -> dict[str, Any]:
    return {
        "table": table,
        "filters": form,
        "counts": queries.count_by_state(scope),
        "is_queue": form is None,
        "may_enter": scope.allows(Action.ENTER_READINGS),
        "may_accept": scope.allows(Action.ACCEPT_TEST),
    }
