"""Pages of outlets; they live on the page of their unit."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from zones.inventory import operations, queries
from zones.inventory.views.pages import act_and_return, confirm_page, form_page
from zones.inventory.views.units import outlet_form


@require_http_methods(["GET", "POST"])
def outlet_add(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Add an outlet to a unit."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    unit = queries.unit_row(scope, unit_id)
    back = reverse("inventory:unit", args=[project_key, unit_id])

    def act(values: dict[str, Any], _version: int) -> str:
        operations.add_outlet(scope, unit_id=unit_id, values=values)
        return f"{back}#outlets"

    title, form = f"New outlet of {unit['tag']}", outlet_form(scope, request.POST or None)
    return form_page(request, form, act, done="The outlet is added.", title=title, cancel=back)


@require_http_methods(["GET", "POST"])
def outlet_edit(request: HttpRequest, project_key: str, outlet_id: int) -> HttpResponse:
    """Change an outlet."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    row = queries.outlet_row(scope, outlet_id)
    back = reverse("inventory:unit", args=[project_key, row["unit_id"]])

    def act(values: dict[str, Any], version: int) -> str:
        operations.change_outlet(scope, outlet_id=outlet_id, version=version, values=values)
        return f"{back}#outlets"

    return form_page(
        request,
        outlet_form(scope, request.POST or None, row),
        act,
        done="The outlet is changed.",
        title=f"Change outlet {row['tag']} of {row['unit']}",
        cancel=back,
        archive=reverse("inventory:outlet-archive", args=[project_key, outlet_id]),
    )


@require_http_methods(["GET", "POST"])
def outlet_archive(request: HttpRequest, project_key: str, outlet_id: int) -> HttpResponse:
    """Take an outlet out of use."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    row = queries.outlet_row(scope, outlet_id)
    return confirm_page(
        request,
        lambda: operations.archive_outlet(
            scope, outlet_id=outlet_id, version=row["version"], at=timezone.now()
        ),
        done=f"Outlet {row['tag']} is archived.",
        to=reverse("inventory:unit", args=[project_key, row["unit_id"]]),
        title=f"Archive outlet {row['tag']} of {row['unit']}",
        what="The outlet leaves the unit's sum. Readings already taken at it stay in the record.",
        submit="Archive",
        undo="It can be restored from the list of archived outlets on the unit's page.",
    )


@require_POST
def outlet_restore(request: HttpRequest, project_key: str, outlet_id: int) -> HttpResponse:
    """Take an archived outlet into use again."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    row = queries.outlet_row(scope, outlet_id)
    return act_and_return(
        request,
        lambda: operations.restore_outlet(scope, outlet_id=outlet_id),
        done="The outlet is in use again.",
        to=reverse("inventory:unit", args=[project_key, row["unit_id"]]),
    )
