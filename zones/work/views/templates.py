"""Pages of the checkout lists."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError, Conflict
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from zones.inventory import queries as inventory
from zones.work.forms.checkout_lists import ListFilterForm, ListForm, ListPointForm
from zones.work.operations import checkout_lists as operations
from zones.work.queries import checkout_lists as queries
from zones.work.tables.checkout_lists import lists_table, points_table


@require_GET
def checkout_lists(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the checkout lists of the project."""
    scope = scope_for(request, project_key, Action.SEE)
    every = queries.checkout_lists(scope)
    form = ListFilterForm(request.GET)
    rows = form.matching(every)
    listing = Listing.read(request.GET, sorts=queries.LIST_SORTS, default="name")
    if listing.sort_key == "points":
        rows.sort(key=lambda row: len(row.points))
    rows = rows[::-1] if listing.is_descending else rows
    table = lists_table(scope, rows, listing=listing.counted(len(rows)))
    if wants_file(kind := request.GET.get("format", "")):
        return file_of(table, kind, f"{project_key}-checkout-lists")
    context = {"table": table, "filters": form, "has_lists": bool(every)}
    context["may"] = scope.allows(Action.PLAN_WORK)
    return render(request, "work/checkout_lists.html", context)


@require_POST
def starter(request: HttpRequest, project_key: str) -> HttpResponse:
    """Take the usual checkout list into a project without any."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    try:
        made = operations.load_starter(scope)
    except Conflict as error:
        messages.error(request, error.message)
        return redirect("work:checkout-lists", project_key)
    messages.success(request, "The usual checkout list is taken. Change what differs here.")
    return redirect("work:checkout-list", project_key, made)


@require_GET
def checkout_list(request: HttpRequest, project_key: str, list_id: int) -> HttpResponse:
    """Show a checkout list with its points."""
    scope = scope_for(request, project_key, Action.SEE)
    found = queries.checkout_list(scope, list_id)
    table = points_table(scope, found)
    if wants_file(kind := request.GET.get("format", "")):
        return file_of(table, kind, f"{project_key}-checkout-list-{list_id}")
    context = {"found": found, "table": table, "may": scope.allows(Action.PLAN_WORK)}
    return render(request, "work/checkout_list.html", context)


@require_http_methods(["GET", "POST"])
def edit_list(request: HttpRequest, project_key: str, list_id: int | None = None) -> HttpResponse:
    """Add a checkout list, or change its name and the units that it is for."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    record = queries.checkout_list(scope, list_id) if list_id else None
    models = [(model.id, model.name) for model in inventory.controller_models(scope)]
    form = ListForm(request.POST or None, record=record, models=models)
    if request.method == "POST" and form.is_valid():
        try:
            if record is None:
                made = operations.add_list(scope, values=form.values)
            else:
                made, version = record.id, form.cleaned_data["version"]
                operations.change_list(scope, list_id=made, version=version, values=form.values)
        except ApplicationError as error:
            form.refuse(error)
        else:
            return redirect("work:checkout-list", project_key, made)
    title = "Change the checkout list" if record else "New checkout list"
    return _form_page(request, form, title=title, back=list_id)


@require_http_methods(["GET", "POST"])
def edit_point(
    request: HttpRequest, project_key: str, list_id: int, point_id: int | None = None
) -> HttpResponse:
    """Add a point to a checkout list, or change it."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    record = queries.checkout_list(scope, list_id)
    form = ListPointForm(
        request.POST or None, record=record, point_id=point_id, system=scope.system
    )
    if request.method == "POST" and form.is_valid():
        try:
            _save_point(scope, form, list_id, point_id)
        except ApplicationError as error:
            form.refuse(error)
        else:
            return redirect("work:checkout-list", project_key, list_id)
    title = "Change the point" if point_id else "New point"
    return _form_page(request, form, title=title, back=list_id)


def _save_point(scope: Any, form: ListPointForm, list_id: int, point_id: int | None) -> None:
    version, values = form.cleaned_data["version"], form.point_values()
    if point_id is None:
        operations.add_point(scope, list_id=list_id, version=version, values=values)
    else:
        operations.change_point(
            scope, list_id=list_id, point_id=point_id, version=version, values=values
        )


def _form_page(request: HttpRequest, form: Any, *, title: str, back: int | None) -> HttpResponse:
    context = {"form": form, "title": title, "back": back}
    status = 422 if request.method == "POST" else 200
    return render(request, "work/checkout_list_form.html", context, status=status)


@require_POST
def change_points(
    request: HttpRequest, project_key: str, list_id: int, point_id: int, act: str
) -> HttpResponse:
    """Move a point up or down, or remove it."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    record = queries.checkout_list(scope, list_id)
    place = next((point.place for point in record.points if point.id == point_id), 1)
    target = {"list_id": list_id, "point_id": point_id, "version": record.version}
    if act == "remove":
        operations.remove_point(scope, **target)
    else:
        operations.move_point(scope, **target, to=max(place + (-1 if act == "up" else 1), 1))
    return redirect("work:checkout-list", project_key, list_id)


@require_POST
def archive(request: HttpRequest, project_key: str, list_id: int) -> HttpResponse:
    """Take a checkout list out of use, or into use again."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    record = queries.checkout_list(scope, list_id)
    try:
        if record.archived_at is None:
            operations.archive_list(scope, list_id=list_id, at=timezone.now())
        else:
            operations.restore_list(scope, list_id=list_id)
    except Conflict as error:
        messages.error(request, error.message)
    return redirect("work:checkout-list", project_key, list_id)


_AT = "work/checkout-lists/<int:list_id>"
_POINT = f"{_AT}/points/<int:point_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("work/checkout-lists/", checkout_lists, name="checkout-lists"),
    path("work/checkout-lists/add/", edit_list, name="checkout-list-add"),
    path("work/checkout-lists/usual/", starter, name="checkout-list-starter"),
    path(f"{_AT}/", checkout_list, name="checkout-list"),
    path(f"{_AT}/change/", edit_list, name="checkout-list-change"),
    path(f"{_AT}/archive/", archive, name="checkout-list-archive"),
    path(f"{_AT}/points/add/", edit_point, name="checkout-list-point-add"),
    path(f"{_POINT}/", edit_point, name="checkout-list-point"),
    path(f"{_POINT}/up/", change_points, {"act": "up"}, name="checkout-list-point-up"),
    path(f"{_POINT}/down/", change_points, {"act": "down"}, name="checkout-list-point-down"),
    path(f"{_POINT}/remove/", change_points, {"act": "remove"}, name="checkout-list-point-remove"),
]
