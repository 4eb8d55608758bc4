"""Addresses of the punch list."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.work_punch import make_punch_item
from tests.web.matrix import OFFICE, Entry, api, page
from zones.inventory.models import AirHandler, TerminalUnit
from zones.work.models import PunchItem
from zones.work.operations import punch

ANSWERS = ("office", "installer")
OPENERS = ("office", "controls")


def _unit(cast: Cast) -> TerminalUnit:
    return TerminalUnit.objects.filter(project=cast.project).first() or make_unit(cast.project)


def _item(cast: Cast) -> PunchItem:
    return make_punch_item(cast.scope("controls"), _unit(cast))


def one(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an item that the technician opened and the installer owes."""
    del user
    return {"project_key": cast.project.key, "item_id": _item(cast).pk}


def answered(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an answered item, at the version that the data say."""
    del user
    item = _item(cast)
    punch.answer_item(
        cast.scope("installer"), item_id=item.pk, version=1, text="Done.", at=item.opened_at
    )
    return {"project_key": cast.project.key, "item_id": item.pk}


def of_unit(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a unit."""
    del user
    return {"project_key": cast.project.key, "unit_id": _unit(cast).pk}


def of_air_handler(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an air handler."""
    del user
    handler = AirHandler.objects.filter(project=cast.project).first()
    return {
        "project_key": cast.project.key,
        "air_handler_id": (handler or make_air_handler(cast.project)).pk,
    }


def new(cast: Cast) -> dict[str, Any]:
    """An item to open."""
    return {
        "kind": "unit",
        "subject_id": _unit(cast).pk,
        "trade": "mechanical",
        "text": "Damper half shut.",
        "client_key": str(uuid4()),
    }


SAID = {"version": 1, "text": "Done."}
SAID_LATER = {"version": 2, "text": "Seen."}
ENTRIES = [
    Entry("work:punch", page()),
    Entry("work:punch-add", page()),
    Entry("work:punch-import", page(to=OFFICE)),
    Entry("work:project-punch-panel", page()),
    Entry("work:unit-punch-panel", page(), arguments=of_unit),
    Entry("work:air-handler-punch-panel", page(), arguments=of_air_handler),
    Entry("work:punch-item", page(), arguments=one),
    Entry("work:punch-change", page(), arguments=one),
    Entry(
        "work:punch-answer",
        # A refusal of the operation is told on the item's page.
        page(302, to=("office", "controls", "balancer", "installer")),
        "POST",
        arguments=one,
        data=SAID,
    ),
    Entry("work:punch-verify", page(302), "POST", arguments=answered, data=SAID_LATER),
    Entry("work:punch-reopen", page(302), "POST", arguments=answered, data=SAID_LATER),
    Entry("work-api:punch-list", api()),
    Entry("work-api:punch-list", api(201), "POST", data=new),
    Entry("work-api:punch-import", api(415, to=OFFICE), "POST"),
    Entry("work-api:punch-detail", api(), arguments=one),
    Entry(
        "work-api:punch-detail",
        api(to=OPENERS),
        "PATCH",
        arguments=one,
        data={"version": 1, "text": "Open the damper."},
    ),
    Entry("work-api:punch-answer", api(to=ANSWERS), "POST", arguments=one, data=SAID),
    Entry("work-api:punch-verify", api(to=OPENERS), "POST", arguments=answered, data=SAID_LATER),
    Entry("work-api:punch-reopen", api(to=OPENERS), "POST", arguments=answered, data=SAID_LATER),
]
