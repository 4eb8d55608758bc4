"""Reading the inventory: lists, details and the snapshots that other apps judge."""

from __future__ import annotations

from zones.inventory.queries.air_handlers import air_handler, air_handlers
from zones.inventory.queries.history import unit_log
from zones.inventory.queries.library import (
    Options,
    box_model,
    box_model_of_inlet,
    box_models,
    controller_model,
    controller_models,
    inlet_choices,
    inlet_use,
    options,
)
from zones.inventory.queries.outlets import (
    OUTLET_SORTS,
    OutletFilter,
    count_outlets,
    list_outlets,
    outlet_row,
    outlets_of,
)
from zones.inventory.queries.outlines import (
    by_air_handler,
    outlet_places,
    outlines,
    unit_handlers,
    unit_places,
)
from zones.inventory.queries.units import (
    LISTED,
    UNIT_SORTS,
    RevisionNote,
    UnitFilter,
    count_units,
    findings,
    list_units,
    page_of_units,
    revision_note,
    unit_facts,
    unit_id_of,
    unit_ids,
    unit_row,
    zone_tags,
)
from zones.inventory.queries.zones import ZONE_SORTS, count_zones, zone, zones

__all__ = [
    "LISTED",
    "OUTLET_SORTS",
    "UNIT_SORTS",
    "ZONE_SORTS",
    "Options",
    "OutletFilter",
    "RevisionNote",
    "UnitFilter",
    "air_handler",
    "air_handlers",
    "box_model",
    "box_model_of_inlet",
    "box_models",
    "by_air_handler",
    "controller_model",
    "controller_models",
    "count_outlets",
    "count_units",
    "count_zones",
    "findings",
    "inlet_choices",
    "inlet_use",
    "list_outlets",
    "list_units",
    "options",
    "outlet_places",
    "outlet_row",
    "outlets_of",
    "outlines",
    "page_of_units",
    "revision_note",
    "unit_facts",
    "unit_handlers",
    "unit_id_of",
    "unit_ids",
    "unit_log",
    "unit_places",
    "unit_row",
    "zone",
    "zone_tags",
    "zones",
]
