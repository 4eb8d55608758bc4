"""Addresses of the grid, of what can be done now, and of the panels about steps."""

from __future__ import annotations

from typing import Any

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.work import make_step
from tests.web.matrix import Entry, api, page
from zones.inventory.models import AirHandler, TerminalUnit
from zones.work.models import Step

# The step of the case is one of the mechanical trade: the installer's and the office's.
MARKS = ("installer", "office")


def _unit(cast: Cast) -> TerminalUnit:
    found = TerminalUnit.objects.filter(project=cast.project, tag="TU-8-1").first()
    return found or make_unit(cast.project, "TU-8-1")


def _step(cast: Cast) -> Step:
    found = Step.objects.filter(project=cast.project, key="box-hung").first()
    return found or make_step(cast.project)


def _of_unit(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    return {"project_key": cast.project.key, "unit_id": _unit(cast).pk}


def _of_air_handler(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    found = AirHandler.objects.filter(project=cast.project, tag="AH-8").first()
    handler = found or make_air_handler(cast.project, "AH-8")
    return {"project_key": cast.project.key, "air_handler_id": handler.pk}


def _ticked(cast: Cast) -> dict[str, Any]:
    return {"cell": f"{_unit(cast).pk}-{_step(cast).pk}", "mark": "done"}


def _said(cast: Cast) -> dict[str, Any]:
    cells = [{"unit_id": _unit(cast).pk, "step_id": _step(cast).pk}]
    return {"cells": cells, "mark": "done"}


ENTRIES = [
    Entry("work:grid", page()),
    Entry("work:mine", page()),
    Entry("work:mark", page(302, to=MARKS), "POST", data=_ticked),
    Entry("work:unit-steps-panel", page(), arguments=_of_unit),
    Entry("work:air-handler-steps-panel", page(), arguments=_of_air_handler),
    Entry("work:project-work-panel", page()),
    Entry("work-api:board", api()),
    Entry("work-api:marks", api(to=MARKS), "POST", data=_said),
]
