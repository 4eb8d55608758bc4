"""Pages of the progress."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET

from projectsite.accounts.access import Action, scope_for
from projectsite.core.plots import progress_bar
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.fragments import part_of
from zones.work.forms.progress import ProgressForm, asked
from zones.work.queries.progress import Progress, progress_of
from zones.work.tables.cells import TRADES, zone_of
from zones.work.tables.progress import (
    TABLES,
    ProgressTables,
    curve_picture,
    forecast_words,
    standing_words,
    trades_picture,
)


def _today(scope: Scope) -> date:
    return timezone.now().astimezone(zone_of(scope)).date()


@require_GET
def progress(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show how the work stands, against the plan and by its own pace."""
    scope = scope_for(request, project_key, Action.SEE)
    wanted, shape = asked(request.GET)
    found = progress_of(scope, today=_today(scope), wanted=wanted, shape=shape)
    kind = request.GET.get("format", "")
    if wants_file(kind):
        return _file(request.GET, found, kind, project_key)
    return render(request, "work/progress.html", _context(scope, request.GET, found))


def _file(query: QueryDict, found: Progress, kind: str, project_key: str) -> HttpResponse:
    name = query.get("table", "trades")
    table = ProgressTables(found).named(name)
    if table is None:
        raise Http404("There is no such table of the progress.")
    return file_of(table, kind, f"{project_key}-progress-{name}")


def _context(scope: Scope, query: QueryDict, found: Progress) -> dict[str, Any]:
    tables = ProgressTables(found, lambda name, value: _address(query, **{name: value}))
    form = ProgressForm(query, found)
    form.is_valid()
    return {
        "found": found,
        "filters": form,
        "is_filtered": bool(form.data),
        "standing": standing_words(found),
        "outlook": forecast_words(found),
        "curve": mark_safe(curve_picture(found)),  # noqa: S308  # core.plots_work escapes its texts
        "bars": mark_safe(trades_picture(found)),  # noqa: S308  # as above
        "held_up": [(TRADES[row.trade], row.waiting) for row in found.held_up],
        "tables": {
            name.replace("-", "_"): {
                "table": tables.named(name),
                "xlsx": _address(query, table=name, format="xlsx"),
                "csv": _address(query, table=name, format="csv"),
            }
            for name in TABLES
        },
        "may_plan": scope.allows(Action.PLAN_WORK),
    }


def _address(query: QueryDict, **changed: str) -> str:
    return f"?{urlencode({**query.dict(), **changed})}"


@require_GET
def project_panel(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show the progress on the page of the project."""
    scope = scope_for(request, project_key, Action.SEE)
    found = progress_of(scope, today=_today(scope))
    whole = found.whole
    parts = [
        ("done", whole.done),
        ("look", whole.in_hand),
        ("hold", whole.held),
        ("wait", whole.ready + whole.waiting),
    ]
    context = {
        "found": found,
        "bar": mark_safe(progress_bar(parts, title="Steps of the project", key="steps-bar")),  # noqa: S308  # core.plots escapes its texts
        "standing": standing_words(found)[1:2] if found.standing else [],
        "held_up": [(TRADES[row.trade], row.waiting) for row in found.held_up],
    }
    return render(request, part_of(request, "work/project_progress_panel.html"), context)


urlpatterns: list[URLPattern | URLResolver] = [
    path("work/progress/", progress, name="progress"),
    path("panels/work-progress/", project_panel, name="project-progress-panel"),
]
