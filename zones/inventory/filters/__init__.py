"""Filters of lists: how an address is read, and the bar that writes it."""

from __future__ import annotations

from zones.inventory.filters.address import (
    AIR_HANDLER_PARAMETERS,
    ARCHIVED,
    OUTLET_PARAMETERS,
    UNIT_PARAMETERS,
    ZONE_PARAMETERS,
    Parameter,
    Read,
    outlet_filter,
    read,
    unit_filter,
)
from zones.inventory.filters.bar import choices, simple_bar, unit_filter_bar

__all__ = [
    "AIR_HANDLER_PARAMETERS",
    "ARCHIVED",
    "OUTLET_PARAMETERS",
    "UNIT_PARAMETERS",
    "ZONE_PARAMETERS",
    "Parameter",
    "Read",
    "choices",
    "outlet_filter",
    "read",
    "simple_bar",
    "unit_filter",
    "unit_filter_bar",
]
