"""Terminal units: lists, one unit, and the snapshots that other apps judge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import orjson
from django.db import connection

from projectsite.core import units
from projectsite.core.errors import NotFound
from projectsite.core.findings import Finding
from projectsite.core.scope import Scope
from zones.inventory.domain import rules
from zones.inventory.domain.fields import UNIT_FIELD, UNIT_FIELDS
from zones.inventory.domain.types import ControllerFacts, InletFacts, OutletFacts, UnitFacts
from zones.inventory.models import Outlet, ScheduleRow, TerminalUnit, Zone
from zones.inventory.queries import unit_sql
from zones.inventory.queries.library import inlets_of
from zones.inventory.queries.unit_sql import Conditions

UNIT_SORTS = unit_sql.SORTS
LISTED: tuple[str, ...] = tuple(unit_sql.EXPRESSIONS)
"""Columns of a listed unit, in the order of the field list."""


@dataclass(frozen=True, slots=True)
class UnitFilter:
    """Which units are wanted; an empty value leaves the filter out."""

    text: str = ""
    air_handler: int | None = None
    zone: int | None = None
    floor: str | None = None
    heat: str = ""
    fan: str = ""
    inlet: str = ""
    controller_model: int | None = None
    revision: int | None = None
    archived: bool = False
    ids: tuple[int, ...] | None = None


def _conditions(scope: Scope, wanted: UnitFilter) -> Conditions:
    found = Conditions()
    found.add("u.project_id = %s", scope.project.id)
    found.add(f"u.archived_at IS {'NOT NULL' if wanted.archived else 'NULL'}")
    if wanted.text:
        unit_sql.add_text(found, scope.project.id, wanted.text)
    plain = {
        "u.air_handler_id = %s": wanted.air_handler,
        "u.zone_id = %s": wanted.zone,
        "u.floor = %s": wanted.floor,
        "u.heat = %s": wanted.heat or None,
        "u.fan = %s": wanted.fan or None,
        "lower(bi.label) = lower(%s)": wanted.inlet or None,
        "u.controller_model_id = %s": wanted.controller_model,
        "u.revision = %s": wanted.revision,
        "u.id = ANY(%s)": None if wanted.ids is None else list(wanted.ids),
    }
    for clause, value in plain.items():
        if value is not None:
            found.add(clause, value)
    return found


def count_units(scope: Scope, wanted: UnitFilter) -> int:
    """Count the units that match."""
    conditions = _conditions(scope, wanted)
    with connection.cursor() as cursor:
        cursor.execute(unit_sql.count(conditions), conditions.values)
        return int(cursor.fetchone()[0])


def list_units(
    scope: Scope,
    wanted: UnitFilter,
    *,
    sort: str = "tag",
    offset: int = 0,
    limit: int | None = None,
    columns: Sequence[str] = LISTED,
) -> list[dict[str, Any]]:
    """Read one page of units as plain values, keyed by field name.

    ``columns`` are names out of ``LISTED``; ``sort`` is one of ``UNIT_SORTS`` with ``-`` in
    front for downwards. Unknown values come last either way.
    """
    conditions = _conditions(scope, wanted)
    sql = unit_sql.page(columns, conditions, sort, limit=limit is not None)
    ends = [offset] if limit is None else [offset, limit]
    with connection.cursor() as cursor:
        cursor.execute(sql, [*conditions.values, *ends])
        return _named(columns, cursor.fetchall())


def page_of_units(
    scope: Scope,
    wanted: UnitFilter,
    *,
    sort: str,
    offset: int,
    limit: int,
    columns: Sequence[str] = LISTED,
) -> tuple[int, list[dict[str, Any]]]:
    """Number of units that match and one page of them, in one query.

    Behind the last page there are no rows, and the number is counted by itself.
    """
    conditions = _conditions(scope, wanted)
    sql = unit_sql.counted_page(columns, conditions, sort)
    with connection.cursor() as cursor:
        cursor.execute(sql, [*conditions.values, *conditions.values, offset, limit])
        rows = cursor.fetchall()
    if not rows:
        return (count_units(scope, wanted) if offset else 0), []
    return rows[0][0], _named(columns, [row[1:] for row in rows])


def _named(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> list[dict[str, Any]]:
    named = [dict(zip(columns, row, strict=True)) for row in rows]
    if "entered" in columns:
        for row in named:  # a bare cursor leaves JSON as text
            row["entered"] = orjson.loads(row["entered"])
    return named


def unit_row(scope: Scope, unit_id: int) -> dict[str, Any]:
    """Read one unit as plain values, archived or not; NotFound when it is not in the project."""
    conditions = Conditions(["u.project_id = %s", "u.id = %s"], [scope.project.id, unit_id])
    with connection.cursor() as cursor:
        cursor.execute(
            unit_sql.page(LISTED, conditions, "tag", limit=False), [*conditions.values, 0]
        )
        row = cursor.fetchone()
    if row is None:
        raise NotFound("There is no such terminal unit in this project.")
    return _named(LISTED, [row])[0]


def unit_id_of(scope: Scope, tag: str) -> int:
    """Find a unit's id by its tag, whatever its case; NotFound when there is none."""
    found = (
        TerminalUnit.objects.filter(project_id=scope.project.id, tag__iexact=tag)
        .values_list("id", flat=True)
        .first()
    )
    if found is None:
        raise NotFound(f"There is no terminal unit {tag} in this project.")
    return found


