"""Pages of the punch list."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError, InvalidInput, NotFound
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.fragments import part_of
from projectsite.ui.lists import Listing
from zones.work.domain.punch import refusal
from zones.work.forms.punch import PunchFileForm, PunchFilterForm, PunchItemForm, SayForm
from zones.work.imports import punch as imports
from zones.work.operations import punch as operations
from zones.work.queries import punch as queries
from zones.work.queries.files import files_of_item
from zones.work.queries.punch import PunchDetail, PunchFilter
from zones.work.queries.subjects import subject, subject_by_tag
from zones.work.tables.punch import punch_table, state_mark

_CARRIED_S = 3600
"""A preview may be taken for an hour; then the file is read again."""
_SALT = "work.punch-file"


@require_GET
def punch(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the punch items."""
    scope = scope_for(request, project_key, Action.SEE)
    form = PunchFilterForm(request.GET, scope=scope)
    wanted = form.wanted()
    listing = Listing.read(request.GET, sorts=queries.PUNCH_SORTS, default="number")
    kind = request.GET.get("format", "")
    if wants_file(kind):
        rows = queries.punch_rows(scope, wanted, sort=listing.sort)
        return file_of(punch_table(scope, rows), kind, f"{project_key}-punch-list")
    listing = listing.counted(queries.count_punch(scope, wanted))
    rows = queries.punch_rows(
        scope, wanted, sort=listing.sort, offset=listing.offset, limit=listing.size
    )
    context = {
        "table": punch_table(scope, rows, listing=listing),
        "filters": form,
        "counts": queries.counts(scope),
        "may_open": scope.allows(Action.OPEN_PUNCH),
    }
    return render(request, "work/punch.html", context)


@require_http_methods(["GET", "POST"])
def punch_add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Open an item about something."""
    scope = scope_for(request, project_key, Action.OPEN_PUNCH)
    form = PunchItemForm(
        request.POST or None, scope=scope, is_new=True, initial=_start(request, scope)
    )
    if request.method == "POST" and form.is_valid():
        try:
            found = _open(scope, form)
        except ApplicationError as error:
            form.refuse(error)
        else:
            messages.success(request, "The item is open.")
            return redirect("work:punch-item", project_key, found)
    context = {"form": form, "title": "Open a punch item"}
    return render(request, "work/punch_form.html", context, status=422 if form.errors else 200)


def _start(request: HttpRequest, scope: Scope) -> dict[str, Any]:
    """What the address says the item is about, and a key that keeps it from being sent twice."""
    start: dict[str, Any] = {"client_key": uuid4(), "trade": request.GET.get("trade", "")}
    kind, number = request.GET.get("kind", ""), request.GET.get("id", "")
    if kind and number.isascii() and number.isdecimal() and len(number) < 19:
        about = subject(scope, kind, int(number))
        start |= {"kind": kind, "subject": about.label}
    return start


def _open(scope: Scope, form: PunchItemForm) -> int:
    data = form.cleaned_data
    try:
        about = subject_by_tag(scope, data["kind"], data["subject"])
    except NotFound as error:
        raise InvalidInput(error.message, fields={"subject": error.message}) from error
    return operations.open_item(
        scope,
        kind=data["kind"],
        subject_id=about.id,
        trade=data["trade"],
        text=data["text"],
        severity=data["severity"],
        due_date=data["due_date"],
        person_id=data.get("person_id"),
        client_key=data["client_key"] or uuid4(),
        at=timezone.now(),
    )


@require_GET
def punch_item(request: HttpRequest, project_key: str, item_id: int) -> HttpResponse:
    """One item: what is to be done, what happened, and what this person may do now."""
    scope = scope_for(request, project_key, Action.SEE)
    detail = queries.punch_detail(scope, item_id)
    return render(request, "work/punch_item.html", _context(scope, detail))


def _context(
    scope: Scope, detail: PunchDetail, said: SayForm | None = None, act: str = ""
) -> dict[str, Any]:
    row, side = detail.row, operations.side_of(scope)
    may: dict[str, Any] = {}
    for name, action in _ACTIONS.items():
        allowed = scope.allows(action) and not refusal(side, row.facts, name)  # type: ignore[arg-type]  # keys are acts
        if allowed and name != "change":
            is_said = said is not None and act == name
            may[name] = said if is_said else SayForm(initial={"version": row.version}, act=name)
        elif allowed:
            may[name] = True
    return {
        "item": row,
        "mark": state_mark(row),
        "story": detail.story,
        "photos": files_of_item(scope, row.id) if row.photos else [],
        "may": may,
        "next": reverse("work:punch-item", args=[scope.project.key, row.id]),
    }


_ACTIONS = {
    "change": Action.OPEN_PUNCH,
    "answer": Action.ANSWER_PUNCH,
    "verify": Action.VERIFY_PUNCH,
    "reopen": Action.VERIFY_PUNCH,
}
_DONE = {
    "answer": "The item is answered; it waits to be verified.",
    "verify": "The item is verified.",
    "reopen": "The item is open again.",
}
_DO: dict[str, Callable[..., int]] = {
    "answer": operations.answer_item,
    "verify": operations.verify_item,
    "reopen": operations.reopen_item,
}


@require_http_methods(["GET", "POST"])
def punch_change(request: HttpRequest, project_key: str, item_id: int) -> HttpResponse:
    """Change an open item."""
    scope = scope_for(request, project_key, Action.OPEN_PUNCH)
    row = queries.punch_row(scope, item_id)
    start = {name: getattr(row, name) for name in ("trade", "text", "severity", "due_date")}
    start |= {"person_id": row.person_id, "version": row.version}
    form = PunchItemForm(request.POST or None, scope=scope, is_new=False, initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            _change(scope, item_id, form)
        except ApplicationError as error:
            form.refuse(error)
        else:
            messages.success(request, "Saved.")
            return redirect("work:punch-item", project_key, item_id)
    context = {"form": form, "title": f"Change punch item {row.number}", "item": row}
    return render(request, "work/punch_form.html", context, status=422 if form.errors else 200)


def _change(scope: Scope, item_id: int, form: PunchItemForm) -> None:
    operations.change_item(
        scope,
        item_id=item_id,
        version=form.cleaned_data["version"] or 0,
        values=form.values(),
        at=timezone.now(),
    )


@require_POST
def punch_say(request: HttpRequest, project_key: str, item_id: int, act: str) -> HttpResponse:
    """Answer, verify or reopen an item."""
    scope = scope_for(request, project_key, _ACTIONS[act])
    form = SayForm(request.POST, act=act)
    if form.is_valid():
        try:
            _DO[act](scope, item_id=item_id, at=timezone.now(), **form.cleaned_data)
        except InvalidInput as error:
            form.add_error("text", error.message)
        except ApplicationError as error:
            if isinstance(error, NotFound):
                raise
            messages.error(request, error.message)
            return redirect("work:punch-item", project_key, item_id)
        else:
            messages.success(request, _DONE[act])
            return redirect("work:punch-item", project_key, item_id)
    detail = queries.punch_detail(scope, item_id)
    return render(request, "work/punch_item.html", _context(scope, detail, form, act), status=422)


@require_http_methods(["GET", "POST"])
def punch_import(request: HttpRequest, project_key: str) -> HttpResponse:
    """Take a file of items in: look at it first, then open the good rows."""
    scope = scope_for(request, project_key, Action.PLAN_WORK)
    if request.POST.get("rows"):
        count = _take(scope, request.POST["rows"])
        messages.success(request, f"{count} {'item is' if count == 1 else 'items are'} open.")
        return redirect("work:punch", project_key)
    form = PunchFileForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"form": form}
    if request.method == "POST" and form.is_valid():
        try:
            context |= _looked_at(scope, form.cleaned_data["file"].read())
        except ApplicationError as error:
            form.add_error("file", error.message)
    status = 422 if form.errors else 200
    return render(request, "work/punch_import.html", context, status=status)


def _looked_at(scope: Scope, content: bytes) -> dict[str, Any]:
    """What a file comes to; its key makes sending the preview twice open its items once."""
    found = imports.read(scope, content)
    carried = signing.dumps([uuid4().hex, found.packed()], salt=_SALT, compress=True)
    return {"found": found, "rows": carried}


def _take(scope: Scope, carried: str) -> int:
    """Open the rows that the preview showed, all or none."""
    try:
        key, rows = signing.loads(carried, salt=_SALT, max_age=_CARRIED_S)
    except signing.BadSignature as error:
        raise InvalidInput("The preview is too old. Read the file again.") from error
    given = [imports.PunchGiven(**row) for row in rows]
    return operations.open_items(scope, given=given, client_key=UUID(key), at=timezone.now())


@require_GET
def unit_panel(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Show the punch items of a unit and its outlets."""
    scope = scope_for(request, project_key, Action.SEE)
    return _panel(request, scope, PunchFilter(unit=unit_id), kind="unit", subject_id=unit_id)


