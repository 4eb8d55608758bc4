"""Pages of terminal units."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core import evidence, findings, panels
from projectsite.core.errors import InvalidInput
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Table
from zones.inventory import operations, queries
from zones.inventory.domain.fields import OUTLET_FIELDS, UNIT_FIELDS
from zones.inventory.filters import UNIT_PARAMETERS, choices, read, unit_filter, unit_filter_bar
from zones.inventory.forms import RecordForm
from zones.inventory.tables import (
    Choice,
    columns_to_read,
    log_table,
    outlet_table,
    shown_groups,
    unit_table,
)
from zones.inventory.views.pages import act_and_return, confirm_page, form_page

FILE_ROWS = 20_000
"""Most rows in a file of a list."""


@require_http_methods(["GET", "POST"])
def unit_list(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the units; a post acts on the chosen ones."""
    action = Action.SEE if request.method == "GET" else Action.EDIT_INVENTORY
    scope = scope_for(request, project_key, action)
    if request.method == "POST":
        return _act_on_many(request, scope)
    asked = read(request.GET, UNIT_PARAMETERS)
    wanted = unit_filter(asked)
    listing = Listing.read(request.GET, sorts=queries.UNIT_SORTS, default="tag")
    kind = request.GET.get("format", "")
    if wants_file(kind):
        return _file(request, scope, wanted, listing, kind)
    offered = queries.options(scope)
    table = _table(request, scope, wanted, listing, offered)
    listing = table.listing or listing
    return render(
        request,
        "inventory/units.html",
        {
            "table": table,
            "bar": unit_filter_bar(listing, asked, offered),
            "air_handlers": choices(offered.air_handlers, "no air handler"),
            "controller_models": choices(offered.controller_models, "no controller model"),
            "revision": _strip(offered),
            "title": "Terminal units",
            "is_wide": _choice(request) == "all",
            "columns_link": listing.link(
                columns=None if _choice(request) == "all" else "all", page=None
            ),
            "is_archived_list": wanted.archived,
        },
    )


def _choice(request: HttpRequest) -> Choice:
    return "all" if request.GET.get("columns") == "all" else "narrow"


def _table(
    request: HttpRequest,
    scope: Scope,
    wanted: queries.UnitFilter,
    listing: Listing,
    offered: queries.Options,
) -> Table:
    choice = _choice(request)

    def fetch(asked: Listing) -> tuple[int, list[dict[str, Any]]]:
        return queries.page_of_units(
            scope,
            wanted,
            sort=asked.sort,
            offset=asked.offset,
            limit=asked.size,
            columns=columns_to_read(choice),
        )

    total, rows = fetch(listing)
    counted = listing.counted(total)
    if counted.page != listing.page:  # behind the last page stands the last page
        total, rows = fetch(counted)
    return unit_table(
        scope,
        rows,
        choice=choice,
        listing=counted,
        latest_revision=max((number for number, _ in offered.revisions), default=0),
        can_edit=scope.allows(Action.EDIT_INVENTORY),
        can_import=scope.allows(Action.IMPORT_SCHEDULE),
    )


def _strip(offered: queries.Options) -> dict[str, str] | None:
    if not offered.revisions:
        return None
    number, label = offered.revisions[-1]
    return {"name": f"{label} (revision {number})" if number else label}


def _file(
    request: HttpRequest, scope: Scope, wanted: queries.UnitFilter, listing: Listing, kind: str
) -> HttpResponse:
    choice = _choice(request)
    rows = queries.list_units(
        scope, wanted, sort=listing.sort, limit=FILE_ROWS, columns=columns_to_read(choice)
    )
    return file_of(
        unit_table(scope, rows, choice=choice), kind, f"{scope.project.key}-terminal-units"
    )


def _act_on_many(request: HttpRequest, scope: Scope) -> HttpResponse:
    ids = [int(text) for text in request.POST.getlist("unit") if _is_number(text)]
    act = request.POST.get("act", "")
    given = request.POST.get(act, "")

    def run() -> int:
        return _act(scope, ids, act, given)

    done = f"Done for the {len(ids)} chosen units."
    return act_and_return(request, run, done=done, to=request.get_full_path())


def _act(scope: Scope, ids: list[int], act: str, given: str) -> int:
    if act == "archive":
        return operations.archive_units(scope, unit_ids=ids, at=timezone.now())
    if act == "restore":
        return operations.restore_units(scope, unit_ids=ids)
    if act == "floor":
        return operations.set_on_units(scope, unit_ids=ids, field=act, value=given)
    if act in {"air_handler", "controller_model"}:
        value = int(given) if _is_number(given) else None
        return operations.set_on_units(scope, unit_ids=ids, field=act, value=value)
    raise InvalidInput("Choose what to do with the chosen units.")


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit()


