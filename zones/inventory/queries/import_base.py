"""The record as a schedule import is held against it, and a digest that tells when it changed."""

from __future__ import annotations

from typing import Any

from django.db import connection

from projectsite.core.scope import Scope
from zones.inventory.domain.fields import OUTLET_FIELDS, UNIT_FIELDS
from zones.inventory.domain.schedule.types import Base, BoxModel, Existing, Inlet, tag_key
from zones.inventory.models import (
    AirHandler,
    BoxInlet,
    ControllerModel,
    Outlet,
    TerminalUnit,
    Zone,
)
from zones.inventory.models import (
    BoxModel as BoxModelRecord,
)

_UNIT_SOURCES = {
    **{f.name: f.column for f in UNIT_FIELDS if f.is_stored},
    "air_handler": "air_handler__tag",
    "zone": "zone__tag",
}
_OUTLET_SOURCES = {f.name: f.column for f in OUTLET_FIELDS if f.is_stored}

_STATE = "string_agg(id || ':' || version || ':' || (archived_at IS NULL), ',' ORDER BY id)"
_NAMED = "string_agg(id || ':' || name || ':' || (archived_at IS NULL), ',' ORDER BY id)"
_MARK = f"""
SELECT md5(string_agg(part, ' ' ORDER BY part)) FROM (
    SELECT 'u' || md5({_STATE}) AS part FROM inventory_terminalunit WHERE project_id = %(project)s
    UNION ALL
    SELECT 'a' || md5({_STATE}) FROM inventory_airhandler WHERE project_id = %(project)s
    UNION ALL
    SELECT 'z' || md5({_STATE}) FROM inventory_zone WHERE project_id = %(project)s
    UNION ALL
    SELECT 'o' || md5({_STATE}) FROM inventory_outlet WHERE project_id = %(project)s
    UNION ALL
    SELECT 'i' || md5(string_agg(id || ':' || label || ':' || diameter_m, ',' ORDER BY id))
      FROM inventory_boxinlet
    UNION ALL
    SELECT 'b' || md5({_NAMED}) FROM inventory_boxmodel
    UNION ALL
    SELECT 'c' || md5({_NAMED}) FROM inventory_controllermodel
) parts
"""  # noqa: S608  # made of the constants above


def base_mark(scope: Scope) -> str:
    """Digest of everything that a preview depends on; another digest means another preview."""
    with connection.cursor() as cursor:
        cursor.execute(_MARK, {"project": scope.project.id})
        row = cursor.fetchone()
    return str(row[0] or "") if row else ""


def import_base(scope: Scope, target: str) -> Base:
    """The project's records and the library, in seven queries at most."""
    if target == "outlets":
        return _outlet_base(scope)
    handlers, archived_handlers = _tags(AirHandler, scope)
    zones, archived_zones = _tags(Zone, scope)
    controllers = ControllerModel.objects.filter(archived_at=None).values_list("name", "id")
    return Base(
        records=_unit_records(scope),
        air_handlers=handlers,
        archived_air_handlers=archived_handlers,
        zones=zones,
        archived_zones=archived_zones,
        box_models=library_models(),
        controllers={tag_key(name): key for name, key in controllers},
    )


def _tags(model: type[AirHandler | Zone], scope: Scope) -> tuple[frozenset[str], frozenset[str]]:
    rows = list(model.objects.filter(project_id=scope.project.id).values_list("tag", "archived_at"))
    in_use = frozenset(tag_key(tag) for tag, archived in rows if archived is None)
    return in_use, frozenset(tag_key(tag) for tag, archived in rows if archived is not None)


def _unit_records(scope: Scope) -> dict[str, Existing]:
    names = tuple(_UNIT_SOURCES)
    rows = TerminalUnit.objects.filter(project_id=scope.project.id).values_list(
        "id", "archived_at", "inlet__box_model_id", *_UNIT_SOURCES.values()
    )
    found = {}
    for unit_id, archived_at, box_model_id, *values in rows:
        record: dict[str, Any] = dict(zip(names, values, strict=True))
        record["air_handler"] = record["air_handler"] or ""
        record["zone"] = record["zone"] or ""
        found[tag_key(record["tag"])] = Existing(
            unit_id, unit_id, record, archived_at is not None, box_model_id
        )
    return found


def library_models() -> tuple[BoxModel, ...]:
    """Box models in use with their inlets, by name."""
    inlets: dict[int, list[Inlet]] = {}
    rows = BoxInlet.objects.filter(box_model__archived_at=None).order_by("diameter_m", "id")
    for model_id, key, label, diameter_m in rows.values_list(
        "box_model_id", "id", "label", "diameter_m"
    ):
        inlets.setdefault(model_id, []).append(Inlet(key, label, diameter_m))
    models = BoxModelRecord.objects.filter(archived_at=None).order_by("name", "id")
    return tuple(
        BoxModel(key, name, tuple(inlets.get(key, ())))
        for key, name in models.values_list("id", "name")
    )


def _outlet_base(scope: Scope) -> Base:
    names = tuple(_OUTLET_SOURCES)
    units: dict[str, int] = {}
    archived = set()
    tags = {}
    rows = TerminalUnit.objects.filter(project_id=scope.project.id)
    for unit_id, tag, archived_at in rows.values_list("id", "tag", "archived_at"):
        tags[unit_id] = tag_key(tag)
        if archived_at is None:
            units[tag_key(tag)] = unit_id
        else:
            archived.add(tag_key(tag))
    records = {}
    outlets = Outlet.objects.filter(project_id=scope.project.id)
    for outlet_id, unit_id, archived_at, *values in outlets.values_list(
        "id", "unit_id", "archived_at", *_OUTLET_SOURCES.values()
    ):
        record: dict[str, Any] = dict(zip(names, values, strict=True))
        key = f"{tags[unit_id]}\n{tag_key(record['tag'])}"
        records[key] = Existing(outlet_id, unit_id, record, archived_at is not None)
    return Base(records=records, units=units, archived_units=frozenset(archived))
