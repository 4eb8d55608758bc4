"""Pages of zones."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from zones.inventory import operations, queries
from zones.inventory.domain.fields import ZONE_FIELDS
from zones.inventory.filters import ZONE_PARAMETERS, read, simple_bar
from zones.inventory.forms import RecordForm
from zones.inventory.tables import columns_to_read, facts_of, unit_table, zone_table
from zones.inventory.views.pages import act_and_return, confirm_page, form_page


@require_GET
def zone_list(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the zones with the units that serve them."""
    scope = scope_for(request, project_key, Action.SEE)
    asked = read(request.GET, ZONE_PARAMETERS)
    archived, text = asked.is_on("archived"), asked.text("q")
    floor = asked.text("floor") or None
    listing = Listing.read(request.GET, sorts=queries.ZONE_SORTS, default="tag")
    kind = request.GET.get("format", "")
    if not wants_file(kind):
        count = queries.count_zones(scope, archived=archived, text=text, floor=floor)
        listing = listing.counted(count)
    rows = queries.zones(
        scope,
        archived=archived,
        text=text,
        floor=floor,
        sort=listing.sort,
        offset=0 if kind else listing.offset,
        limit=None if kind else listing.size,
    )
    if kind:
        return file_of(zone_table(scope, rows), kind, f"{scope.project.key}-zones")
    context = {
        "title": "Zones",
        "table": zone_table(scope, rows, listing=listing),
        "bar": simple_bar(listing, asked, hint="tag, name", floors=queries.options(scope).floors),
        "add": reverse("inventory:zone-add", args=[project_key]),
        "add_label": "Add a zone",
        "noun": "zones",
    }
    return render(request, "inventory/list.html", context)


@require_GET
def zone_page(request: HttpRequest, project_key: str, zone_id: int) -> HttpResponse:
    """One zone with its units."""
    scope = scope_for(request, project_key, Action.SEE)
    record = queries.zone(scope, zone_id)
    wanted = queries.UnitFilter(zone=zone_id)
    rows = queries.list_units(scope, wanted, columns=columns_to_read("narrow"), limit=1000)
    context = {
        "title": record.tag,
        "subtitle": record.name,
        "record": record,
        "facts": facts_of(scope, ZONE_FIELDS, record),
        "table": unit_table(scope, rows),
        "units_link": f"{reverse('inventory:units', args=[project_key])}?zone={record.id}",
        "kind": "zone",
        "trail": [("Zones", reverse("inventory:zones", args=[project_key]))],
        "may_edit": scope.allows(Action.EDIT_INVENTORY),
    }
    return render(request, "inventory/zone.html", context)


@require_http_methods(["GET", "POST"])
def zone_add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add a zone."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    form = RecordForm(request.POST or None, fields=ZONE_FIELDS, system=scope.system)

    def act(values: dict[str, Any], _version: int) -> str:
        found = operations.add_zone(scope, values=values)
        return reverse("inventory:zone", args=[project_key, found])

    back = reverse("inventory:zones", args=[project_key])
    done, title = "The zone is added.", "New zone"
    return form_page(request, form, act, done=done, title=title, cancel=back)


@require_http_methods(["GET", "POST"])
def zone_edit(request: HttpRequest, project_key: str, zone_id: int) -> HttpResponse:
    """Change a zone."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    found = queries.zone(scope, zone_id)
    record = {field.name: getattr(found, field.name) for field in ZONE_FIELDS}
    form = RecordForm(
        request.POST or None,
        fields=ZONE_FIELDS,
        system=scope.system,
        record={**record, "version": found.version},
    )
    here = reverse("inventory:zone", args=[project_key, zone_id])

    def act(values: dict[str, Any], version: int) -> str:
        operations.change_zone(scope, zone_id=zone_id, version=version, values=values)
        return here

    done, title = "The zone is changed.", f"Change {found.tag}"
    return form_page(request, form, act, done=done, title=title, cancel=here)


@require_http_methods(["GET", "POST"])
def zone_archive(request: HttpRequest, project_key: str, zone_id: int) -> HttpResponse:
    """Take a zone out of use."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    found = queries.zone(scope, zone_id)
    return confirm_page(
        request,
        lambda: operations.archive_zone(
            scope, zone_id=zone_id, version=found.version, at=timezone.now()
        ),
        done=f"{found.tag} is archived.",
        to=reverse("inventory:zone", args=[project_key, zone_id]),
        title=f"Archive {found.tag}",
        what="The zone is no longer offered for units. It stays in issued documents.",
        submit="Archive",
        undo="It can be restored from its page; archived ones are a filter of the list.",
    )


@require_POST
def zone_restore(request: HttpRequest, project_key: str, zone_id: int) -> HttpResponse:
    """Take an archived zone into use again."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    return act_and_return(
        request,
        lambda: operations.restore_zone(scope, zone_id=zone_id),
        done="The zone is in use again.",
        to=reverse("inventory:zone", args=[project_key, zone_id]),
    )
