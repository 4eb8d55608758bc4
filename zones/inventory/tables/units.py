"""Tables of terminal units: narrow for the day, every field on demand, the same in files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, Literal

from django.urls import reverse

from projectsite.core import units
from projectsite.core.scope import Scope
from projectsite.ui.lists import Listing
from projectsite.ui.marks import delta
from projectsite.ui.tables import Column, Empty, Selection, Table
from zones.inventory.domain.fields import FANS, HEATS, UNIT_FIELD, UNIT_FIELDS, Field, groups

Choice = Literal["narrow", "all"]
NARROW = (
    "tag",
    "air_handler",
    "zone",
    "floor",
    "inlet",
    "heat",
    "cooling_max_m3_s",
    "cooling_min_m3_s",
    "heating_max_m3_s",
    "controller_model",
)
"""Fields of the list unless every column is asked for."""

_PRIORITY: Mapping[str, Literal[1, 2, 3]] = {
    "zone": 2,
    "floor": 2,
    "heat": 2,
    "air_handler": 2,
    "heating_max_m3_s": 2,
    "controller_model": 3,
}
_WORDS = {"heat": dict(HEATS), "fan": dict(FANS)}
_SHORT = {
    "cooling_max_m3_s": ("Cooling", "Maximum"),
    "cooling_min_m3_s": ("Cooling", "Minimum"),
    "heating_max_m3_s": ("Heating", "Maximum"),
    "heating_min_m3_s": ("Heating", "Minimum"),
    "standby_min_m3_s": ("Standby", "Minimum"),
}


def names(choice: Choice) -> tuple[str, ...]:
    """Names of the fields that the list shows."""
    return NARROW if choice == "narrow" else tuple(field.name for field in UNIT_FIELDS)


def columns_to_read(choice: Choice) -> tuple[str, ...]:
    """Names that a row of the list needs."""
    return ("id", *names(choice), "revision")


def _column(field: Field, units_at: str) -> Column:
    kind = (
        field.kind
        if field.is_quantity
        else {"count": "count", "figure": "figure"}.get(field.kind, "")
    )
    name = field.name
    group, label = _SHORT.get(name, ("", field.label))
    words = _WORDS.get(name)
    return Column(
        name,
        label,
        kind,
        value=(lambda row: words.get(row[name], row[name])) if words else None,
        sort=name if name != "note" else "",
        group=group,
        priority=_PRIORITY.get(name, 1),
        link=(lambda row: f"{units_at}{row['id']}/") if name == "tag" else None,
        width=14.0 if field.kind in {"text", "link"} else 0.0,
    )


@lru_cache(maxsize=1024)
def _columns(choice: Choice, units_at: str) -> tuple[Column, ...]:
    return tuple(_column(UNIT_FIELD[name], units_at) for name in names(choice))


def unit_table(
    scope: Scope,
    rows: Sequence[Mapping[str, Any]],
    *,
    choice: Choice = "narrow",
    listing: Listing | None = None,
    latest_revision: int = 0,
    can_edit: bool = False,
    can_import: bool = False,
    caption: str = "Terminal units",
) -> Table:
    """Declare the table of units; ``latest_revision`` marks what the last addendum changed."""
    key = scope.project.key
    units_at = reverse("inventory:units", args=[key])

    def triangle(row: Mapping[str, Any]) -> Any:
        revision = row["revision"]
        is_latest = revision and revision == latest_revision
        return delta(revision) if is_latest else revision or ""

    last = Column("revision", "Rev.", "count", sort="revision", align="center", html=triangle)
    empty = Empty("No terminal units yet.", "The office adds them or imports a schedule.")
    if can_edit and not rows:
        empty = Empty(
            "No terminal units yet.",
            "Import the mechanical schedule, or add the first unit by hand.",
            reverse("inventory:import-new", args=[key]) if can_import else f"{units_at}add/",
            "Import a schedule" if can_import else "Add a unit",
        )
    return Table(
        caption=caption,
        columns=(*_columns(choice, units_at), last),
        rows=rows,
        system=scope.system,
        listing=listing,
        selection=Selection("unit", lambda r: r["id"], lambda r: r["tag"], form="bulk")
        if can_edit and listing is not None
        else None,
        empty=empty,
        wide=choice == "all",
    )


def shown_groups(scope: Scope, row: Mapping[str, Any]) -> list[tuple[str, list[tuple[str, str]]]]:
    """A unit's fields under their headings, in words and in the reader's units.

    A group without any value is left out, except for airflow: there a gap says something.
    """
    found = []
    for group, fields in groups(UNIT_FIELDS).items():
        pairs = [(field.label, _words(scope, field, row[field.name])) for field in fields]
        known = [(label, text) for label, text in pairs if text]
        if group == "Airflow":
            found.append((group, [(label, text or "—") for label, text in pairs]))
        elif known:
            found.append((group, known))
    return found


def _words(scope: Scope, field: Field, value: Any) -> str:
    if value is None or value == "":
        return ""
    if field.is_quantity:
        return units.show(value, field.kind, scope.system, with_unit=True)
    if field.name in _WORDS:
        return _WORDS[field.name].get(str(value), str(value))
    return f"{value:g}" if isinstance(value, float) else str(value)
