"""Changing the inventory: one function per use case, one transaction each."""

from __future__ import annotations

from zones.inventory.operations.air_handlers import (
    add_air_handler,
    archive_air_handler,
    change_air_handler,
    restore_air_handler,
)
from zones.inventory.operations.library import (
    add_box_model,
    add_controller_model,
    add_inlet,
    archive_box_model,
    archive_controller_model,
    change_box_model,
    change_controller_model,
    change_inlet,
    load_starter_library,
    remove_inlet,
    restore_box_model,
    restore_controller_model,
)
from zones.inventory.operations.outlets import (
    add_outlet,
    archive_outlet,
    change_outlet,
    restore_outlet,
)
from zones.inventory.operations.units import (
    add_unit,
    archive_unit,
    archive_units,
    change_unit,
    restore_unit,
    restore_units,
    set_on_units,
)
from zones.inventory.operations.zones import add_zone, archive_zone, change_zone, restore_zone

__all__ = [
    "add_air_handler",
    "add_box_model",
    "add_controller_model",
    "add_inlet",
    "add_outlet",
    "add_unit",
    "add_zone",
    "archive_air_handler",
    "archive_box_model",
    "archive_controller_model",
    "archive_outlet",
    "archive_unit",
    "archive_units",
    "archive_zone",
    "change_air_handler",
    "change_box_model",
    "change_controller_model",
    "change_inlet",
    "change_outlet",
    "change_unit",
    "change_zone",
    "load_starter_library",
    "remove_inlet",
    "restore_air_handler",
    "restore_box_model",
    "restore_controller_model",
    "restore_outlet",
    "restore_unit",
    "restore_units",
    "restore_zone",
    "set_on_units",
]
