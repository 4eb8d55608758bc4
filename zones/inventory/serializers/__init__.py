"""What the API takes and gives: made from the field lists."""

from __future__ import annotations

from zones.inventory.serializers.records import (
    ActSerializer,
    AirHandlerIn,
    AirHandlerOut,
    BoxModelIn,
    BoxModelOut,
    ChangeOut,
    ControllerModelIn,
    ControllerModelOut,
    DoneOut,
    FindingOut,
    InletIn,
    OutletIn,
    OutletOut,
    StarterOut,
    UnitIn,
    UnitOut,
    VersionIn,
    ZoneIn,
    ZoneOut,
    accepted,
)

__all__ = [
    "ActSerializer",
    "AirHandlerIn",
    "AirHandlerOut",
    "BoxModelIn",
    "BoxModelOut",
    "ChangeOut",
    "ControllerModelIn",
    "ControllerModelOut",
    "DoneOut",
    "FindingOut",
    "InletIn",
    "OutletIn",
    "OutletOut",
    "StarterOut",
    "UnitIn",
    "UnitOut",
    "VersionIn",
    "ZoneIn",
    "ZoneOut",
    "accepted",
]
