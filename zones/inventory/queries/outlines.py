"""Units as lists of work see them, and what they share."""

from __future__ import annotations

from django.db.models import Value
from django.db.models.functions import Coalesce
from django.urls import reverse

from projectsite.core.groups import Group, Grouping
from projectsite.core.scope import Scope
from zones.inventory.domain.types import UnitOutline
from zones.inventory.models import AirHandler, TerminalUnit

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


def outlines(scope: Scope) -> list[UnitOutline]:
    """All units in use of the project, in the order of their tags, in one query."""
    rows = (
        TerminalUnit.objects.filter(project_id=scope.project.id, archived_at=None)
        .order_by("sort_key", "id")
        .values_list(*_COLUMNS)
    )
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
