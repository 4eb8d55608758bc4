"""One flow test: its page, its conditions, its readings, its K."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from balancing.airflow.forms import ConditionsForm, KForm, PointForm, as_typed
from balancing.airflow.operations import k_factor as k_operations
from balancing.airflow.operations import points as point_operations
from balancing.airflow.operations import tests as operations
from balancing.airflow.queries import instruments as instrument_queries
from balancing.airflow.queries import people
from balancing.airflow.queries import tests as queries
from balancing.airflow.views import sheet as sheets
from balancing.airflow.views.sheet import Sheet
from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError, Conflict, InvalidInput
from projectsite.core.scope import Scope
from projectsite.ui.fragments import wants_fragment

_CONDITION_KINDS = {
    "k_as_found_m3_s_sqrt_pa": "k_factor",
    "zero_reading_pa": "pressure",
    "air_degc": "temperature",
    "humidity_fraction": "fraction",
    "elevation_m": "elevation",
}
_POINT_KINDS = {
    "reported_m3_s": "airflow",
    "sensed_pressure_pa": "pressure",
    "damper_fraction": "fraction",
    "measured_m3_s": "airflow",
}


@require_GET
def test(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Show one flow test, with the form of the chosen point."""
    scope = scope_for(request, project_key, Action.SEE_TESTS)
    point = request.GET.get("point", "")
    sheet = sheets.sheet_of(scope, test_id, point_id=int(point) if point.isdecimal() else None)
    return _page(request, scope, sheet)


def _page(
    request: HttpRequest, scope: Scope, sheet: Sheet, *, status: int = 200, **forms: Any
) -> HttpResponse:
    context = sheets.page_context(scope, sheet)
    if sheet.may["write"]:
        context["conditions"] = forms.get("conditions") or _conditions_form(scope, sheet)
        context["k_form"] = forms.get("k_form") or _k_form(scope, sheet)
        if sheet.chosen is not None:
            context["point_form"] = forms.get("point_form") or _point_form(scope, sheet)
    return render(request, "airflow/test.html", context, status=status)


def _conditions_form(scope: Scope, sheet: Sheet, data: Any = None) -> ConditionsForm:
    row = sheet.row
    typed = {
        name: as_typed(row["entered"].get(name), row[name], kind, scope.system)
        for name, kind in _CONDITION_KINDS.items()
    }
    return ConditionsForm(
        data,
        system=scope.system,
        instruments=instrument_queries.instrument_choices(scope, with_id=row["instrument_id"]),
        people=people.technicians(scope) if sheet.may["choose_person"] else [],
        prefix="c",
        initial={
            **row,
            **typed,
            "instrument": row["instrument_id"],
            "technician": row["technician_id"],
        },
    )


def _k_form(scope: Scope, sheet: Sheet, data: Any = None) -> KForm:
    row = sheet.row
    shown = as_typed(
        row["entered"].get("k_as_left_m3_s_sqrt_pa"),
        row["k_as_left_m3_s_sqrt_pa"],
        "k_factor",
        scope.system,
    )
    initial = {"version": row["version"], "k": shown, "reason": row["k_reason"]}
    return KForm(data, system=scope.system, prefix="k", initial=initial)


def _point_form(scope: Scope, sheet: Sheet, data: Any = None) -> PointForm:
    assert sheet.chosen is not None
    point_id = sheet.chosen.point.id
    stored = next(
        row for row in queries.point_rows(scope, sheet.row["id"]) if row["id"] == point_id
    )
    initial = dict(stored)
    for name, kind in _POINT_KINDS.items():
        initial[name] = as_typed(stored["entered"].get(name), stored[name], kind, scope.system)
    for reading in queries.reading_rows(scope, test_id=sheet.row["id"]):
        if reading["point_id"] == point_id:
            name = PointForm.reading_name(reading["outlet_id"], reading["repeat"])
            initial[name] = as_typed(
                reading["flow_as_entered"], reading["flow_m3_s"], "airflow", scope.system
            )
    return PointForm(
        data, system=scope.system, outlets=sheet.row["design"].get("outlets", ()), initial=initial
    )


