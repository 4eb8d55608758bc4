"""Outlets over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from projectsite.accounts.access import Action
from projectsite.core.asking import sorted_by
from projectsite.core.paging import paged
from zones.inventory import operations, queries
from zones.inventory.api.base import InventoryViewSet, described
from zones.inventory.domain.fields import OUTLET_FIELDS
from zones.inventory.filters import OUTLET_PARAMETERS, outlet_filter
from zones.inventory.serializers import OutletIn, OutletOut, VersionIn, accepted

_SORTS = tuple(queries.OUTLET_SORTS)


class NewOutletIn(OutletIn):  # type: ignore[misc,valid-type]  # the base is made from the field list
    """A new outlet and the unit that it hangs on."""

    unit_id = serializers.IntegerField(min_value=1)


class OutletViewSet(InventoryViewSet):
    """Air outlets of terminal units."""

    @extend_schema(parameters=described(OUTLET_PARAMETERS, _SORTS), responses=OutletOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the outlets that match."""
        scope = self.scope(request)
        wanted = outlet_filter(self.asked(request, OUTLET_PARAMETERS))
        sort = sorted_by(request, _SORTS, "unit")

        def fetch(start: int, count: int) -> list[dict[str, Any]]:
            return queries.list_outlets(scope, wanted, sort=sort, offset=start, limit=count)

        return paged(self, request, queries.count_outlets(scope, wanted), fetch)

    @extend_schema(request=NewOutletIn, responses={201: OutletOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add an outlet to a unit."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = NewOutletIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = given.validated_data
        values = accepted(OUTLET_FIELDS, data)
        outlet_id = operations.add_outlet(scope, unit_id=data["unit_id"], values=values)
        return Response(queries.outlet_row(scope, outlet_id), status=status.HTTP_201_CREATED)

    @extend_schema(responses=OutletOut)
    def retrieve(self, request: Request, outlet_id: int, **_: Any) -> Response:
        """Give one outlet, archived or not."""
        return Response(queries.outlet_row(self.scope(request), outlet_id))

    @extend_schema(request=OutletIn(partial=True), responses=OutletOut)
    def partial_update(self, request: Request, outlet_id: int, **_: Any) -> Response:
        """Change the fields that are sent; ``version`` says which state was seen."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = OutletIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        operations.change_outlet(
            scope,
            outlet_id=outlet_id,
            version=self.version_in(given.validated_data),
            values=accepted(OUTLET_FIELDS, given.validated_data),
        )
        return Response(queries.outlet_row(scope, outlet_id))

    @extend_schema(request=VersionIn, responses=OutletOut)
    def archive(self, request: Request, outlet_id: int, **_: Any) -> Response:
        """Take an outlet out of use; readings at it stay."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        version = self.optional_version(request)
        operations.archive_outlet(scope, outlet_id=outlet_id, version=version, at=timezone.now())
        return Response(queries.outlet_row(scope, outlet_id))

    @extend_schema(request=None, responses=OutletOut)
    def restore(self, request: Request, outlet_id: int, **_: Any) -> Response:
        """Take an archived outlet into use again."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        operations.restore_outlet(scope, outlet_id=outlet_id)
        return Response(queries.outlet_row(scope, outlet_id))


_AT = "outlets/<int:outlet_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("outlets/", OutletViewSet.as_view({"get": "list", "post": "create"}), name="outlet-list"),
    path(
        f"{_AT}/",
        OutletViewSet.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="outlet-detail",
    ),
    path(f"{_AT}/archive/", OutletViewSet.as_view({"post": "archive"}), name="outlet-archive"),
    path(f"{_AT}/restore/", OutletViewSet.as_view({"post": "restore"}), name="outlet-restore"),
]