def unit_ids(scope: Scope, wanted: UnitFilter | None = None) -> list[int]:
    """Ids of the units that match, by tag."""
    return [row["id"] for row in list_units(scope, wanted or UnitFilter(), columns=("id",))]


_DIRECT = tuple(
    f.name
    for f in UNIT_FIELDS
    if f.is_stored and f.kind != "link" and not f.name.startswith("position") and f.name != "note"
)
_FACT_COLUMNS = (
    "id",
    "sort_key",
    *_DIRECT,
    "air_handler_id",
    "air_handler__tag",
    "zone_id",
    "zone__tag",
    "inlet_id",
    "inlet__box_model_id",
    "inlet__box_model__name",
    "controller_model_id",
    "controller_model__name",
    "controller_model__readable_pressure_pa",
    "controller_model__span_pa",
    "controller_model__accuracy_fraction",
    "controller_model__accuracy_floor_pa",
    "revision",
    "archived_at",
    "version",
)


def unit_facts(scope: Scope, unit_ids: Sequence[int]) -> list[UnitFacts]:
    """Snapshots of these units of the project, in the order of their tags, in three queries.

    Units of other projects are left out; archived units are included and say so.
    """
    rows = list(
        TerminalUnit.objects.filter(project_id=scope.project.id, id__in=unit_ids)
        .order_by("sort_key", "id")
        .values(*_FACT_COLUMNS)
    )
    inlets = inlets_of({row["inlet__box_model_id"] for row in rows} - {None})
    outlets = _outlets(scope, [row["id"] for row in rows])
    return [_facts(row, inlets, outlets) for row in rows]


def _outlets(scope: Scope, unit_ids: Sequence[int]) -> dict[int, list[OutletFacts]]:
    found: dict[int, list[OutletFacts]] = {}
    rows = Outlet.objects.filter(
        project_id=scope.project.id, unit_id__in=unit_ids, archived_at=None
    ).order_by("unit_id", "sort_key", "id")
    for row in rows.values_list(
        "unit_id", "id", "tag", "kind", "location", "design_m3_s", "hood_factor"
    ):
        found.setdefault(row[0], []).append(OutletFacts(*row[1:]))
    return found


def _facts(
    row: Mapping[str, Any],
    inlets: Mapping[int, tuple[InletFacts, ...]],
    outlets: Mapping[int, list[OutletFacts]],
) -> UnitFacts:
    of_model = inlets.get(row["inlet__box_model_id"], ())
    controller = None
    if row["controller_model_id"] is not None:
        controller = ControllerFacts(
            row["controller_model_id"],
            row["controller_model__name"],
            row["controller_model__readable_pressure_pa"],
            row["controller_model__span_pa"],
            row["controller_model__accuracy_fraction"],
            row["controller_model__accuracy_floor_pa"],
        )
    return UnitFacts(
        id=row["id"],
        sort_key=row["sort_key"],
        air_handler_id=row["air_handler_id"],
        air_handler=row["air_handler__tag"] or "",
        zone_id=row["zone_id"],
        zone=row["zone__tag"] or "",
        box_model_id=row["inlet__box_model_id"],
        box_model=row["inlet__box_model__name"] or "",
        inlet=next((inlet for inlet in of_model if inlet.id == row["inlet_id"]), None),
        inlets=of_model,
        controller=controller,
        outlets=tuple(outlets.get(row["id"], ())),
        revision=row["revision"],
        is_archived=row["archived_at"] is not None,
        version=row["version"],
        **{name: row[name] for name in _DIRECT},
    )


def findings(scope: Scope, unit_ids: Sequence[int]) -> list[Finding]:
    """What the inventory finds about these units."""

    def show(value: float, kind: str) -> str:
        return units.show(value, kind, scope.system, with_unit=True)

    return [found for unit in unit_facts(scope, unit_ids) for found in rules.check(unit, show)]


@dataclass(frozen=True, slots=True)
class RevisionNote:
    """Which schedule revision last touched a unit, and in which fields."""

    number: int
    label: str
    fields: tuple[str, ...]


def revision_note(scope: Scope, unit_id: int) -> RevisionNote | None:
    """What the newest applied revision changed in a unit; None when none did, in one query."""
    row = (
        ScheduleRow.objects.filter(
            project_id=scope.project.id,
            unit_id=unit_id,
            outcome="changed",
            schedule_import__revision__gt=0,
        )
        .order_by("-schedule_import__revision", "-id")
        .values_list(
            "schedule_import__revision",
            "schedule_import__label",
            "schedule_import__file_name",
            "changes",
        )
        .first()
    )
    if row is None:
        return None
    number, label, file_name, changes = row
    labels = tuple(UNIT_FIELD[name].label for name in changes if name in UNIT_FIELD)
    return RevisionNote(number or 0, label or file_name, labels)


def zone_tags(scope: Scope) -> list[tuple[int, str]]:
    """Zones in use by id and tag, to choose from."""
    rows = Zone.objects.filter(project_id=scope.project.id, archived_at=None)
    return list(rows.order_by("sort_key", "id").values_list("id", "tag"))
