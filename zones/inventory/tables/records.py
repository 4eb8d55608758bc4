"""Tables of air handlers, zones, outlets, the library and the change log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from django.urls import reverse

from projectsite.core import units
from projectsite.core.quantities import KINDS
from projectsite.core.scope import Scope
from projectsite.ui.lists import Listing
from projectsite.ui.tables import Column, Empty, Table
from zones.inventory.domain.fields import OUTLET_KINDS, Field
from zones.inventory.domain.types import (
    AirHandlerFacts,
    BoxModelFacts,
    Change,
    ControllerModelFacts,
    InletFacts,
    ZoneFacts,
)

_KINDS = dict(OUTLET_KINDS)


def _sum(values: Sequence[Any]) -> float:
    return float(sum(value for value in values if value is not None))


def air_handler_table(
    scope: Scope, rows: Sequence[AirHandlerFacts], *, listing: Listing | None = None
) -> Table:
    """Air handlers with what their units add up to."""
    key = scope.project.key
    may_edit = scope.allows("edit-inventory")
    return Table(
        "Air handlers",
        (
            Column(
                "tag",
                "Tag",
                link=lambda r: reverse("inventory:air-handler", args=[key, r.id]),
                width=12,
            ),
            Column("name", "Name", priority=2, width=24),
            Column("units", "Units", "count", total=sum),
            Column("sum_cooling_max_m3_s", "Sum of cooling maxima", "airflow", total=_sum),
            Column("sum_cooling_min_m3_s", "Sum of cooling minima", "airflow", priority=2),
            Column("design_m3_s", "Design airflow", "airflow"),
            Column("diversity", "Diversity", "fraction", priority=2),
            Column("design_static_pa", "Design static", "pressure", priority=3),
            Column("design_supply_degc", "Supply air", "temperature", priority=3),
        ),
        rows,
        system=scope.system,
        listing=listing,
        empty=Empty(
            "No air handlers yet.",
            "Units are gathered by the air handler that feeds them; a schedule import adds them.",
            reverse("inventory:air-handler-add", args=[key]) if may_edit else "",
            "Add an air handler",
        ),
    )


def zone_table(scope: Scope, rows: Sequence[ZoneFacts], *, listing: Listing | None = None) -> Table:
    """Zones with the units that serve them."""
    key = scope.project.key
    may_edit = scope.allows("edit-inventory")
    return Table(
        "Zones",
        (
            Column(
                "tag",
                "Tag",
                sort="tag",
                link=lambda r: reverse("inventory:zone", args=[key, r.id]),
                width=14,
            ),
            Column("name", "Name", sort="name", width=28),
            Column("floor", "Floor", sort="floor", priority=2),
            Column("area_m2", "Floor area", "floor_area", sort="area_m2", priority=2),
            Column("population", "People", "people", sort="population", priority=2),
            Column("units", "Units", "count"),
            Column("sum_cooling_max_m3_s", "Cooling maximum", "airflow"),
        ),
        rows,
        system=scope.system,
        listing=listing,
        empty=Empty(
            "No zones yet.",
            "A zone is the room or group of rooms that a unit serves.",
            reverse("inventory:zone-add", args=[key]) if may_edit else "",
            "Add a zone",
        ),
    )


def outlet_table(scope: Scope, rows: Sequence[Mapping[str, Any]]) -> Table:
    """Outlets of a unit with their design sum."""
    key = scope.project.key
    may_edit = scope.allows("edit-inventory")
    return Table(
        "Outlets",
        (
            Column(
                "tag",
                "Tag",
                link=(lambda r: reverse("inventory:outlet-edit", args=[key, r["id"]]))
                if may_edit
                else None,
                width=12,
            ),
            Column("kind", "Kind", value=lambda r: _KINDS[r["kind"]], priority=2),
            Column("location", "Location", priority=2, width=24),
            Column("design_m3_s", "Design", "airflow", total=_sum),
            Column("hood_factor", "Hood factor", "figure"),
        ),
        rows,
        system=scope.system,
        empty=Empty(
            "No outlets yet.",
            "With its outlets listed, a unit's airflow can be the sum of hood readings."
            + (" Add them below." if may_edit else ""),
        ),
    )


def box_model_table(scope: Scope, rows: Sequence[BoxModelFacts]) -> Table:
    """Box models of the library."""
    key = scope.project.key
    return Table(
        "Box models",
        (
            Column(
                "name",
                "Box model",
                link=lambda r: reverse("inventory:library-box-model", args=[key, r.id]),
                width=30,
            ),
            Column("inlets", "Inlets", value=lambda r: ", ".join(i.label for i in r.inlets)),
            Column("units", "Units here", "count"),
        ),
        rows,
        system=scope.system,
        empty=Empty("No box models yet.", "Add the generic starter library, or a model by hand."),
    )


def inlet_table(
    scope: Scope, rows: Sequence[InletFacts], use: Mapping[int, int], *, units_at: str
) -> Table:
    """Inlets of a box model and who uses them in this project."""
    key = scope.project.key
    may_edit = scope.allows("edit-library")
    return Table(
        "Inlets",
        (
            Column(
                "label",
                "Inlet",
                link=(lambda r: reverse("inventory:library-inlet-edit", args=[key, r.id]))
                if may_edit
                else None,
            ),
            Column("diameter_m", "Diameter", "diameter", priority=2),
            Column("free_area_m2", "Free area", "free_area"),
            Column("nominal_k_m3_s_sqrt_pa", "Nominal K", "k_factor"),
            Column("scheduled_low_m3_s", "Smallest", "airflow", group="Scheduled", priority=2),
            Column("scheduled_high_m3_s", "Largest", "airflow", group="Scheduled", priority=2),
            Column(
                "id",
                "Units here",
                "count",
                value=lambda r: use.get(r.id, 0),
                link=lambda r: f"{units_at}?inlet={r.label}" if use.get(r.id) else "",
            ),
        ),
        rows,
        system=scope.system,
        empty=Empty("No inlets yet.", "Each inlet size has its own free area and K factor."),
    )


def controller_table(scope: Scope, rows: Sequence[ControllerModelFacts]) -> Table:
    """Controller models of the library."""
    key = scope.project.key
    return Table(
        "Controller models",
        (
            Column(
                "name",
                "Controller model",
                link=lambda r: reverse("inventory:library-controller-model", args=[key, r.id]),
                width=30,
            ),
            Column(
                "readable_pressure_pa",
                "Lowest readable",
                "pressure",
                value=lambda r: r.limits.readable_pressure_pa,
            ),
            Column("span_pa", "Range", "pressure", value=lambda r: r.limits.span_pa, priority=2),
            Column(
                "accuracy_fraction",
                "Of reading",
                "fraction",
                value=lambda r: r.limits.accuracy_fraction,
                group="Accuracy",
                priority=2,
            ),
            Column(
                "accuracy_floor_pa",
                "Fixed part",
                "pressure",
                value=lambda r: r.limits.accuracy_floor_pa,
                group="Accuracy",
                priority=2,
            ),
            Column("units", "Units here", "count"),
        ),
        rows,
        system=scope.system,
        empty=Empty("No controller models yet."),
    )


def shown_value(scope: Scope, value: Any, kind: str) -> str:
    """Print a value of a change log in the reader's units."""
    if value is None or value == "":
        return "—"
    if kind in KINDS and isinstance(value, int | float):
        return units.show(float(value), kind, scope.system, with_unit=True)
    return str(value)


def log_table(scope: Scope, rows: Sequence[Change]) -> Table:
    """Change log of a record: who changed what, when, from where."""

    def change(line: Change) -> str:
        if not line.field:
            return ""
        old = shown_value(scope, line.old, line.kind)
        return f"{old} → {shown_value(scope, line.new, line.kind)}"

    def subject(line: Change) -> str:
        what = line.label or line.what
        return f"{line.record}: {what.lower()}" if line.record else what.capitalize()

    return Table(
        "Change log",
        (
            Column("at", "When", "time"),
            Column("record", "What", value=subject),
            Column("new", "Old → new", value=change),
            Column("who", "Who", value=lambda line: line.who or "—"),
            Column("where", "From", priority=2),
        ),
        rows,
        system=scope.system,
        zone=ZoneInfo(scope.project.time_zone),
        empty=Empty("No changes yet."),
    )


def facts_of(scope: Scope, fields: Sequence[Field], record: Any) -> list[tuple[str, str]]:
    """Label and value of each field of a record, in the reader's units; gaps as dashes."""
    return [
        (field.label, shown_value(scope, getattr(record, field.name), field.kind))
        for field in fields
        if field.name not in {"tag", "name", "note"}
    ]
