"""Reading the inventory: lists, details and the snapshots that other apps judge."""

from __future__ import annotations

from zones.inventory.queries.units import (
    LISTED,
    UNIT_SORTS,
    UnitFilter,
    count_units,
    findings,
    list_units,
    unit_facts,
    unit_id_of,
    unit_ids,
    unit_row,
)

__all__ = [
    "LISTED",
    "UNIT_SORTS",
    "UnitFilter",
    "count_units",
    "findings",
    "list_units",
    "unit_facts",
    "unit_id_of",
    "unit_ids",
    "unit_row",
]
