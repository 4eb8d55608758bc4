"""Outlets of terminal units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.inventory.domain.fields import OUTLET_FIELDS
from zones.inventory.models import Outlet

OUTLET_SORTS: Mapping[str, str] = {
    "unit": "unit__sort_key",
    "tag": "sort_key",
    "kind": "kind",
    "design_m3_s": "design_m3_s",
    "hood_factor": "hood_factor",
}
LISTED: Mapping[str, str] = {
    "id": "id",
    "unit_id": "unit_id",
    "unit": "unit__tag",
    **{field.name: field.source for field in OUTLET_FIELDS},
    "entered": "entered",
    "archived_at": "archived_at",
    "version": "version",
}
"""Columns of a listed outlet and where they are found."""


@dataclass(frozen=True, slots=True)
class OutletFilter:
    """Which outlets are wanted."""

    text: str = ""
    unit: int | None = None
    air_handler: int | None = None
    kind: str = ""
    archived: bool = False


def _matching(scope: Scope, wanted: OutletFilter) -> QuerySet[Outlet]:
    outlets = Outlet.objects.filter(
        project_id=scope.project.id, archived_at__isnull=not wanted.archived
    )
    if not wanted.archived:
        outlets = outlets.filter(unit__archived_at=None)
    if wanted.text:
        outlets = outlets.filter(tag__icontains=wanted.text) | outlets.filter(
            unit__tag__icontains=wanted.text
        )
    plain = {
        "unit_id": wanted.unit,
        "unit__air_handler_id": wanted.air_handler,
        "kind": wanted.kind or None,
    }
    return outlets.filter(**{key: value for key, value in plain.items() if value is not None})


def count_outlets(scope: Scope, wanted: OutletFilter) -> int:
    """Count the outlets that match."""
    return _matching(scope, wanted).count()


def list_outlets(
    scope: Scope,
    wanted: OutletFilter,
    *,
    sort: str = "unit",
    offset: int = 0,
    limit: int | None = None,
) -> list[dict[str, Any]]:
    """Read one page of outlets as plain values, keyed by field name."""
    sign = "-" if sort.startswith("-") else ""
    key = sign + OUTLET_SORTS[sort.removeprefix("-")]
    rows = (
        _matching(scope, wanted)
        .order_by(key, "unit__sort_key", "sort_key", "id")
        .values_list(*LISTED.values())
    )
    chosen = rows[offset:] if limit is None else rows[offset : offset + limit]
    return [dict(zip(LISTED, row, strict=True)) for row in chosen]


def outlet_row(scope: Scope, outlet_id: int) -> dict[str, Any]:
    """Read one outlet as plain values; NotFound when it is not in the project."""
    row = (
        Outlet.objects.filter(project_id=scope.project.id, id=outlet_id)
        .values_list(*LISTED.values())
        .first()
    )
    if row is None:
        raise NotFound("There is no such outlet in this project.")
    return dict(zip(LISTED, row, strict=True))


def outlets_of(scope: Scope, unit_id: int) -> list[dict[str, Any]]:
    """Every outlet of a unit, archived ones included, as plain values."""
    rows = (
        Outlet.objects.filter(project_id=scope.project.id, unit_id=unit_id)
        .order_by("sort_key", "id")
        .values_list(*LISTED.values())
    )
    return [dict(zip(LISTED, row, strict=True)) for row in rows]
