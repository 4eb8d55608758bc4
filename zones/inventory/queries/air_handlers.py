"""Air handlers with the sums of their terminal units."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Count, Q, Sum

from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.inventory.domain.types import AirHandlerFacts
from zones.inventory.models import AirHandler

_IN_USE = Q(units__archived_at=None)


def air_handlers(
    scope: Scope, *, ids: Sequence[int] | None = None, archived: bool = False, text: str = ""
) -> list[AirHandlerFacts]:
    """Air handlers of the project by tag, in one query.

    ``ids`` asks for these whatever their state; otherwise those in use, or those archived.
    """
    rows = AirHandler.objects.filter(project_id=scope.project.id)
    if ids is not None:
        rows = rows.filter(id__in=ids)
    else:
        rows = rows.filter(archived_at__isnull=not archived)
    if text:
        rows = rows.filter(Q(tag__icontains=text) | Q(name__icontains=text))
    summed = rows.annotate(
        count=Count("units", filter=_IN_USE),
        known=Count("units__cooling_max_m3_s", filter=_IN_USE),
        maximum=Sum("units__cooling_max_m3_s", filter=_IN_USE),
        minimum=Sum("units__cooling_min_m3_s", filter=_IN_USE),
    ).order_by("sort_key", "id")
    return [
        AirHandlerFacts(
            id=row["id"],
            tag=row["tag"],
            name=row["name"],
            design_supply_degc=row["design_supply_degc"],
            design_static_pa=row["design_static_pa"],
            design_m3_s=row["design_m3_s"],
            units=row["count"],
            units_with_maximum=row["known"],
            sum_cooling_max_m3_s=row["maximum"],
            sum_cooling_min_m3_s=row["minimum"],
            is_archived=row["archived_at"] is not None,
            version=row["version"],
            sort_key=row["sort_key"],
        )
        for row in summed.values(
            "id",
            "tag",
            "name",
            "design_supply_degc",
            "design_static_pa",
            "design_m3_s",
            "count",
            "known",
            "maximum",
            "minimum",
            "archived_at",
            "version",
            "sort_key",
        )
    ]


def air_handler(scope: Scope, air_handler_id: int) -> AirHandlerFacts:
    """One air handler, archived or not; NotFound when it is not in the project."""
    found = air_handlers(scope, ids=[air_handler_id])
    if not found:
        raise NotFound("There is no such air handler in this project.")
    return found[0]
