"""Steps on the pages of a unit, an air handler and a project."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, URLResolver, path
from django.views.decorators.http import require_GET

from projectsite.accounts.access import Action, scope_for
from projectsite.ui.fragments import part_of, wants_fragment
from zones.inventory import queries as inventory
from zones.work.domain import words
from zones.work.domain.board import State
from zones.work.domain.types import StepFacts
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.board_rows import BoardFilter, board_rows, counts
from zones.work.queries.cells import cells_of_unit, is_told
from zones.work.queries.my_work import count_open
from zones.work.queries.subjects import subject
from zones.work.tables.cells import TRADES, zone_of
from zones.work.tables.my_work import line_of
from zones.work.tables.step_counts import counts_table

_ORDER = (State.READY, State.IN_HAND, State.HELD, State.WAITING, State.DONE)


@require_GET
def unit_steps(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Show how every step of a unit stands, with what the person may say of it."""
    scope = scope_for(request, project_key, Action.SEE)
    whole = whole_board(scope, unit_ids=[unit_id])
    unit = whole.outline_of.get(unit_id)
    if unit is None:
        archived = subject(scope, "unit", unit_id)
        context = {"unit": {"tag": archived.label}, "is_archived": True}
        return _answer(request, "work/unit_steps_panel.html", context)
    cells = cells_of_unit(scope, whole, unit_id)
    lines = [line_of(scope, facts, zone_of(scope)) for facts in cells if is_told(facts)]
    context = {
        "unit": unit,
        "lines": lines,
        "left": len(cells) - len(lines),
        "may_any": any(line.can_say for line in lines),
        "next": request.path,
    }
    return _answer(request, "work/unit_steps_panel.html", context)


@require_GET
def air_handler_steps(request: HttpRequest, project_key: str, air_handler_id: int) -> HttpResponse:
    """Count the steps of an air handler's units by trade and state."""
    scope = scope_for(request, project_key, Action.SEE)
    whole = whole_board(scope)
    handler = inventory.air_handler(scope, air_handler_id)
    units = board_rows(whole, BoardFilter(air_handler=air_handler_id)).units
    rows = []
    for trade, steps in _by_trade(whole).items():
        found = counts(whole, units, steps)
        rows.append({"trade": TRADES[trade]} | {state.name: found[state] for state in _ORDER})
    table = counts_table(f"Steps of {handler.tag}", rows, _ORDER) if units and rows else None
    context = {"air_handler": handler, "table": table, "has_units": bool(units)}
    return _answer(request, "work/air_handler_steps_panel.html", context)


@require_GET
def project_work(request: HttpRequest, project_key: str) -> HttpResponse:
    """Count what each trade can do now."""
    scope = scope_for(request, project_key, Action.SEE)
    whole = whole_board(scope)
    ready = count_open(whole, "")
    trades = [(TRADES[trade], trade, ready[trade]) for trade, _ in words.TRADES if trade in ready]
    return _answer(request, "work/project_work_panel.html", {"trades": trades})


def _by_trade(whole: WholeBoard) -> dict[str, list[StepFacts]]:
    found: dict[str, list[StepFacts]] = {}
    for step in whole.board.steps:
        found.setdefault(step.trade, []).append(step)
    return found


def _answer(request: HttpRequest, name: str, context: dict[str, Any]) -> HttpResponse:
    """Give the panel alone to htmx, and inside a page to everyone else."""
    context = {**context, "is_fragment": wants_fragment(request)}
    return render(request, part_of(request, name), context)


urlpatterns: list[URLPattern | URLResolver] = [
    path("units/<int:unit_id>/steps/", unit_steps, name="unit-steps-panel"),
    path(
        "air-handlers/<int:air_handler_id>/steps/",
        air_handler_steps,
        name="air-handler-steps-panel",
    ),
    path("work/ready/", project_work, name="project-work-panel"),
]
