"""Addresses of the planning."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_unit
from tests.builders.work import make_step
from tests.builders.work_planning import make_period
from tests.web.matrix import OFFICE, Entry, api, page
from zones.inventory.models import TerminalUnit
from zones.work.models import PlannedPeriod, Step

WORKS = ("installer", "balancer", "controls", "office")
_DAYS = {"start_date": "2026-12-01", "finish_date": "2026-12-18"}


def _cell(cast: Cast, trade: str) -> tuple[int, int]:
    unit = TerminalUnit.objects.filter(project=cast.project).first() or make_unit(cast.project)
    key = f"step-{trade}"
    found = Step.objects.filter(project=cast.project, key=key).first()
    step = found or make_step(cast.project, key, trade=trade)
    return unit.pk, step.pk


def _cells(cast: Cast) -> dict[str, Any]:
    """Cells of the mechanical trade, which the installer of the cast and the office do."""
    unit_id, step_id = _cell(cast, "mechanical")
    return {"cells": [{"unit_id": unit_id, "step_id": step_id}]}


def _assign(cast: Cast) -> dict[str, Any]:
    day = (timezone.now() + timedelta(days=3)).date().isoformat()
    return {**_cells(cast), "due_date": day}


def _ticked(cast: Cast) -> dict[str, Any]:
    unit_id, step_id = _cell(cast, "mechanical")
    return {"cell": f"{unit_id}:{step_id}", "act": "end"}


def _period(cast: Cast) -> PlannedPeriod:
    number = PlannedPeriod.objects.filter(project=cast.project).count() + 1
    return make_period(cast.project, f"{number}")


def _of_period(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    return {"project_key": cast.project.key, "period_id": _period(cast).pk}


ENTRIES: list[Entry] = [
    Entry("work:look-ahead", page()),
    Entry("work:assign", page(to=OFFICE)),
    Entry("work:assign", page(302, to=WORKS), "POST", data=_ticked),
    Entry("work:periods", page()),
    Entry("work:periods", page(302, to=OFFICE), "POST", data={**_DAYS, "trade": "office"}),
    Entry("work:period", page(to=OFFICE), arguments=_of_period),
    Entry(
        "work:period",
        page(302, to=OFFICE),
        "POST",
        arguments=_of_period,
        data={**_DAYS, "trade": "controls", "version": "1"},
    ),
    Entry(
        "work:remove-period",
        page(302, to=OFFICE),
        "POST",
        arguments=_of_period,
        data={"version": "1"},
    ),
    Entry("work-api:assignment-list", api()),
    Entry("work-api:assignment-list", api(to=OFFICE), "POST", data=_assign),
    # The step is of the mechanical trade: only its installer and the office may take it.
    Entry("work-api:assignment-take", api(to=("installer", "office")), "POST", data=_cells),
    Entry("work-api:assignment-end", api(to=WORKS), "POST", data=_cells),
    Entry("work-api:look-ahead", api()),
    Entry("work-api:weeks", api()),
    Entry("work-api:period-list", api()),
    Entry(
        "work-api:period-list", api(201, to=OFFICE), "POST", data={**_DAYS, "trade": "electrical"}
    ),
    Entry("work-api:period-detail", api(), arguments=_of_period),
    Entry(
        "work-api:period-detail",
        api(to=OFFICE),
        "PATCH",
        arguments=_of_period,
        data={"finish_date": "2026-12-20", "version": 1},
    ),
    # Without the version that was seen nothing is removed.
    Entry("work-api:period-detail", api(400, to=OFFICE), "DELETE", arguments=_of_period),
]
