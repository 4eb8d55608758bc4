"""What the API takes and gives of positions on a floor."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from projectsite.core.serializers import QuantityField
from projectsite.core.units import Entered

Plain = serializers.Serializer[Any]


class PlaceIn(Plain):
    """Where one unit is; both null takes it off the floor."""

    unit_id = serializers.IntegerField(min_value=1)
    x_m = QuantityField("length", allow_null=True, help_text="From the floor's origin to the east.")
    y_m = QuantityField(
        "length", allow_null=True, help_text="From the floor's origin to the north."
    )
    version = serializers.IntegerField(
        required=False, min_value=0, help_text="Version of the unit that was seen."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse half a position."""
        if (attrs["x_m"] is None) != (attrs["y_m"] is None):
            raise serializers.ValidationError({"y_m": "Give both positions or neither."})
        return attrs


class PlacesIn(Plain):
    """Where units are."""

    places = PlaceIn(many=True, allow_empty=False)

    def validate_places(self, places: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Refuse a unit in two places."""
        if len({place["unit_id"] for place in places}) < len(places):
            raise serializers.ValidationError("A unit is named twice.")
        return places


class PlacedOut(Plain):
    """A unit's version after it was placed."""

    unit_id = serializers.IntegerField()
    version = serializers.IntegerField()


def placed(
    places: list[Mapping[str, Any]],
) -> tuple[dict[int, tuple[Entered, Entered] | None], dict[int, int]]:
    """Places and versions by unit out of validated input, for the operation."""
    wanted = {
        place["unit_id"]: None if place["x_m"] is None else (place["x_m"], place["y_m"])
        for place in places
    }
    return wanted, {p["unit_id"]: p["version"] for p in places if "version" in p}
