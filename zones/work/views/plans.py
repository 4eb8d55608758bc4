"""Pages of the floor plans."""

from __future__ import annotations

import mimetypes
from typing import Any

from django.contrib import messages
from django.core.files.storage import default_storage
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path, reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import Conflict, InvalidInput
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from zones.work.domain.walking import path_length_m
from zones.work.forms.plans import origin_form, plan_form, scale_form, told
from zones.work.operations import plans as operations
from zones.work.queries import plans as queries
from zones.work.tables.plans import (
    FLOOR_SORTS,
    POINT_SORTS,
    archived_table,
    floor_table,
    point_table,
    sheet_drawing,
)


@require_GET
def plan_list(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the floors with their plans."""
    scope = scope_for(request, project_key, Action.SEE)
    rows = queries.floors(scope)
    listing = Listing.read(request.GET, sorts=FLOOR_SORTS, default="floor", size=1000)
    rows = _sorted_floors(rows, listing)
    table = floor_table(scope, rows, listing.counted(len(rows)))
    if wants_file(kind := request.GET.get("format", "")):
        return file_of(table, kind, f"{project_key}-floor-plans")
    archived = queries.list_plans(scope, archived=True)
    context = {
        "title": "Floor plans",
        "table": table,
        "archived": archived_table(scope, archived) if archived else None,
        "may_plan": scope.allows(Action.PLAN_WORK),
    }
    return render(request, "work/plans.html", context)


def _sorted_floors(rows: list[queries.FloorRow], listing: Listing) -> list[queries.FloorRow]:
    if listing.sort_key != "floor":
        rows = sorted(rows, key=lambda row: getattr(row, listing.sort_key))
    return rows[::-1] if listing.is_descending else rows


@require_http_methods(["GET", "POST"])
def plan_add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add the plan of a floor."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    form = plan_form(
        request.POST or None,
        request.FILES or None,
        system=scope.system,
        floor=request.GET.get("floor", ""),
    )
    if request.method == "POST" and form.is_valid():
        try:
            plan_id = operations.add_plan(scope, **form.values(), at=timezone.now())
        except (Conflict, InvalidInput) as error:
            form.refuse(error)
        else:
            messages.success(request, "The plan is added. Now set its scale and origin.")
            return redirect("work:plan", project_key, plan_id)
    context = {
        "title": "New floor plan",
        "form": form,
        "floors": [row.floor for row in queries.floors(scope) if row.floor],
        "trail": [("Floor plans", reverse("work:plans", args=[project_key]))],
    }
    return render(request, "work/plan_add.html", context, status=422 if form.errors else 200)


@require_GET
def plan_page(request: HttpRequest, project_key: str, plan_id: int) -> HttpResponse:
    """Show a plan with its units."""
    scope = scope_for(request, project_key, Action.SEE)
    sheet = queries.plan_sheet(scope, plan_id, request.GET.get("show", ""))
    listing = Listing.read(request.GET, sorts=POINT_SORTS, default="tag", size=1000)
    table = point_table(scope, sheet, listing.counted(len(sheet.points)))
    if wants_file(kind := request.GET.get("format", "")):
        return file_of(table, kind, f"{project_key}-floor-{sheet.plan.id}")
    with_walk = request.GET.get("walk") == "1"
    return render(request, "work/plan.html", _context(scope, sheet, with_walk) | {"table": table})


def _context(scope: Scope, sheet: queries.PlanSheet, with_walk: bool) -> dict[str, Any]:  # noqa: FBT001  # read once from the address
    key, plan = scope.project.key, sheet.plan
    is_open = plan.archived_at is None
    may_place = is_open and plan.scale is not None and scope.allows(Action.PLACE_UNITS)
    image = reverse("work:plan-image", args=[key, plan.id])
    drawn = sheet_drawing(sheet, image=image, with_walk=with_walk, may_place=may_place)
    at = {point.unit_id: point.place_m or (0.0, 0.0) for point in sheet.points}
    return {
        "title": f"Floor {plan.floor}",
        "subtitle": plan.name or plan.file_name,
        "sheet": sheet,
        "plan": plan,
        "drawing": mark_safe(drawn),  # noqa: S308  # escaped where it is drawn
        "with_walk": with_walk,
        "walk_length_m": path_length_m(
            tuple(at[i][0] for i in sheet.walk), tuple(at[i][1] for i in sheet.walk)
        ),
        "outside": [point for point in sheet.points if point.is_outside],
        "may_place": may_place,
        "may_plan": scope.allows(Action.PLAN_WORK),
        "is_open": is_open,
        "scale_form": scale_form(None, plan, scope.system),
        "origin_form": origin_form(None, plan, scope.system),
        "positions_api": reverse("inventory-api:unit-positions", args=[key]),
        "trail": [("Floor plans", reverse("work:plans", args=[key]))],
    }


@require_GET
def plan_image(request: HttpRequest, project_key: str, plan_id: int) -> FileResponse:
    """Give the picture of a plan; it never changes under its address."""
    scope = scope_for(request, project_key, Action.SEE)
    return picture_of(queries.plan_facts(scope, plan_id))


def picture_of(plan: queries.PlanFacts) -> FileResponse:
    """Answer with the picture of a plan."""
    kind = mimetypes.guess_type(plan.image)[0] or "application/octet-stream"
    response = FileResponse(default_storage.open(plan.image), content_type=kind)
    response["Cache-Control"] = "private, max-age=604800, immutable"
    return response


@require_GET
def plan_file(request: HttpRequest, project_key: str, plan_id: int) -> FileResponse:
    """Give the file of a plan as it was received."""
    scope = scope_for(request, project_key, Action.SEE)
    plan = queries.plan_facts(scope, plan_id)
    return FileResponse(
        default_storage.open(plan.file), as_attachment=True, filename=plan.file_name
    )


@require_POST
def plan_scale(request: HttpRequest, project_key: str, plan_id: int) -> HttpResponse:
    """Set the scale by two points and the distance between them."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    form = scale_form(request.POST, queries.plan_facts(scope, plan_id), scope.system)
    if not form.is_valid():
        return _back(request, project_key, plan_id, problem=told(form))
    first, second = form.points()
    try:
        operations.set_scale(
            scope,
            plan_id=plan_id,
            version=form.cleaned_data["version"],
            first_px=first,
            second_px=second,
            distance=form.cleaned_data["distance_m"],
        )
    except (Conflict, InvalidInput) as error:
        return _back(request, project_key, plan_id, problem=error.message)
    return _back(request, project_key, plan_id, done="The scale is set.")


@require_POST
def plan_origin(request: HttpRequest, project_key: str, plan_id: int) -> HttpResponse:
    """Say where the origin of the positions lies."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    form = origin_form(request.POST, queries.plan_facts(scope, plan_id), scope.system)
    if not form.is_valid():
        return _back(request, project_key, plan_id, problem=told(form))
    given = form.cleaned_data
    at = (given["origin_x_px"], given["origin_y_px"])
    try:
        operations.set_origin(scope, plan_id=plan_id, version=given["version"], origin_px=at)
    except (Conflict, InvalidInput) as error:
        return _back(request, project_key, plan_id, problem=error.message)
    return _back(request, project_key, plan_id, done="The origin is set.")


@require_POST
def plan_archive(request: HttpRequest, project_key: str, plan_id: int) -> HttpResponse:
    """Take a plan out of use."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    operations.archive_plan(scope, plan_id=plan_id, at=timezone.now())
    done = "The plan is archived; the units keep their positions."
    return _back(request, project_key, plan_id, done=done)


@require_POST
def plan_restore(request: HttpRequest, project_key: str, plan_id: int) -> HttpResponse:
    """Take an archived plan into use again."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    try:
        operations.restore_plan(scope, plan_id=plan_id)
    except Conflict as error:
        return _back(request, project_key, plan_id, problem=error.message)
    return _back(request, project_key, plan_id, done="The plan is in use again.")


def _back(
    request: HttpRequest, project_key: str, plan_id: int, *, done: str = "", problem: str = ""
) -> HttpResponse:
    """Tell what came of it on the plan's page."""
    if problem:
        messages.error(request, problem)
    else:
        messages.success(request, done)
    return redirect("work:plan", project_key, plan_id)


urlpatterns: list[URLPattern | URLResolver] = [
    path("plans/", plan_list, name="plans"),
    path("plans/add/", plan_add, name="plan-add"),
    path("plans/<int:plan_id>/", plan_page, name="plan"),
    path("plans/<int:plan_id>/image/", plan_image, name="plan-image"),
    path("plans/<int:plan_id>/file/", plan_file, name="plan-file"),
    path("plans/<int:plan_id>/scale/", plan_scale, name="plan-scale"),
    path("plans/<int:plan_id>/origin/", plan_origin, name="plan-origin"),
    path("plans/<int:plan_id>/archive/", plan_archive, name="plan-archive"),
    path("plans/<int:plan_id>/restore/", plan_restore, name="plan-restore"),
]
