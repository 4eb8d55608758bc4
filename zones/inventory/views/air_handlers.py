"""Pages of air handlers."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core import panels
from projectsite.ui.files import file_of, wants_file
from zones.inventory import operations, queries
from zones.inventory.domain.fields import AIR_HANDLER_FIELDS
from zones.inventory.filters import AIR_HANDLER_PARAMETERS, read, simple_bar
from zones.inventory.forms import RecordForm
from zones.inventory.tables import air_handler_table, columns_to_read, facts_of, unit_table
from zones.inventory.views.pages import act_and_return, confirm_page, form_page, short_listing


@require_GET
def air_handler_list(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the air handlers with what their units add up to."""
    scope = scope_for(request, project_key, Action.SEE)
    asked = read(request.GET, AIR_HANDLER_PARAMETERS)
    rows = queries.air_handlers(scope, archived=asked.is_on("archived"), text=asked.text("q"))
    listing = short_listing(request, len(rows))
    kind = request.GET.get("format", "")
    if wants_file(kind):
        return file_of(air_handler_table(scope, rows), kind, f"{scope.project.key}-air-handlers")
    context = {
        "title": "Air handlers",
        "table": air_handler_table(scope, rows, listing=listing),
        "bar": simple_bar(listing, asked, hint="tag, name"),
        "add": reverse("inventory:air-handler-add", args=[project_key]),
        "add_label": "Add an air handler",
        "noun": "air handlers",
    }
    return render(request, "inventory/list.html", context)


@require_GET
def air_handler_page(request: HttpRequest, project_key: str, air_handler_id: int) -> HttpResponse:
    """One air handler with its units."""
    scope = scope_for(request, project_key, Action.SEE)
    record = queries.air_handler(scope, air_handler_id)
    wanted = queries.UnitFilter(air_handler=air_handler_id)
    rows = queries.list_units(scope, wanted, columns=columns_to_read("narrow"), limit=1000)
    context = {
        "title": record.tag,
        "subtitle": record.name,
        "record": record,
        "facts": facts_of(scope, AIR_HANDLER_FIELDS, record),
        "table": unit_table(scope, rows),
        "units_link": f"{reverse('inventory:units', args=[project_key])}?air_handler={record.id}",
        "kind": "air-handler",
        "trail": [("Air handlers", reverse("inventory:air-handlers", args=[project_key]))],
        "may_edit": scope.allows(Action.EDIT_INVENTORY),
        "panels": panels.links("air-handler", scope, air_handler_id=air_handler_id),
    }
    return render(request, "inventory/air_handler.html", context)


@require_http_methods(["GET", "POST"])
def air_handler_add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add an air handler."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    form = RecordForm(request.POST or None, fields=AIR_HANDLER_FIELDS, system=scope.system)

    def act(values: dict[str, Any], _version: int) -> str:
        found = operations.add_air_handler(scope, values=values)
        return reverse("inventory:air-handler", args=[project_key, found])

    back = reverse("inventory:air-handlers", args=[project_key])
    done, title = "The air handler is added.", "New air handler"
    return form_page(request, form, act, done=done, title=title, cancel=back)


@require_http_methods(["GET", "POST"])
def air_handler_edit(request: HttpRequest, project_key: str, air_handler_id: int) -> HttpResponse:
    """Change an air handler."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    found = queries.air_handler(scope, air_handler_id)
    record = {field.name: getattr(found, field.name) for field in AIR_HANDLER_FIELDS}
    form = RecordForm(
        request.POST or None,
        fields=AIR_HANDLER_FIELDS,
        system=scope.system,
        record={**record, "version": found.version},
    )
    here = reverse("inventory:air-handler", args=[project_key, air_handler_id])

    def act(values: dict[str, Any], version: int) -> str:
        operations.change_air_handler(
            scope, air_handler_id=air_handler_id, version=version, values=values
        )
        return here

    done, title = "The air handler is changed.", f"Change {found.tag}"
    return form_page(request, form, act, done=done, title=title, cancel=here)


@require_http_methods(["GET", "POST"])
def air_handler_archive(
    request: HttpRequest, project_key: str, air_handler_id: int
) -> HttpResponse:
    """Take an air handler out of use."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    found = queries.air_handler(scope, air_handler_id)
    return confirm_page(
        request,
        lambda: operations.archive_air_handler(
            scope, air_handler_id=air_handler_id, version=found.version, at=timezone.now()
        ),
        done=f"{found.tag} is archived.",
        to=reverse("inventory:air-handler", args=[project_key, air_handler_id]),
        title=f"Archive {found.tag}",
        what="The air handler is no longer offered for units. It stays in issued documents.",
        submit="Archive",
        undo="It can be restored from its page; archived ones are a filter of the list.",
    )


@require_POST
def air_handler_restore(
    request: HttpRequest, project_key: str, air_handler_id: int
) -> HttpResponse:
    """Take an archived air handler into use again."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    return act_and_return(
        request,
        lambda: operations.restore_air_handler(scope, air_handler_id=air_handler_id),
        done="The air handler is in use again.",
        to=reverse("inventory:air-handler", args=[project_key, air_handler_id]),
    )
