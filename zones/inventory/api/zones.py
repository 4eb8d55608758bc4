"""Zones over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from projectsite.accounts.access import Action
from projectsite.core.asking import sorted_by
from projectsite.core.paging import paged
from zones.inventory import operations, queries
from zones.inventory.api.base import InventoryViewSet, described
from zones.inventory.domain.fields import ZONE_FIELDS
from zones.inventory.domain.types import ZoneFacts
from zones.inventory.filters import ZONE_PARAMETERS
from zones.inventory.serializers import VersionIn, ZoneIn, ZoneOut, accepted

_SORTS = tuple(queries.ZONE_SORTS)


def _plain(record: ZoneFacts) -> dict[str, Any]:
    return {
        "id": record.id,
        **{field.name: getattr(record, field.name) for field in ZONE_FIELDS},
        "units": record.units,
        "sum_cooling_max_m3_s": record.sum_cooling_max_m3_s,
        "is_archived": record.is_archived,
        "version": record.version,
    }


class ZoneViewSet(InventoryViewSet):
    """Zones with the units that serve them."""

    @extend_schema(parameters=described(ZONE_PARAMETERS, _SORTS), responses=ZoneOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the zones that match."""
        scope = self.scope(request)
        asked = self.asked(request, ZONE_PARAMETERS)
        sort = sorted_by(request, _SORTS, "tag")
        archived, text = asked.is_on("archived"), asked.text("q")
        floor = asked.text("floor") or None

        def fetch(start: int, count: int) -> list[dict[str, Any]]:
            rows = queries.zones(
                scope,
                archived=archived,
                text=text,
                floor=floor,
                sort=sort,
                offset=start,
                limit=count,
            )
            return [_plain(row) for row in rows]

        count = queries.count_zones(scope, archived=archived, text=text, floor=floor)
        return paged(self, request, count, fetch)

    @extend_schema(request=ZoneIn, responses={201: ZoneOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add a zone."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = ZoneIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = accepted(ZONE_FIELDS, given.validated_data)
        found = operations.add_zone(scope, values=values)
        return Response(_plain(queries.zone(scope, found)), status=status.HTTP_201_CREATED)

    @extend_schema(responses=ZoneOut)
    def retrieve(self, request: Request, zone_id: int, **_: Any) -> Response:
        """Give one zone, archived or not."""
        return Response(_plain(queries.zone(self.scope(request), zone_id)))

    @extend_schema(request=ZoneIn(partial=True), responses=ZoneOut)
    def partial_update(self, request: Request, zone_id: int, **_: Any) -> Response:
        """Change the fields that are sent; ``version`` says which state was seen."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = ZoneIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        operations.change_zone(
            scope,
            zone_id=zone_id,
            version=self.version_in(given.validated_data),
            values=accepted(ZONE_FIELDS, given.validated_data),
        )
        return Response(_plain(queries.zone(scope, zone_id)))

    @extend_schema(request=VersionIn, responses=ZoneOut)
    def archive(self, request: Request, zone_id: int, **_: Any) -> Response:
        """Take a zone out of use; refused while units serve it."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        operations.archive_zone(
            scope,
            zone_id=zone_id,
            version=self.optional_version(request),
            at=timezone.now(),
        )
        return Response(_plain(queries.zone(scope, zone_id)))

    @extend_schema(request=None, responses=ZoneOut)
    def restore(self, request: Request, zone_id: int, **_: Any) -> Response:
        """Take an archived zone into use again."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        operations.restore_zone(scope, zone_id=zone_id)
        return Response(_plain(queries.zone(scope, zone_id)))


_AT = "zones/<int:zone_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("zones/", ZoneViewSet.as_view({"get": "list", "post": "create"}), name="zone-list"),
    path(
        f"{_AT}/",
        ZoneViewSet.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="zone-detail",
    ),
    path(f"{_AT}/archive/", ZoneViewSet.as_view({"post": "archive"}), name="zone-archive"),
    path(f"{_AT}/restore/", ZoneViewSet.as_view({"post": "restore"}), name="zone-restore"),
]
