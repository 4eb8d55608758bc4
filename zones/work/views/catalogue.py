"""Pages of the catalogue of steps."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError, Conflict
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from zones.work.forms.catalogue import CatalogueFilterForm, MoveForm, StepForm
from zones.work.operations import catalogue as operations
from zones.work.queries import catalogue as queries
from zones.work.queries.catalogue import StepRow
from zones.work.tables.catalogue import catalogue_table


@require_GET
def catalogue(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the steps of the project."""
    scope = scope_for(request, project_key, Action.SEE)
    form = CatalogueFilterForm(request.GET)
    listing = Listing.read(request.GET, sorts=queries.SORTS, default="place")
    every = queries.all_steps(scope)
    rows = queries.matching(every, form.wanted(), sort=listing.sort)
    listing = listing.counted(len(rows))
    may_edit = scope.allows(Action.PLAN_WORK)
    kind = request.GET.get("format", "")
    shown = rows if wants_file(kind) else rows[listing.offset : listing.offset + listing.size]
    table = catalogue_table(scope, shown, address=_address(scope), listing=listing)
    if wants_file(kind):
        return file_of(table, kind, f"{project_key}-steps")
    context = {"table": table, "filters": form, "has_steps": bool(every), "may_edit": may_edit}
    return render(request, "work/catalogue.html", context)


def _address(scope: Scope) -> Any:
    if not scope.allows(Action.PLAN_WORK):
        return lambda _row: ""
    return lambda row: reverse("work:step", args=[scope.project.key, row.id])


def _back(scope: Scope) -> str:
    return reverse("work:catalogue", args=[scope.project.key])


@require_POST
def starter(request: HttpRequest, project_key: str) -> HttpResponse:
    """Take the usual steps into a project without any."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    try:
        count = operations.load_starter_catalogue(scope)
    except Conflict as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"{count} steps are taken. Change what differs here.")
    return redirect(_back(scope))


@require_http_methods(["GET", "POST"])
def add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add a step."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    form = StepForm(request.POST or None, others=_in_use(scope))
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                operations.add_step(scope, values=form.values)
            except ApplicationError as error:
                form.refuse(error)
            else:
                messages.success(request, f"{form.cleaned_data['name']} is added.")
                return redirect(_back(scope))
    return _form_page(request, scope, form, status=status)


@require_http_methods(["GET", "POST"])
def step(request: HttpRequest, project_key: str, step_id: int) -> HttpResponse:
    """Change a step."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    every = queries.all_steps(scope)
    record = queries.row_in(every, step_id)
    others = [row for row in every if row.id != step_id and not row.is_archived]
    form = StepForm(request.POST or None, others=others, record=record)
    status = 200
    if request.method == "POST":
        status = _change(scope, form, record)
        if status == 302:
            messages.success(request, "The step is saved.")
            return redirect(_back(scope))
    return _form_page(request, scope, form, record=record, status=status)


def _change(scope: Scope, form: StepForm, record: StepRow) -> int:
    """Save the form; gives the status of the answer."""
    if not form.is_valid():
        return 422
    version = form.cleaned_data["version"] or 0
    try:
        operations.change_step(scope, step_id=record.id, version=version, values=form.values)
    except Conflict as error:
        form.refuse(error)
        # Saving again puts what was typed in place of what stands.
        form.data = form.data.copy()  # type: ignore[attr-defined]  # a QueryDict, as it came from a request
        form.data["version"] = str(record.version)  # type: ignore[index]  # the copy can be written
        return 409
    except ApplicationError as error:
        form.refuse(error)
        return 422
    return 302


def _in_use(scope: Scope) -> list[StepRow]:
    return [row for row in queries.all_steps(scope) if not row.is_archived]


def _form_page(
    request: HttpRequest,
    scope: Scope,
    form: StepForm,
    *,
    record: StepRow | None = None,
    status: int,
) -> HttpResponse:
    context = {"form": form, "record": record, "cancel": _back(scope)}
    return render(request, "work/catalogue_step.html", context, status=status)


@require_http_methods(["GET", "POST"])
def move(request: HttpRequest, project_key: str, step_id: int) -> HttpResponse:
    """Put a step at another place."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    steps = _in_use(scope)
    record = queries.row_in(steps, step_id)
    form = MoveForm(request.POST or None, steps=steps, moved=record)
    if request.method == "POST" and form.is_valid():
        operations.move_step(scope, step_id=step_id, to=form.cleaned_data["to"])
        messages.success(request, f"{record.name} is moved.")
        return redirect(_back(scope))
    context = {"form": form, "record": record, "cancel": _back(scope)}
    status = 422 if request.method == "POST" else 200
    return render(request, "work/catalogue_move.html", context, status=status)


@require_http_methods(["GET", "POST"])
def archive(request: HttpRequest, project_key: str, step_id: int) -> HttpResponse:
    """Take a step out of use, after asking once."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    every = queries.all_steps(scope)
    record = queries.row_in(every, step_id)
    if request.method == "POST":
        operations.archive_step(scope, step_id=step_id, at=timezone.now())
        messages.success(request, f"{record.name} is archived.")
        return redirect(_back(scope))
    waiting = "; ".join(queries.waiting_for(every, step_id)) or "none does now"
    context = {
        "title": f"Archive {record.name}?",
        "what": f"Nobody marks it any longer. Steps that stop waiting for it: {waiting}.",
        "undo": "What was said of it stays, and it can be taken into use again.",
        "submit": "Archive",
        "cancel": _back(scope),
    }
    return render(request, "ui/confirm.html", context)


@require_POST
def restore(request: HttpRequest, project_key: str, step_id: int) -> HttpResponse:
    """Take an archived step into use again."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    record = queries.step_row(scope, step_id)
    try:
        operations.restore_step(scope, step_id=step_id)
    except Conflict as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"{record.name} is in use again.")
    return redirect(_back(scope))


urlpatterns: list[URLPattern | URLResolver] = [
    path("work/steps/", catalogue, name="catalogue"),
    path("work/steps/add/", add, name="step-add"),
    path("work/steps/usual/", starter, name="step-starter"),
    path("work/steps/<int:step_id>/", step, name="step"),
    path("work/steps/<int:step_id>/move/", move, name="step-move"),
    path("work/steps/<int:step_id>/archive/", archive, name="step-archive"),
    path("work/steps/<int:step_id>/restore/", restore, name="step-restore"),
]
