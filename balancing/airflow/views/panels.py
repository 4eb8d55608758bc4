"""Panels on the pages of a unit and of a project."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from balancing.airflow import tables
from balancing.airflow.domain.completeness import has_readings
from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.queries import tests as queries
from balancing.airflow.queries.snapshots import snapshots
from balancing.airflow.queries.standing import outdated
from balancing.airflow.views import results
from projectsite.accounts.access import Action, scope_for
from projectsite.core.scope import Scope
from projectsite.ui.fragments import part_of
from zones.inventory.queries import UnitFilter, count_units, unit_facts


@require_GET
def unit_panel(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Show how the airflow of a unit stands: its last test, what it came to, its history."""
    scope = scope_for(request, project_key, Action.SEE_TESTS)
    context = _unit_context(scope, unit_id)
    return render(request, part_of(request, "airflow/unit_panel.html"), context)


def _unit_context(scope: Scope, unit_id: int) -> dict[str, Any]:
    facts = unit_facts(scope, [unit_id])
    standing = snapshots(scope, [unit_id]).get(unit_id, [])
    last = evaluate(standing[-1], scope.project.tolerances) if standing else None
    read = [p for p in last.final_points if has_readings(p.point)] if last else []
    history = tables.history_table(
        scope,
        queries.tests_of_unit(scope, unit_id),
        address=lambda row: reverse("airflow:test", args=[scope.project.key, row["id"]]),
    )
    is_running = bool(standing) and standing[-1].state in {"open", "submitted", "returned"}
    return {
        "unit": facts[0] if facts else None,
        "last": last,
        "table": results.points_table(scope, read) if read else None,
        "history": history,
        "out_of_date": bool(facts and standing) and bool(outdated(scope, standing[-1], facts[0])),
        "may_start": scope.allows(Action.ENTER_READINGS) and bool(facts) and not is_running,
    }


@require_GET
def project_panel(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show how the airflow of the project stands: tests by state, units without a test."""
    scope = scope_for(request, project_key, Action.SEE_TESTS)
    counts = queries.count_by_state(scope)
    units, tested = count_units(scope, UnitFilter()), len(queries.unit_statuses(scope))
    context = {
        "counts": [
            (tables.STATE_MARKS[state], state, counts[state])
            for state in ("accepted", "submitted", "returned", "open")
        ],
        "units": units,
        "untested": max(units - tested, 0),
        "accepted": counts["accepted"],
    }
    return render(request, part_of(request, "airflow/project_panel.html"), context)
