"""Instruments: list, add, change, archive, certificate."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from balancing.airflow import tables
from balancing.airflow.forms import InstrumentFilterForm, InstrumentForm
from balancing.airflow.operations import instruments as operations
from balancing.airflow.queries import instruments as queries
from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError, Conflict
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Table

_TYPES = {".pdf": "application/pdf", ".png": "image/png", ".jpg": "image/jpeg"}


@require_GET
def instruments(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the instruments of a project with the state of their calibration."""
    scope = scope_for(request, project_key, Action.SEE_TESTS)
    form = InstrumentFilterForm(request.GET)
    wanted = form.cleaned_data if form.is_valid() else {}
    listing = Listing.read(request.GET, sorts=queries.INSTRUMENT_SORTS, default="name")
    listing = listing.counted(queries.count_instruments(scope, **wanted))
    kind = request.GET.get("format", "")
    table = _table(scope, wanted, listing, is_whole=wants_file(kind))
    if wants_file(kind):
        return file_of(table, kind, f"{project_key}-instruments")
    may_edit = scope.allows(Action.EDIT_INSTRUMENTS)
    context = {"table": table, "filters": form, "may_edit": may_edit}
    return render(request, "airflow/instruments.html", context)


def _table(scope: Scope, wanted: dict[str, Any], listing: Listing, *, is_whole: bool) -> Table:
    offset, limit = (0, None) if is_whole else (listing.offset, listing.size)
    return tables.instruments_table(
        scope,
        queries.list_instruments(scope, sort=listing.sort, offset=offset, limit=limit, **wanted),
        today=timezone.localdate(),
        address=lambda row: reverse("airflow:instrument", args=[scope.project.key, row["id"]]),
        listing=listing,
    )


@require_http_methods(["GET", "POST"])
def add_instrument(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add an instrument."""
    scope = scope_for(request, project_key, Action.EDIT_INSTRUMENTS)
    form = InstrumentForm(request.POST or None, request.FILES or None, system=scope.system)
    if request.method == "POST" and form.is_valid():
        try:
            instrument_id = operations.add_instrument(
                scope, values=form.values, certificate=_content(form)
            )
        except ApplicationError as error:
            form.refuse(error)
        else:
            messages.success(request, f"{form.cleaned_data['name']} is added.")
            return redirect("airflow:instrument", project_key, instrument_id)
    return render(request, "airflow/instrument.html", {"form": form, "may_edit": True})


@require_http_methods(["GET", "POST"])
def instrument(request: HttpRequest, project_key: str, instrument_id: int) -> HttpResponse:
    """Show an instrument; change it."""
    action = Action.SEE_TESTS if request.method == "GET" else Action.EDIT_INSTRUMENTS
    scope = scope_for(request, project_key, action)
    row = queries.instrument_row(scope, instrument_id)
    form = InstrumentForm(
        request.POST or None, request.FILES or None, system=scope.system, initial=_initial(row)
    )
    status = 200
    if request.method == "POST" and form.is_valid():
        status = _change(scope, form, row)
        if status == 302:
            messages.success(request, "The instrument is saved.")
            return redirect("airflow:instrument", project_key, instrument_id)
    return render(request, "airflow/instrument.html", _context(scope, form, row), status=status)


def _change(scope: Scope, form: InstrumentForm, row: dict[str, Any]) -> int:
    """Save the form; gives the status of the answer."""
    version = form.cleaned_data["version"] or 0
    try:
        operations.change_instrument(
            scope,
            instrument_id=row["id"],
            version=version,
            values=form.values,
            certificate=_content(form),
        )
    except Conflict as error:
        form.refuse(error)
        # Saving again puts what was typed in place of what stands.
        form.data = {**form.data.dict(), "version": row["version"]}  # type: ignore[attr-defined]  # a QueryDict, as it came from a request
        return 409
    except ApplicationError as error:
        form.refuse(error)
        return 200
    return 302


def _content(form: InstrumentForm) -> bytes | None:
    file = form.cleaned_data["certificate"]
    return None if not file else file.read()


def _initial(row: dict[str, Any]) -> dict[str, Any]:
    part = "floor_pressure" if row["kind"] == "manometer" else "floor_flow"
    return {**row, part: row["accuracy_floor_si"], "certificate": None}


def _context(scope: Scope, form: InstrumentForm, row: dict[str, Any]) -> dict[str, Any]:
    return {
        "form": form,
        "row": row,
        "kind_word": tables.KIND_WORDS[row["kind"]],
        "calibration": tables.calibration_mark(row, timezone.localdate()),
        "may_edit": scope.allows(Action.EDIT_INSTRUMENTS),
    }


@require_GET
def certificate(request: HttpRequest, project_key: str, instrument_id: int) -> FileResponse:
    """Send the certificate of an instrument as a download."""
    scope = scope_for(request, project_key, Action.SEE_TESTS)
    file = queries.certificate_file(scope, instrument_id)
    ending = Path(str(file.name)).suffix
    name = f"certificate-{instrument_id}{ending}"
    response = FileResponse(file.open("rb"), as_attachment=True, filename=name)
    response["Content-Type"] = _TYPES.get(ending, "application/octet-stream")
    return response


@require_POST
def archive(request: HttpRequest, project_key: str, instrument_id: int) -> HttpResponse:
    """Take an instrument out of use, or into use again."""
    scope = scope_for(request, project_key, Action.EDIT_INSTRUMENTS)
    version = int(request.POST.get("version") or 0)
    if request.POST.get("restore"):
        operations.restore_instrument(scope, instrument_id=instrument_id, version=version)
        messages.success(request, "The instrument is in use again.")
    else:
        operations.archive_instrument(
            scope, instrument_id=instrument_id, version=version, at=timezone.now()
        )
        messages.success(request, "The instrument is archived. Past tests keep it.")
    return redirect("airflow:instrument", project_key, instrument_id)
