"""Addresses of the catalogue of steps."""

from __future__ import annotations

from typing import Any

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.work import make_step
from tests.web.matrix import OFFICE, Entry, api, page
from zones.work.models import Step


def _of_step(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    number = Step.objects.count() + 1
    return {
        "project_key": cast.project.key,
        "step_id": make_step(cast.project, f"step-{number}").pk,
    }


def _of_archived(cast: Cast, user: User | None) -> dict[str, Any]:
    arguments = _of_step(cast, user)
    Step.objects.filter(pk=arguments["step_id"]).update(archived_at=AT)
    return arguments


NEW = {"name": "Box painted", "trade": "mechanical", "per": "unit", "budget_h": "0.5"}

PAGES = [
    Entry("work:catalogue", page()),
    Entry("work:step-starter", page(302, to=OFFICE), "POST"),
    Entry("work:step-add", page(to=OFFICE)),
    Entry("work:step-add", page(302, to=OFFICE), "POST", data=NEW),
    Entry("work:step", page(to=OFFICE), arguments=_of_step),
    Entry(
        "work:step",
        page(302, to=OFFICE),
        "POST",
        arguments=_of_step,
        data={**NEW, "name": "Box cleaned", "version": 1},
    ),
    Entry("work:step-move", page(to=OFFICE), arguments=_of_step),
    Entry("work:step-move", page(302, to=OFFICE), "POST", arguments=_of_step, data={"to": 1}),
    Entry("work:step-archive", page(to=OFFICE), arguments=_of_step),
    Entry("work:step-archive", page(302, to=OFFICE), "POST", arguments=_of_step),
    Entry("work:step-restore", page(302, to=OFFICE), "POST", arguments=_of_archived),
]

API = [
    Entry("work-api:step-list", api()),
    Entry("work-api:step-starter", api(201, to=OFFICE), "POST"),
    Entry(
        "work-api:step-list",
        api(201, to=OFFICE),
        "POST",
        data={"name": "Box labelled", "trade": "controls"},
    ),
    Entry("work-api:step-detail", api(), arguments=_of_step),
    Entry(
        "work-api:step-detail",
        api(to=OFFICE),
        "PATCH",
        arguments=_of_step,
        data={"version": 1, "budget_h": 2},
    ),
    Entry("work-api:step-archive", api(to=OFFICE), "POST", arguments=_of_step),
    Entry("work-api:step-restore", api(to=OFFICE), "POST", arguments=_of_archived),
    Entry("work-api:step-move", api(to=OFFICE), "POST", arguments=_of_step, data={"to": 1}),
]

ENTRIES = [*PAGES, *API]
