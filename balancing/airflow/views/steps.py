"""Steps of a flow test: begin, hand in, take back, return, accept, discard, take over."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from balancing.airflow.forms import DecisionForm, StartForm
from balancing.airflow.operations import acceptance as operations
from balancing.airflow.operations import tests as test_operations
from balancing.airflow.queries import instruments as instrument_queries
from balancing.airflow.queries import people
from balancing.airflow.views import sheet as sheets
from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError
from projectsite.core.scope import Scope
from zones.inventory.queries import unit_id_of


@require_http_methods(["GET", "POST"])
def start(request: HttpRequest, project_key: str) -> HttpResponse:
    """Begin a flow test of a unit."""
    scope = scope_for(request, project_key, Action.ENTER_READINGS)
    form = _start_form(request, scope)
    if request.method == "POST" and form.is_valid():
        try:
            begun = _begin(scope, form.cleaned_data)
        except ApplicationError as error:
            form.add_error("unit" if error.code == "not-found" else None, error.message)
        else:
            return redirect("airflow:test", project_key, begun.test_id)
    return render(request, "airflow/start.html", {"form": form})


def _begin(scope: Scope, given: dict[str, Any]) -> test_operations.Begun:
    return test_operations.start_test(
        scope,
        unit_id=unit_id_of(scope, given["unit"].strip()),
        client_key=given["client_key"],
        tested_date=given["tested_date"],
        instrument_id=given["instrument"],
        technician_id=given.get("technician"),
        at=timezone.now(),
    )


def _start_form(request: HttpRequest, scope: Scope) -> StartForm:
    return StartForm(
        request.POST or None,
        instruments=instrument_queries.instrument_choices(scope),
        people=people.technicians(scope) if scope.allows(Action.ACCEPT_TEST) else [],
        initial={
            "client_key": uuid4(),
            "unit": request.GET.get("unit"),
            "tested_date": timezone.localdate(),
            "instrument": instrument_queries.last_used(scope),
        },
    )


@require_POST
def submit(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Hand in a test."""
    scope = scope_for(request, project_key, Action.ENTER_READINGS)
    return _step(
        request,
        scope,
        test_id,
        lambda version, _note: operations.submit(
            scope, test_id=test_id, version=version, at=timezone.now()
        ),
        "The test is handed in and waits for the office.",
    )


@require_POST
def withdraw(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Take a handed-in test back."""
    scope = scope_for(request, project_key, Action.ENTER_READINGS)
    return _step(
        request,
        scope,
        test_id,
        lambda version, _note: operations.withdraw(scope, test_id=test_id, version=version),
        "The test is open again.",
    )


@require_POST
def take_over(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Judge a running test by the schedule as it stands now."""
    scope = scope_for(request, project_key, Action.ENTER_READINGS)
    return _step(
        request,
        scope,
        test_id,
        lambda version, _note: test_operations.take_over_schedule(
            scope, test_id=test_id, version=version
        ),
        "The test now stands on the schedule of today.",
    )


@require_http_methods(["GET", "POST"])
def return_test(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Return a test to the balancer, with what is to be done."""
    scope = scope_for(request, project_key, Action.ACCEPT_TEST)
    return _decide(
        request,
        scope,
        test_id,
        lambda version, note: operations.return_to_balancer(
            scope, test_id=test_id, version=version, note=note, at=timezone.now()
        ),
        template="airflow/return.html",
        done="The test is back with the balancer.",
    )


@require_http_methods(["GET", "POST"])
def accept(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Accept a test, with a reason when findings disagree or hold."""
    scope = scope_for(request, project_key, Action.ACCEPT_TEST)
    return _decide(
        request,
        scope,
        test_id,
        lambda version, note: operations.accept(
            scope, test_id=test_id, version=version, note=note, at=timezone.now()
        ),
        template="airflow/accept.html",
        done="The test is accepted.",
    )


@require_http_methods(["GET", "POST"])
def discard(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Discard a running test, after asking."""
    scope = scope_for(request, project_key, Action.ENTER_READINGS)
    sheet = sheets.sheet_of(scope, test_id)
    form = DecisionForm(request.POST or None, initial={"version": sheet.row["version"]})
    if request.method == "POST" and form.is_valid():
        try:
            test_operations.discard_test(
                scope, test_id=test_id, version=form.cleaned_data["version"]
            )
        except ApplicationError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"Flow test {sheet.row['number']} is discarded.")
            return redirect("airflow:tests", project_key)
    return render(request, "airflow/discard.html", {"sheet": sheet, "form": form})


def _step(request: HttpRequest, scope: Scope, test_id: int, act: Any, done: str) -> HttpResponse:
    """Do a step that needs no words, and say so on the test's page."""
    form = DecisionForm(request.POST)
    try:
        act(form.cleaned_data["version"] if form.is_valid() else 0, "")
    except ApplicationError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, done)
    return redirect("airflow:test", scope.project.key, test_id)


def _decide(
    request: HttpRequest, scope: Scope, test_id: int, act: Any, *, template: str, done: str
) -> HttpResponse:
    """Ask for the words of a decision, and take it."""
    sheet = sheets.sheet_of(scope, test_id)
    form = DecisionForm(request.POST or None, initial={"version": sheet.row["version"]})
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            act(form.cleaned_data["version"], form.cleaned_data["note"])
        except ApplicationError as error:
            status = 409 if error.code == "conflict" else 200
            form.add_error("note" if "note" in error.fields else None, error.message)
        else:
            messages.success(request, f"{sheet.row['tag']}: {done}")
            return redirect("airflow:acceptance", scope.project.key)
    address = reverse("airflow:test", args=[scope.project.key, test_id])
    context = {"sheet": sheet, "form": form, "cancel": address}
    return render(request, template, context, status=status)
