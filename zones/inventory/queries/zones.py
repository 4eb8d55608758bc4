"""Zones with the terminal units that serve them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db.models import Count, Q, QuerySet, Sum

from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.inventory.domain.types import ZoneFacts
from zones.inventory.models import Zone

ZONE_SORTS: Mapping[str, str] = {
    "tag": "sort_key",
    "name": "name",
    "floor": "floor",
    "area_m2": "area_m2",
    "population": "population",
}
_IN_USE = Q(units__archived_at=None)


def _matching(scope: Scope, *, archived: bool, text: str, floor: str | None) -> QuerySet[Zone]:
    rows = Zone.objects.filter(project_id=scope.project.id, archived_at__isnull=not archived)
    if text:
        rows = rows.filter(Q(tag__icontains=text) | Q(name__icontains=text))
    return rows if floor is None else rows.filter(floor=floor)


def count_zones(
    scope: Scope, *, archived: bool = False, text: str = "", floor: str | None = None
) -> int:
    """Count the zones that match."""
    return _matching(scope, archived=archived, text=text, floor=floor).count()


def zones(
    scope: Scope,
    *,
    archived: bool = False,
    text: str = "",
    floor: str | None = None,
    sort: str = "tag",
    offset: int = 0,
    limit: int | None = None,
) -> list[ZoneFacts]:
    """Zones of the project, in two queries."""
    sign = "-" if sort.startswith("-") else ""
    matching = _matching(scope, archived=archived, text=text, floor=floor)
    ordered = matching.order_by(sign + ZONE_SORTS[sort.removeprefix("-")], "sort_key", "id")
    ids = ordered.values_list("id", flat=True)
    chosen = list(ids[offset:] if limit is None else ids[offset : offset + limit])
    known = {zone.id: zone for zone in _facts(scope, chosen)}
    return [known[zone_id] for zone_id in chosen]


def zone(scope: Scope, zone_id: int) -> ZoneFacts:
    """One zone, archived or not; NotFound when it is not in the project."""
    found = _facts(scope, [zone_id])
    if not found:
        raise NotFound("There is no such zone in this project.")
    return found[0]


def _facts(scope: Scope, ids: Sequence[int]) -> list[ZoneFacts]:
    rows = Zone.objects.filter(project_id=scope.project.id, id__in=ids).annotate(
        count=Count("units", filter=_IN_USE),
        maximum=Sum("units__cooling_max_m3_s", filter=_IN_USE),
    )
    return [
        ZoneFacts(
            id=row["id"],
            tag=row["tag"],
            name=row["name"],
            floor=row["floor"],
            area_m2=row["area_m2"],
            population=row["population"],
            units=row["count"],
            sum_cooling_max_m3_s=row["maximum"],
            is_archived=row["archived_at"] is not None,
            version=row["version"],
            sort_key=row["sort_key"],
        )
        for row in rows.order_by("sort_key", "id").values(
            "id",
            "tag",
            "name",
            "floor",
            "area_m2",
            "population",
            "count",
            "maximum",
            "archived_at",
            "version",
            "sort_key",
        )
    ]
