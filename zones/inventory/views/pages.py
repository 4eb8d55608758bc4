"""What the inventory's pages share: forms that keep what was typed, confirmations, files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from projectsite.core.errors import Conflict, InvalidInput
from projectsite.ui.lists import Listing
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


def short_listing(request: HttpRequest, count: int, sorts: Sequence[str] = ()) -> Listing:
    """State of a list that stands on one page."""
    listing = Listing.read(request.GET, sorts=sorts, default=sorts[0] if sorts else "", size=1000)
    return listing.counted(count)
