"""Addresses of checkouts and checkout lists."""

from __future__ import annotations

from typing import Any

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_unit
from tests.builders.work_checkout import make_checkout, make_list
from tests.web.matrix import OFFICE, Entry, api, page
from zones.inventory.models import TerminalUnit
from zones.work.models import Checkout, CheckTemplate, CheckTemplatePoint

CHECKERS = ("controls", "office")


def _unit(cast: Cast, tag: str = "TU-9-1") -> TerminalUnit:
    found = TerminalUnit.objects.filter(project=cast.project, tag=tag).first()
    return found or make_unit(cast.project, tag)


def _checkout(cast: Cast) -> Checkout:
    unit = _unit(cast)
    found = Checkout.objects.filter(unit=unit, superseded_at=None).first()
    return found or make_checkout(cast.scope("office"), unit)


def _list(cast: Cast) -> CheckTemplate:
    return make_list(cast.scope("office"))


def _of_unit(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    make_list(cast.scope("office"))
    return {"project_key": cast.project.key, "unit_id": _unit(cast).pk}


def _of_checkout(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    return {"project_key": cast.project.key, "checkout_id": _checkout(cast).pk}


def _to_copy(cast: Cast, user: User | None) -> dict[str, Any]:
    return _of_checkout(cast, user) | {"unit_id": _unit(cast, "TU-9-2").pk}


def _of_point(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    point = _checkout(cast).points.get(key="alarms-clean")
    return {"project_key": cast.project.key, "point_id": point.pk}


def _of_list(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    return {"project_key": cast.project.key, "list_id": _list(cast).pk}


def _of_list_point(cast: Cast, user: User | None) -> dict[str, Any]:
    point = CheckTemplatePoint.objects.filter(template=_list(cast)).order_by("-position")[0]
    return _of_list(cast, user) | {"point_id": point.pk}


def _seen(cast: Cast) -> dict[str, Any]:
    return {"version": _checkout(cast).points.get(key="alarms-clean").version, "is_right": "yes"}


def _observed(cast: Cast) -> dict[str, Any]:
    return _seen(cast) | {"is_right": True}


def _begun(cast: Cast) -> dict[str, Any]:
    make_list(cast.scope("office"))
    return {"unit_id": _unit(cast).pk}


def _version(cast: Cast) -> dict[str, Any]:
    return {"version": _list(cast).version}


def _about(cast: Cast) -> dict[str, Any]:
    return {"version": _checkout(cast).version, "note": "Ladder needed"}


def _added(cast: Cast) -> dict[str, Any]:
    return _version(cast) | {"name": "Lid is closed", "kind": "confirm", "owes": "mechanical"}


def _renamed(cast: Cast) -> dict[str, Any]:
    return _version(cast) | {"name": "Usual"}


def _moved(cast: Cast) -> dict[str, Any]:
    return _version(cast) | {"to": 1}


ENTRIES = [
    Entry("work:checkouts", page()),
    Entry("work:checkout", page(), arguments=_of_checkout),
    Entry("work:unit-checkout-panel", page(), arguments=_of_unit),
    Entry("work:checkout-begin", page(to=CHECKERS), arguments=_of_unit),
    Entry("work:checkout-begin", page(302, to=CHECKERS), "POST", _of_unit, {"checkout_list": ""}),
    Entry("work:checkout-copy", page(302, to=CHECKERS), "POST", _to_copy),
    Entry("work:checkout-complete", page(302, to=CHECKERS), "POST", _of_checkout),
    Entry("work:checkout-describe", page(302, to=CHECKERS), "POST", _of_checkout, _about),
    Entry("work:checkout-point", page(302, to=CHECKERS), "POST", _of_point, _seen),
    Entry("work:checkout-lists", page()),
    Entry("work:checkout-list", page(), arguments=_of_list),
    Entry("work:checkout-list-starter", page(302, to=OFFICE), "POST"),
    Entry("work:checkout-list-add", page(to=OFFICE)),
    Entry("work:checkout-list-add", page(302, to=OFFICE), "POST", data={"name": "Fan boxes"}),
    Entry("work:checkout-list-change", page(to=OFFICE), arguments=_of_list),
    Entry("work:checkout-list-change", page(302, to=OFFICE), "POST", _of_list, _renamed),
    Entry("work:checkout-list-archive", page(302, to=OFFICE), "POST", _of_list),
    Entry("work:checkout-list-point-add", page(to=OFFICE), arguments=_of_list),
    Entry("work:checkout-list-point-add", page(302, to=OFFICE), "POST", _of_list, _added),
    Entry("work:checkout-list-point", page(to=OFFICE), arguments=_of_list_point),
    Entry("work:checkout-list-point", page(302, to=OFFICE), "POST", _of_list_point, _added),
    Entry("work:checkout-list-point-up", page(302, to=OFFICE), "POST", _of_list_point),
    Entry("work:checkout-list-point-down", page(302, to=OFFICE), "POST", _of_list_point),
    Entry("work:checkout-list-point-remove", page(302, to=OFFICE), "POST", _of_list_point),
    Entry("work-api:checkout-list", api()),
    Entry("work-api:checkout-list", api(201, to=CHECKERS), "POST", data=_begun),
    Entry("work-api:checkout-detail", api(), arguments=_of_checkout),
    Entry("work-api:checkout-detail", api(to=CHECKERS), "PATCH", _of_checkout, _about),
    Entry(
        "work-api:checkout-complete", api(409, to=CHECKERS), "POST", _of_checkout, {"version": 1}
    ),
    Entry("work-api:checkout-observe", api(to=CHECKERS), "POST", _of_point, _observed),
    Entry("work-api:checkout-lists", api()),
    Entry("work-api:checkout-lists", api(201, to=OFFICE), "POST", data={"name": "Fan boxes"}),
    Entry("work-api:checkout-list-starter", api(201, to=OFFICE), "POST"),
    Entry("work-api:checkout-list-detail", api(), arguments=_of_list),
    Entry("work-api:checkout-list-detail", api(to=OFFICE), "PATCH", _of_list, _renamed),
    Entry("work-api:checkout-list-archive", api(to=OFFICE), "POST", _of_list, _version),
    Entry("work-api:checkout-list-restore", api(to=OFFICE), "POST", _of_list, _version),
    Entry("work-api:checkout-list-points", api(201, to=OFFICE), "POST", _of_list, _added),
    Entry("work-api:checkout-list-point", api(to=OFFICE), "PATCH", _of_list_point, _renamed),
    Entry("work-api:checkout-list-point-move", api(to=OFFICE), "POST", _of_list_point, _moved),
    Entry("work-api:checkout-list-point-remove", api(to=OFFICE), "POST", _of_list_point, _version),
]
