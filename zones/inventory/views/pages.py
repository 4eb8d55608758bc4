"""What the inventory's pages share: forms that keep what was typed, confirmations, files."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from projectsite.core.errors import Conflict, InvalidInput
from projectsite.core.scope import Scope
from projectsite.core.workbook import write_csv, write_xlsx
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Table
from zones.inventory.forms import RecordForm

Trail = Sequence[tuple[str, str]]
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def form_page(
    request: HttpRequest,
    form: RecordForm,
    act: Callable[[dict[str, Any], int], str],
    *,
    done: str,
    template: str = "inventory/form.html",
    **context: Any,
) -> HttpResponse:
    """Show a form, or pass what it holds to ``act`` and go to the address that it gives.

    A refusal stands beside its fields; after a conflict the form holds what was typed over
    what the record says now.
    """
    status = 200
    if request.method == "POST":
        if form.is_valid():
            try:
                address = act(form.values(), form.cleaned_data.get("version") or 0)
            except Conflict as error:
                form.renew(error)
            except InvalidInput as error:
                form.refuse(error)
            else:
                messages.success(request, done)
                return redirect(address)
        status = 422
    return render(request, template, {"form": form, **context}, status=status)


def confirm_page(
    request: HttpRequest, act: Callable[[], object], *, done: str, to: str, **context: Any
) -> HttpResponse:
    """Ask once; on yes act and go on. A refusal is told on the page that one came from."""
    if request.method != "POST":
        return render(request, "ui/confirm.html", {"cancel": to, **context})
    try:
        act()
    except (Conflict, InvalidInput) as error:
        messages.error(request, error.message)
    else:
        messages.success(request, done)
    return redirect(to)


def act_and_return(
    request: HttpRequest, act: Callable[[], object], *, done: str, to: str
) -> HttpResponse:
    """Do what a button asks, tell what came of it, and go on."""
    try:
        act()
    except (Conflict, InvalidInput) as error:
        messages.error(request, error.message)
    else:
        messages.success(request, done)
    return redirect(to)


def file_of(table: Table, scope: Scope, kind: str, name: str) -> HttpResponse:
    """Give a table as a workbook or as text, exactly as it is shown."""
    target = io.BytesIO()
    if kind == "csv":
        write_csv(target, table.sheet())
    else:
        write_xlsx(target, [table.sheet()])
    response = HttpResponse(
        target.getvalue(), content_type="text/csv; charset=utf-8" if kind == "csv" else _XLSX
    )
    response["Content-Disposition"] = f'attachment; filename="{scope.project.key}-{name}.{kind}"'
    return response


def wants_file(query: Mapping[str, str]) -> str:
    """Tell which file the address asks for: "xlsx", "csv" or ""."""
    asked = query.get("format", "")
    return asked if asked in {"xlsx", "csv"} else ""


def short_listing(request: HttpRequest, count: int, sorts: Sequence[str] = ()) -> Listing:
    """State of a list that stands on one page."""
    listing = Listing.read(request.GET, sorts=sorts, default=sorts[0] if sorts else "", size=1000)
    return listing.counted(count)
