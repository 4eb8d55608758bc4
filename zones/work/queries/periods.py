"""When each trade is to work on each floor, as planned."""

from __future__ import annotations

from typing import Any

from projectsite.core.errors import NotFound
from projectsite.core.numeric import natural_key
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.work.models import PlannedPeriod

PERIOD_SORTS = ("floor", "trade", "start_date", "finish_date")
_PERIOD = ("id", "floor", "trade", "start_date", "finish_date", "version")


def list_periods(
    scope: Scope, *, floor: str = "", trade: str = "", sort: str = "start_date"
) -> list[dict[str, Any]]:
    """Planned periods, in one query."""
    rows = PlannedPeriod.objects.filter(project_id=scope.project.id)
    if floor:
        rows = rows.filter(floor=floor)
    if trade:
        rows = rows.filter(trade=trade)
    found: list[dict[str, Any]] = list(rows.order_by("start_date", "id").values(*_PERIOD))
    key = sort.removeprefix("-")
    found.sort(
        key=lambda row: natural_key(row["floor"]) if key == "floor" else row[key],
        reverse=sort.startswith("-"),
    )
    return found


def floors_of(scope: Scope) -> list[str]:
    """Floors with units in use, and those that are planned already."""
    found = {unit.floor for unit in inventory.outlines(scope)}
    rows = PlannedPeriod.objects.filter(project_id=scope.project.id).order_by("floor")
    found |= set(rows.values_list("floor", flat=True))
    return sorted(found - {""}, key=natural_key)


def period_row(scope: Scope, period_id: int) -> dict[str, Any]:
    """Give one planned period; NotFound when it is not in the project."""
    rows = PlannedPeriod.objects.filter(project_id=scope.project.id, id=period_id)
    found: dict[str, Any] | None = rows.values(*_PERIOD).first()
    if found is None:
        raise NotFound("There is no such planned period in this project.")
    return found
