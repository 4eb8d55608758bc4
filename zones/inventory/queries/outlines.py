"""Units as lists of work see them, and what they share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import F, Value
from django.db.models.functions import Coalesce
from django.urls import reverse

from projectsite.core.groups import Group, Grouping
from projectsite.core.scope import Scope
from zones.inventory.domain.types import UnitOutline
from zones.inventory.models import AirHandler, Outlet, TerminalUnit

_COLUMNS = (
    "id",
    "tag",
    "sort_key",
    "floor",
    "location",
    "air_handler_id",
    Coalesce("air_handler__tag", Value("")),
    "heat",
    "fan",
    "controller_model_id",
    "discharge_sensor",
    "occupancy_sensor",
    "position_x_m",
    "position_y_m",
    "mac_address",
    "device_instance",
    "revision",
    "version",
)


def outlines(scope: Scope, ids: Iterable[int] | None = None) -> list[UnitOutline]:
    """Units in use of the project, or those of them, in the order of their tags, in one query."""
    units = TerminalUnit.objects.filter(project_id=scope.project.id, archived_at=None)
    if ids is not None:
        units = units.filter(id__in=list(ids))
    rows = units.order_by("sort_key", "id").values_list(*_COLUMNS)
    return [UnitOutline(*row) for row in rows.iterator(chunk_size=10_000)]


def by_air_handler(scope: Scope) -> Grouping:
    """Air handlers in use and the units of each, in two queries."""
    handlers = AirHandler.objects.filter(project_id=scope.project.id, archived_at=None).order_by(
        "sort_key", "id"
    )
    groups = {
        handler_id: Group(
            handler_id, tag, reverse("inventory:air-handler", args=[scope.project.key, handler_id])
        )
        for handler_id, tag in handlers.values_list("id", "tag")
    }
    units = TerminalUnit.objects.filter(
        project_id=scope.project.id, archived_at=None, air_handler_id__in=list(groups)
    ).values_list("id", "air_handler_id")
    return Grouping(groups, dict(units.order_by("id")))


def unit_places(scope: Scope, ids: Iterable[int]) -> list[dict[str, Any]]:
    """Tag, floor and location of these units of the project, archived ones included."""
    units = TerminalUnit.objects.filter(project_id=scope.project.id, id__in=list(ids))
    rows = units.order_by("sort_key", "id").values("id", "tag", "floor", "location")
    return [dict(row) for row in rows]


def unit_handlers(scope: Scope, ids: Iterable[int]) -> dict[int, int | None]:
    """Air handler of each of these units of the project, None where it has none."""
    units = TerminalUnit.objects.filter(project_id=scope.project.id, id__in=list(ids))
    return dict(units.order_by("id").values_list("id", "air_handler_id"))


def outlet_places(scope: Scope, ids: Iterable[int] | None = None) -> list[dict[str, Any]]:
    """Tag, unit, floor and location of these outlets of the project, or of all in use."""
    outlets = Outlet.objects.filter(project_id=scope.project.id)
    if ids is None:
        outlets = outlets.filter(archived_at=None, unit__archived_at=None)
    else:
        outlets = outlets.filter(id__in=list(ids))
    rows = outlets.order_by("unit__sort_key", "sort_key", "id").values(
        "id", "tag", "unit_id", "location", unit_tag=F("unit__tag"), floor=F("unit__floor")
    )
    return [dict(row) for row in rows]