@require_GET
def unit_page(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """One page about a unit."""
    scope = scope_for(request, project_key, Action.SEE)
    row = queries.unit_row(scope, unit_id)
    outlets = queries.outlets_of(scope, unit_id)
    context = {
        "title": row["tag"],
        "unit": row,
        "groups": shown_groups(scope, row),
        "outlets": outlet_table(scope, [o for o in outlets if o["archived_at"] is None]),
        "archived_outlets": [o for o in outlets if o["archived_at"] is not None],
        "outlet_form": outlet_form(scope),
        "findings": findings.collect(scope, [unit_id]),
        "panels": panels.links("unit", scope, unit_id=unit_id),
        "changed_by": queries.revision_note(scope, unit_id),
        "may_edit": scope.allows(Action.EDIT_INVENTORY),
        "trail": [("Terminal units", reverse("inventory:units", args=[project_key]))],
    }
    return render(request, "inventory/unit.html", context)


def outlet_form(scope: Scope, data: Any = None, record: Any = None) -> RecordForm:
    """Form of an outlet, new or changed."""
    return RecordForm(data, fields=OUTLET_FIELDS, system=scope.system, record=record)


@require_GET
def unit_by_tag(request: HttpRequest, project_key: str, tag: str) -> HttpResponse:
    """Find a unit by the tag on its label."""
    scope = scope_for(request, project_key, Action.SEE)
    return redirect("inventory:unit", project_key, queries.unit_id_of(scope, tag))


@require_GET
def unit_changes(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Change log of a unit: a panel of its page, and a page of its own."""
    scope = scope_for(request, project_key, Action.SEE)
    row = queries.unit_row(scope, unit_id)
    context = {
        "table": log_table(scope, queries.unit_log(scope, unit_id)),
        "title": f"Changes of {row['tag']}",
        "trail": [(row["tag"], reverse("inventory:unit", args=[project_key, unit_id]))],
    }
    is_panel = request.headers.get("HX-Request") == "true"
    return render(request, "inventory/log.html#log" if is_panel else "inventory/log.html", context)


def _links(scope: Scope) -> dict[str, Any]:
    offered = queries.options(scope)
    return {
        "air_handler": offered.air_handlers,
        "controller_model": offered.controller_models,
        "inlet": queries.inlet_choices(),
        "zone": queries.zone_tags(scope),
    }


@require_http_methods(["GET", "POST"])
def unit_add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add a unit."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    form = RecordForm(
        request.POST or None, fields=UNIT_FIELDS, system=scope.system, links=_links(scope)
    )

    def act(values: dict[str, Any], _version: int) -> str:
        unit_id = operations.add_unit(scope, values=values)
        return reverse("inventory:unit", args=[project_key, unit_id])

    back = reverse("inventory:units", args=[project_key])
    return form_page(request, form, act, done="The unit is added.", title="New unit", cancel=back)


@require_http_methods(["GET", "POST"])
def unit_edit(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Change a unit."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    row = queries.unit_row(scope, unit_id)
    form = RecordForm(
        request.POST or None,
        fields=UNIT_FIELDS,
        system=scope.system,
        links=_links(scope),
        record=row,
    )
    here = reverse("inventory:unit", args=[project_key, unit_id])

    def act(values: dict[str, Any], version: int) -> str:
        operations.change_unit(scope, unit_id=unit_id, version=version, values=values)
        return here

    title = f"Change {row['tag']}"
    return form_page(request, form, act, done="The unit is changed.", title=title, cancel=here)


@require_http_methods(["GET", "POST"])
def unit_archive(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Take a unit out of use, after saying what goes with it."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    row = queries.unit_row(scope, unit_id)
    outlets = queries.count_outlets(scope, queries.OutletFilter(unit=unit_id))
    goes = [f"{outlets} outlet{'' if outlets == 1 else 's'}"] if outlets else []
    goes += [proof.text for proof in evidence.collect(scope, [unit_id])]
    return confirm_page(
        request,
        lambda: operations.archive_unit(
            scope, unit_id=unit_id, version=row["version"], at=timezone.now()
        ),
        done=f"{row['tag']} is archived.",
        to=reverse("inventory:unit", args=[project_key, unit_id]),
        title=f"Archive {row['tag']}",
        what=f"{row['tag']} leaves every list. Tests and issued documents stay in the record.",
        goes_with=goes,
        submit="Archive",
        undo="It can be restored from its page; archived units are a filter of the list.",
    )


@require_POST
def unit_restore(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Take an archived unit into use again."""
    scope = scope_for(request, project_key, Action.EDIT_INVENTORY)
    return act_and_return(
        request,
        lambda: operations.restore_unit(scope, unit_id=unit_id),
        done="The unit is in use again.",
        to=reverse("inventory:unit", args=[project_key, unit_id]),
    )
