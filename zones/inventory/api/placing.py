"""Positions of terminal units over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from projectsite.accounts.access import Action
from zones.inventory.api.base import InventoryViewSet
from zones.inventory.operations.placing import place_units
from zones.inventory.serializers.placing import PlacedOut, PlacesIn, placed


class PositionViewSet(InventoryViewSet):
    """Where units are on their floors."""

    @extend_schema(request=PlacesIn, responses=PlacedOut(many=True))
    def update(self, request: Request, **_: Any) -> Response:
        """Place these units, or take them off the floor; all of them or none."""
        scope = self.scope(request, Action.PLACE_UNITS)
        given = PlacesIn(data=request.data)
        given.is_valid(raise_exception=True)
        places, versions = placed(given.validated_data["places"])
        done = place_units(scope, places=places, versions=versions)
        return Response([{"unit_id": key, "version": version} for key, version in done.items()])


urlpatterns: list[URLPattern | URLResolver] = [
    path("units/positions/", PositionViewSet.as_view({"put": "update"}), name="unit-positions"),
]
