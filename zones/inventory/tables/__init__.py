"""Tables of the inventory: one declaration for the page, workbooks and documents."""

from __future__ import annotations

from zones.inventory.tables.records import (
    air_handler_table,
    box_model_table,
    controller_table,
    facts_of,
    inlet_table,
    log_table,
    outlet_table,
    zone_table,
)
from zones.inventory.tables.units import Choice, columns_to_read, shown_groups, unit_table

__all__ = [
    "Choice",
    "air_handler_table",
    "box_model_table",
    "columns_to_read",
    "controller_table",
    "facts_of",
    "inlet_table",
    "log_table",
    "outlet_table",
    "shown_groups",
    "unit_table",
    "zone_table",
]
