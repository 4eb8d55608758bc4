"""Air handlers over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from projectsite.accounts.access import Action
from projectsite.core.paging import paged_list
from zones.inventory import operations, queries
from zones.inventory.api.base import InventoryViewSet, described
from zones.inventory.domain.fields import AIR_HANDLER_FIELDS
from zones.inventory.domain.types import AirHandlerFacts
from zones.inventory.filters import AIR_HANDLER_PARAMETERS
from zones.inventory.serializers import AirHandlerIn, AirHandlerOut, VersionIn, accepted


def _plain(record: AirHandlerFacts) -> dict[str, Any]:
    return {
        "id": record.id,
        **{field.name: getattr(record, field.name) for field in AIR_HANDLER_FIELDS},
        "units": record.units,
        "units_with_maximum": record.units_with_maximum,
        "sum_cooling_max_m3_s": record.sum_cooling_max_m3_s,
        "sum_cooling_min_m3_s": record.sum_cooling_min_m3_s,
        "diversity_fraction": record.diversity,
        "is_archived": record.is_archived,
        "version": record.version,
    }


class AirHandlerViewSet(InventoryViewSet):
    """Air handlers with what their units add up to."""

    @extend_schema(parameters=described(AIR_HANDLER_PARAMETERS), responses=AirHandlerOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the air handlers that match, by tag."""
        scope = self.scope(request)
        asked = self.asked(request, AIR_HANDLER_PARAMETERS)
        rows = queries.air_handlers(scope, archived=asked.is_on("archived"), text=asked.text("q"))
        return paged_list(self, request, [_plain(row) for row in rows])

    @extend_schema(request=AirHandlerIn, responses={201: AirHandlerOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add an air handler."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = AirHandlerIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = accepted(AIR_HANDLER_FIELDS, given.validated_data)
        found = operations.add_air_handler(scope, values=values)
        return Response(_plain(queries.air_handler(scope, found)), status=status.HTTP_201_CREATED)

    @extend_schema(responses=AirHandlerOut)
    def retrieve(self, request: Request, air_handler_id: int, **_: Any) -> Response:
        """Give one air handler, archived or not."""
        return Response(_plain(queries.air_handler(self.scope(request), air_handler_id)))

    @extend_schema(request=AirHandlerIn(partial=True), responses=AirHandlerOut)
    def partial_update(self, request: Request, air_handler_id: int, **_: Any) -> Response:
        """Change the fields that are sent; ``version`` says which state was seen."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = AirHandlerIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        operations.change_air_handler(
            scope,
            air_handler_id=air_handler_id,
            version=self.version_in(given.validated_data),
            values=accepted(AIR_HANDLER_FIELDS, given.validated_data),
        )
        return Response(_plain(queries.air_handler(scope, air_handler_id)))

    @extend_schema(request=VersionIn, responses=AirHandlerOut)
    def archive(self, request: Request, air_handler_id: int, **_: Any) -> Response:
        """Take an air handler out of use; refused while units hang on it."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        operations.archive_air_handler(
            scope,
            air_handler_id=air_handler_id,
            version=self.optional_version(request),
            at=timezone.now(),
        )
        return Response(_plain(queries.air_handler(scope, air_handler_id)))

    @extend_schema(request=None, responses=AirHandlerOut)
    def restore(self, request: Request, air_handler_id: int, **_: Any) -> Response:
        """Take an archived air handler into use again."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        operations.restore_air_handler(scope, air_handler_id=air_handler_id)
        return Response(_plain(queries.air_handler(scope, air_handler_id)))


_AT = "air-handlers/<int:air_handler_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path(
        "air-handlers/",
        AirHandlerViewSet.as_view({"get": "list", "post": "create"}),
        name="air-handler-list",
    ),
    path(
        f"{_AT}/",
        AirHandlerViewSet.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="air-handler-detail",
    ),
    path(
        f"{_AT}/archive/",
        AirHandlerViewSet.as_view({"post": "archive"}),
        name="air-handler-archive",
    ),
    path(
        f"{_AT}/restore/",
        AirHandlerViewSet.as_view({"post": "restore"}),
        name="air-handler-restore",
    ),
]