@require_GET
def air_handler_panel(request: HttpRequest, project_key: str, air_handler_id: int) -> HttpResponse:
    """Show the punch items of an air handler and its units."""
    scope = scope_for(request, project_key, Action.SEE)
    wanted = PunchFilter(air_handler=air_handler_id)
    return _panel(request, scope, wanted, kind="air-handler", subject_id=air_handler_id)


def _panel(
    request: HttpRequest, scope: Scope, wanted: PunchFilter, *, kind: str, subject_id: int
) -> HttpResponse:
    rows = queries.punch_rows(scope, replace(wanted, state="unverified"), limit=20)
    start = f"?kind={kind}&id={subject_id}"
    context = {
        "rows": [(row, state_mark(row)) for row in rows],
        "closed": queries.count_punch(scope, replace(wanted, state="verified")),
        "add": reverse("work:punch-add", args=[scope.project.key]) + start,
        "may_open": scope.allows(Action.OPEN_PUNCH),
    }
    return render(request, part_of(request, "work/punch_panel.html"), context)


@require_GET
def project_panel(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show what each trade owes."""
    scope = scope_for(request, project_key, Action.SEE)
    context = {"counts": queries.counts(scope), "by_trade": queries.counts_by_trade(scope)}
    return render(request, part_of(request, "work/punch_project_panel.html"), context)


urlpatterns: list[URLPattern | URLResolver] = [
    path("punch/", punch, name="punch"),
    path("punch/add/", punch_add, name="punch-add"),
    path("punch/import/", punch_import, name="punch-import"),
    path("punch/panel/", project_panel, name="project-punch-panel"),
    path("punch/units/<int:unit_id>/", unit_panel, name="unit-punch-panel"),
    path(
        "punch/air-handlers/<int:air_handler_id>/",
        air_handler_panel,
        name="air-handler-punch-panel",
    ),
    path("punch/<int:item_id>/", punch_item, name="punch-item"),
    path("punch/<int:item_id>/change/", punch_change, name="punch-change"),
    path("punch/<int:item_id>/answer/", punch_say, {"act": "answer"}, name="punch-answer"),
    path("punch/<int:item_id>/verify/", punch_say, {"act": "verify"}, name="punch-verify"),
    path("punch/<int:item_id>/reopen/", punch_say, {"act": "reopen"}, name="punch-reopen"),
]
