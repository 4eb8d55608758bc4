"""Pages of the checkouts."""

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
from projectsite.ui.fragments import wants_fragment
from projectsite.ui.lists import Listing
from zones.work.domain import words
from zones.work.forms.checkouts import BeginForm, CheckoutFilterForm, HeadForm, PointForm
from zones.work.operations import checkouts as operations
from zones.work.queries import checkout_lines
from zones.work.queries import checkouts as queries
from zones.work.queries.checkout_lists import list_choices
from zones.work.queries.checkouts import CheckoutSheet, PointRow
from zones.work.queries.subjects import subject
from zones.work.tables.checkouts import checkouts_table, state_mark, verdict_mark

_TRADES = dict(words.TRADES)


@require_GET
def checkouts(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the units with their checkouts."""
    scope = scope_for(request, project_key, Action.SEE)
    every = checkout_lines.lines(scope)
    form = CheckoutFilterForm(request.GET, every=every)
    listing = Listing.read(request.GET, sorts=checkout_lines.SORTS, default="walk")
    rows = checkout_lines.matching(every, form.wanted(), sort=listing.sort)
    listing = listing.counted(len(rows))
    kind = request.GET.get("format", "")
    shown = rows if wants_file(kind) else rows[listing.offset : listing.offset + listing.size]
    table = checkouts_table(scope, shown, listing=listing)
    if wants_file(kind):
        return file_of(table, kind, f"{project_key}-checkouts")
    return render(request, "work/checkouts.html", {"table": table, "filters": form})


@require_GET
def checkout(request: HttpRequest, project_key: str, checkout_id: int) -> HttpResponse:
    """Show a checkout with a row for each point."""
    scope = scope_for(request, project_key, Action.SEE)
    return _page(request, scope, queries.sheet(scope, checkout_id))


def _page(request: HttpRequest, scope: Scope, sheet: CheckoutSheet, **more: Any) -> HttpResponse:
    head = {"reference_instrument": sheet.reference_instrument, "note": sheet.note}
    context = {
        "title": f"Checkout of {sheet.unit_tag}",
        "rows": [_row(scope, sheet, point) for point in sheet.points],
        "head": HeadForm(initial={**head, "version": sheet.version}),
        "trail": [("Checkouts", reverse("work:checkouts", args=[scope.project.key]))],
        "next": _next(scope, sheet),
        **_summary(scope, sheet),
        **more,
    }
    return render(request, "work/checkout.html", context)


def _next(scope: Scope, sheet: CheckoutSheet) -> Any:
    may_copy = scope.allows(Action.CHECK_OUT) and sheet.superseded_at is None
    return checkout_lines.next_unit(scope, sheet.id) if may_copy else None


def _summary(scope: Scope, sheet: CheckoutSheet) -> dict[str, Any]:
    return {
        "sheet": sheet,
        "state": state_mark(sheet.state),
        "passed": sum(point.verdict == "pass" for point in sheet.points),
        "may": scope.allows(Action.CHECK_OUT) and sheet.superseded_at is None,
    }


def _row(
    scope: Scope, sheet: CheckoutSheet, point: PointRow, form: PointForm | None = None
) -> dict[str, Any]:
    return {
        "point": point,
        "form": form or PointForm(point=point, system=scope.system),
        "asked": point.asked(scope),
        "told": point.told(scope),
        "mark": verdict_mark(point.verdict),
        "owes": _TRADES[point.owes],
        "may": scope.allows(Action.CHECK_OUT) and sheet.superseded_at is None,
    }


@require_POST
def observe(request: HttpRequest, project_key: str, point_id: int) -> HttpResponse:
    """Save what was seen of a point."""
    scope = scope_for(request, project_key, Action.CHECK_OUT)
    sheet = queries.sheet_of_point(scope, point_id)
    point = next(point for point in sheet.points if point.id == point_id)
    form = PointForm(request.POST, point=point, system=scope.system)
    status = _save(scope, form)
    if status == 200:
        sheet = queries.sheet(scope, sheet.id)
        point = next(point for point in sheet.points if point.id == point_id)
    if not request.htmx and status == 200:  # type: ignore[attr-defined]  # set by the middleware
        address = reverse("work:checkout", args=[project_key, sheet.id])
        return redirect(f"{address}#point-{point_id}")
    row = _row(scope, sheet, point, form if status != 200 else None)
    return _answer(request, scope, sheet, row, status)


def _save(scope: Scope, form: PointForm) -> int:
    """Save the form; gives the status of the answer."""
    if not form.is_valid():
        return 422
    try:
        operations.observe(
            scope,
            point_id=form.point.id,
            version=form.cleaned_data["version"],
            seen=form.seen(),
            at=timezone.now(),
        )
    except ApplicationError as error:
        form.refuse(error)
        return 409 if isinstance(error, Conflict) else 422
    return 200


def _answer(
    request: HttpRequest, scope: Scope, sheet: CheckoutSheet, row: dict[str, Any], status: int
) -> HttpResponse:
    """Give the row alone to htmx, and the page with the row's errors to everyone else."""
    if request.htmx:  # type: ignore[attr-defined]  # set by the middleware
        context = {"row": row, "is_fragment": True, "is_saved": status == 200}
        context |= _summary(scope, sheet)
        return render(request, "work/checkout_point.html", context, status=status)
    rows = [
        row if point.id == row["point"].id else _row(scope, sheet, point) for point in sheet.points
    ]
    answer = _page(request, scope, sheet, rows=rows)
    answer.status_code = status
    return answer


@require_http_methods(["GET", "POST"])
def begin(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Begin the checkout of a unit, or begin it again."""
    scope = scope_for(request, project_key, Action.CHECK_OUT)
    unit = subject(scope, "unit", unit_id)
    form = BeginForm(request.POST or None, lists=list_choices(scope))
    # The form has one field, which may be empty: pressing the button alone is enough.
    if request.method == "POST" and (form.is_valid() or not form.is_bound):
        template_id = form.cleaned_data["checkout_list"] if form.is_bound else None
        try:
            made = operations.begin(
                scope, unit_id=unit_id, template_id=template_id, at=timezone.now()
            )
        except ApplicationError as error:
            messages.error(request, error.message)
        else:
            return redirect("work:checkout", project_key, made)
    has_one = bool(queries.checkout_sheet(scope, [unit_id]))
    context = {"unit": unit, "form": form, "has_one": has_one}
    return render(request, "work/checkout_begin.html", context, status=422 if request.POST else 200)


@require_POST
def copy(request: HttpRequest, project_key: str, checkout_id: int, unit_id: int) -> HttpResponse:
    """Begin the checkout of another unit with the points and limits of this one."""
    scope = scope_for(request, project_key, Action.CHECK_OUT)
    try:
        made = operations.begin(scope, unit_id=unit_id, copy_from=checkout_id, at=timezone.now())
    except Conflict as error:
        messages.error(request, error.message)
        return redirect("work:checkout", project_key, checkout_id)
    return redirect("work:checkout", project_key, made)


@require_POST
def complete(request: HttpRequest, project_key: str, checkout_id: int) -> HttpResponse:
    """Complete a checkout."""
    scope = scope_for(request, project_key, Action.CHECK_OUT)
    version = queries.sheet(scope, checkout_id).version
    try:
        operations.complete(scope, checkout_id=checkout_id, version=version, at=timezone.now())
    except Conflict as error:
        messages.error(request, error.message)
    else:
        messages.success(request, "The checkout is complete.")
    return redirect("work:checkout", project_key, checkout_id)


@require_POST
def describe(request: HttpRequest, project_key: str, checkout_id: int) -> HttpResponse:
    """Save the reference instrument and the note of a checkout."""
    scope = scope_for(request, project_key, Action.CHECK_OUT)
    form = HeadForm(request.POST)
    if not form.is_valid():
        return _page(request, scope, queries.sheet(scope, checkout_id), head=form)
    given = dict(form.cleaned_data)
    version = given.pop("version")
    try:
        operations.describe(scope, checkout_id=checkout_id, version=version, values=given)
    except Conflict as error:
        messages.error(request, error.message)
    else:
        messages.success(request, "Saved.")
    return redirect("work:checkout", project_key, checkout_id)


@require_GET
def unit_panel(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Show the checkout of a unit on its page."""
    scope = scope_for(request, project_key, Action.SEE)
    unit = subject(scope, "unit", unit_id)
    found = queries.checkout_sheet(scope, [unit_id])
    is_fragment = wants_fragment(request)
    context: dict[str, Any] = {"unit": unit, "is_fragment": is_fragment}
    context["may_begin"] = scope.allows(Action.CHECK_OUT)
    if found:
        context |= _summary(scope, found[0])
        context["rows"] = [
            _row(scope, found[0], point) for point in found[0].points if point.verdict == "fail"
        ]
    name = "work/unit_checkout_panel.html"
    return render(request, f"{name}#panel" if is_fragment else name, context)


_AT = "work/checkouts/<int:checkout_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("work/checkouts/", checkouts, name="checkouts"),
    path(f"{_AT}/", checkout, name="checkout"),
    path(f"{_AT}/complete/", complete, name="checkout-complete"),
    path(f"{_AT}/about/", describe, name="checkout-describe"),
    path(f"{_AT}/copy/<int:unit_id>/", copy, name="checkout-copy"),
    path("work/checkout-points/<int:point_id>/", observe, name="checkout-point"),
    path("units/<int:unit_id>/checkout/begin/", begin, name="checkout-begin"),
    path("units/<int:unit_id>/checkout/", unit_panel, name="unit-checkout-panel"),
]
