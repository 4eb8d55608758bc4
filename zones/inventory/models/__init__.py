"""Tables of the inventory."""

from __future__ import annotations

from zones.inventory.models.imports import (
    ColumnMemory,
    ImportState,
    ImportTarget,
    RowOutcome,
    ScheduleImport,
    ScheduleRow,
    WorkState,
)
from zones.inventory.models.library import BoxInlet, BoxModel, ControllerModel
from zones.inventory.models.units import (
    AirHandler,
    FanChoice,
    HeatChoice,
    Outlet,
    OutletKind,
    TerminalUnit,
    Zone,
)

__all__ = [
    "AirHandler",
    "BoxInlet",
    "BoxModel",
    "ColumnMemory",
    "ControllerModel",
    "FanChoice",
    "HeatChoice",
    "ImportState",
    "ImportTarget",
    "Outlet",
    "OutletKind",
    "RowOutcome",
    "ScheduleImport",
    "ScheduleRow",
    "TerminalUnit",
    "WorkState",
    "Zone",
]