@require_POST
def conditions(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Save the conditions of a test."""
    scope = scope_for(request, project_key, Action.ENTER_READINGS)
    sheet = sheets.sheet_of(scope, test_id)
    form = _conditions_form(scope, sheet, request.POST)
    if form.is_valid():
        try:
            version = form.cleaned_data["version"]
            operations.save_conditions(
                scope, test_id=test_id, version=version, conditions=form.conditions
            )
        except ApplicationError as error:
            return _refused(request, scope, sheet, error, conditions=form)
        messages.success(request, "The conditions are saved.")
        return _back(request, project_key, test_id)
    return _page(request, scope, sheet, conditions=form)


def _refused(
    request: HttpRequest, scope: Scope, sheet: Sheet, error: ApplicationError, **forms: Any
) -> HttpResponse:
    """Show the page with what was typed and why it was not taken."""
    (form,) = forms.values()
    form.refuse(error)
    if not isinstance(error, Conflict):
        return _page(request, scope, sheet, **forms)
    # Saving again then puts what was typed in place of what stands.
    form.data = {**form.data.dict(), form.add_prefix("version"): sheet.row["version"]}
    return _page(request, scope, sheet, status=409, **forms)


def _back(request: HttpRequest, project_key: str, test_id: int) -> HttpResponseRedirect:
    address = reverse("airflow:test", args=[project_key, test_id])
    point = request.POST.get("point", "")
    return HttpResponseRedirect(f"{address}?point={point}" if point.isdecimal() else address)


@require_POST
def point(request: HttpRequest, project_key: str, test_id: int, point_id: int) -> HttpResponse:
    """Save the readings of a point; an htmx request gets what they come to."""
    scope = scope_for(request, project_key, Action.ENTER_READINGS)
    sheet = sheets.sheet_of(scope, test_id, point_id=point_id)
    form = _point_form(scope, sheet, request.POST)
    status = _save_point(scope, form, point_id) if form.is_valid() else 422
    if wants_fragment(request):
        return _fragment(request, scope, test_id, form, status)
    if status != 200:
        return _point_again(request, scope, sheet, form, status)
    return _onward(request, project_key, sheet)


def _save_point(scope: Scope, form: PointForm, point_id: int) -> int:
    """Save the form; gives the status of the answer."""
    try:
        point_operations.save_point(
            scope,
            point_id=point_id,
            version=form.cleaned_data["version"],
            values=form.values,
            readings=form.readings,
            at=timezone.now(),
        )
    except Conflict as error:
        form.refuse(error)
        if error.fields:
            form.add_error(None, error.message)
        return 409
    except InvalidInput as error:
        form.refuse(error)
        return 422
    return 200


def _stored_version(scope: Scope, test_id: int, point_id: int) -> int:
    rows = queries.point_rows(scope, test_id)
    return next(int(row["version"]) for row in rows if row["id"] == point_id)


def _point_again(
    request: HttpRequest, scope: Scope, sheet: Sheet, form: PointForm, status: int
) -> HttpResponse:
    """Show the page with what was typed; saving again takes the place of what stands."""
    assert sheet.chosen is not None
    if status == 409:
        stored = _stored_version(scope, sheet.row["id"], sheet.chosen.point.id)
        form.data = {**request.POST.dict(), "version": stored}
    return _page(request, scope, sheet, status=status, point_form=form)


def _fragment(
    request: HttpRequest, scope: Scope, test_id: int, form: PointForm, status: int
) -> HttpResponse:
    """Answer with the computed part, the strip of points and what the form must know."""
    assert request.resolver_match is not None
    point_id = request.resolver_match.kwargs["point_id"]
    sheet = sheets.sheet_of(scope, test_id, point_id=point_id)
    context = {
        **sheets.results_context(scope, sheet),
        "point_form": form,
        "version": _stored_version(scope, test_id, point_id),
        "is_saved": status == 200,
        "is_fragment": True,
        "k_form": _k_form(scope, sheet),
    }
    return render(request, "airflow/point_saved.html", context, status=status)


def _onward(request: HttpRequest, project_key: str, sheet: Sheet) -> HttpResponseRedirect:
    """Go to the next point, or stay."""
    address = reverse("airflow:test", args=[project_key, sheet.row["id"]])
    assert sheet.chosen is not None
    stays = "stay" in request.POST or sheet.next_point_id is None
    point_id = sheet.chosen.point.id if stays else sheet.next_point_id
    return HttpResponseRedirect(f"{address}?point={point_id}#entry")


@require_POST
def k_factor(request: HttpRequest, project_key: str, test_id: int) -> HttpResponse:
    """Settle K as left: by a method, kept, by hand, or out again."""
    scope = scope_for(request, project_key, Action.ENTER_READINGS)
    sheet = sheets.sheet_of(scope, test_id)
    form = _k_form(scope, sheet, request.POST)
    if not form.is_valid():
        return _page(request, scope, sheet, k_form=form)
    try:
        _settle(scope, test_id, form, request.POST.get("method", ""))
    except ApplicationError as error:
        return _refused(request, scope, sheet, error, k_form=form)
    messages.success(request, "K as left is saved. Enter it in the controller, then read again.")
    return redirect(f"{reverse('airflow:test', args=[project_key, test_id])}#k")


def _settle(scope: Scope, test_id: int, form: KForm, method: str) -> None:
    given = form.cleaned_data
    version, reason = given["version"], given["reason"]
    if method == "by-hand":
        if given["k"] is None:
            raise InvalidInput("Enter K first.", fields={"k": "Enter K first."})
        k_operations.set_k(scope, test_id=test_id, version=version, k=given["k"], reason=reason)
    elif method == "none":
        k_operations.clear_k(scope, test_id=test_id, version=version)
    else:
        k_operations.take_recommended_k(
            scope, test_id=test_id, version=version, method=method, reason=reason
        )
