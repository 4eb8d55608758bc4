"""SQL of the list of units.

Written by hand, because putting together 37 columns and five joins anew for each request
costs the ORM more time than the database needs to answer. Names of columns come from the
field list only and every value is a parameter: nothing that a person sends gets into the SQL.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from zones.inventory.domain.fields import UNIT_FIELDS

_TABLES = """
FROM inventory_terminalunit u
LEFT JOIN inventory_airhandler ah ON ah.id = u.air_handler_id
LEFT JOIN inventory_zone z ON z.id = u.zone_id
LEFT JOIN inventory_boxinlet bi ON bi.id = u.inlet_id
LEFT JOIN inventory_boxmodel bm ON bm.id = bi.box_model_id
LEFT JOIN inventory_controllermodel cm ON cm.id = u.controller_model_id
"""
_LINKS = {
    "air_handler": "ah.tag",
    "zone": "z.tag",
    "box_model": "bm.name",
    "inlet": "bi.label",
    "controller_model": "cm.name",
}
# Looked up row by row: five joins of a hundred rows cost more to plan than to do.
_SHOWN = {
    "air_handler": "(SELECT tag FROM inventory_airhandler WHERE id = u.air_handler_id)",
    "zone": "(SELECT tag FROM inventory_zone WHERE id = u.zone_id)",
    "box_model": "(SELECT bm.name FROM inventory_boxinlet bi "
    "JOIN inventory_boxmodel bm ON bm.id = bi.box_model_id WHERE bi.id = u.inlet_id)",
    "inlet": "(SELECT label FROM inventory_boxinlet WHERE id = u.inlet_id)",
    "controller_model": "(SELECT name FROM inventory_controllermodel "
    "WHERE id = u.controller_model_id)",
}
EXPRESSIONS: Mapping[str, str] = {
    "id": "u.id",
    **{f.name: _SHOWN.get(f.name, f"u.{f.name}") for f in UNIT_FIELDS},
    "air_handler_id": "u.air_handler_id",
    "zone_id": "u.zone_id",
    "inlet_id": "u.inlet_id",
    "controller_model_id": "u.controller_model_id",
    "entered": "u.entered",
    "revision": "u.revision",
    "archived_at": "u.archived_at",
    "version": "u.version",
}
"""Every column of a listed unit, in the order of the field list."""

_ORDERS: Mapping[str, str] = {
    **{
        f.name: _LINKS.get(f.name, f"u.{f.name}")
        for f in UNIT_FIELDS
        if f.name not in {"tag", "note"}
    },
    "air_handler": "ah.sort_key",
    "zone": "z.sort_key",
    "inlet": "bi.diameter_m",
    "revision": "u.revision",
}
SORTS: tuple[str, ...] = ("tag", *_ORDERS)
"""What a list of units can be ordered by."""


@dataclass(slots=True)
class Conditions:
    """Conditions of a WHERE clause with their parameters."""

    clauses: list[str] = field(default_factory=list)
    values: list[Any] = field(default_factory=list)

    def add(self, clause: str, *values: Any) -> None:
        """Ask for one more thing."""
        self.clauses.append(clause)
        self.values.extend(values)

    @property
    def sql(self) -> str:
        """All conditions together."""
        return " AND ".join(self.clauses)


def containing(text: str) -> str:
    """Pattern for texts that contain this one, its own wildcards taken literally."""
    escaped = text.replace("\\", "\\\\").replace("%", r"\%").replace("_", r"\_")
    return f"%{escaped}%"


def add_text(conditions: Conditions, project_id: int, text: str) -> None:
    """Search tag, location and note of the unit, tag and name of its zone."""
    pattern = containing(text)
    conditions.add(
        "(u.search_text LIKE lower(%s) "
        "OR u.zone_id IN (SELECT id FROM inventory_zone "
        "WHERE project_id = %s AND (tag || E'\\n' || name) ILIKE %s))",
        pattern,
        project_id,
        pattern,
    )


def order(sort: str) -> str:
    """ORDER BY of a sort key; unknown values come last either way."""
    down = "DESC" if sort.startswith("-") else "ASC"
    key = sort.removeprefix("-")
    if key == "tag":  # the index gives this order both ways
        return f"u.sort_key {down}, u.id {down}"
    return f"{_ORDERS[key]} {down} NULLS LAST, u.sort_key, u.id"


def count(conditions: Conditions) -> str:
    """Query of the number of units."""
    where = conditions.sql
    return f"SELECT count(*) {_from(where)} WHERE {where}"


def page(columns: Sequence[str], conditions: Conditions, sort: str, *, limit: bool) -> str:
    """Query of one page; its last parameters are offset and, with ``limit``, the limit.

    The page is found among narrow rows; only its own rows are read whole.
    """
    by = order(sort)
    chosen = ", ".join(f'{EXPRESSIONS[name]} AS "{name}"' for name in columns)
    end = "LIMIT %s" if limit else ""
    where = conditions.sql
    narrow = f"SELECT u.id {_from(where + by)} WHERE {where} ORDER BY {by} OFFSET %s {end}"
    placed = f"SELECT id, row_number() OVER () AS place FROM ({narrow}) found"  # noqa: S608  # see above
    units = f"({placed}) c JOIN inventory_terminalunit u ON u.id = c.id"
    return f"SELECT {chosen} FROM {units} ORDER BY c.place"  # noqa: S608  # see above


def counted_page(columns: Sequence[str], conditions: Conditions, sort: str) -> str:
    """Query of one page as ``page`` gives it, the number of all units in front of each row."""
    rows = page(columns, conditions, sort, limit=True)
    return f"SELECT ({count(conditions)}), listed.* FROM ({rows}) listed"  # noqa: S608  # see above


def _from(used: str) -> str:
    """Tables that the conditions and the order need: none but the unit's where it can be."""
    joined = any(f"{alias}." in used for alias in ("ah", "z", "bi", "bm", "cm"))
    return _TABLES if joined else "FROM inventory_terminalunit u"
