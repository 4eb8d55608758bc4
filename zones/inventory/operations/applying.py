"""Applying a previewed schedule: set-wise, in one transaction, with history by the triggers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, connection, transaction
from django.db.models import Max

from projectsite.accounts.access import Action
from projectsite.core import numeric
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.scope import Scope
from zones.inventory.domain.fields import OUTLET_FIELDS, UNIT_FIELDS, Field
from zones.inventory.models import AirHandler, ImportState, ScheduleImport, TerminalUnit, Zone
from zones.inventory.queries.import_base import base_mark

# One applier in a project at a time; the number only has to be ours.
_MANY = 200


@dataclass(frozen=True, slots=True)
class Applied:
    """What applying did."""

    revision: int | None
    added: int
    changed: int
    air_handlers: tuple[str, ...] = ()
    zones: tuple[str, ...] = ()


class Outdated(Conflict):
    """The record changed after the preview was made."""

    code = "outdated"


def apply_import(
    scope: Scope, *, import_id: int, version: int, is_whole: bool, at: datetime
) -> Applied:
    """Write the new and the changed rows of a preview, all of them or none.

    Parameters
    ----------
    is_whole
        Refuse unless every row of the file is good; otherwise refused rows are left out.

    Raises
    ------
    Outdated
        A unit, a library entry or another record changed after the preview.
    """
    scope.require(Action.IMPORT_SCHEDULE)
    try:
        return _apply(scope, import_id, version, is_whole=is_whole, at=at)
    except IntegrityError as error:
        # A unit with the same tag was added while this ran; nothing of ours was kept.
        raise Outdated(
            "The record changed while the import was applied. Nothing was written."
        ) from error


@transaction.atomic
def _apply(scope: Scope, import_id: int, version: int, *, is_whole: bool, at: datetime) -> Applied:
    take_turn(Turn.APPLY_SCHEDULE, scope.project.id)
    found = _ready(scope, import_id, version, is_whole=is_whole)
    # Locks in key order, so that two writers wait for each other instead of meeting head on.
    units = TerminalUnit.objects.select_for_update(of=("self",)).filter(project_id=scope.project.id)
    list(units.order_by("id").values_list("id", flat=True))
    if base_mark(scope) != found.base_mark:
        raise Outdated("The record changed after this preview was made. Nothing was written.")
    revision = _next_revision(scope) if found.target == "units" else None
    if found.target == "units":
        applied = _apply_units(scope, found, revision or 0)
    else:
        applied = _apply_outlets(scope, found)
    found.state, found.revision = ImportState.APPLIED, revision
    found.applied_by_id, found.applied_at = scope.person.id, at
    found.version += 1
    found.save()
    return applied


def _ready(scope: Scope, import_id: int, version: int, *, is_whole: bool) -> ScheduleImport:
    rows = ScheduleImport.objects.select_for_update()
    found = rows.filter(project_id=scope.project.id, id=import_id).first()
    if found is None:
        raise NotFound("There is no such import in this project.")
    if found.state == ImportState.APPLIED:
        raise Conflict("This import was applied already. Nothing was written again.")
    if found.state != ImportState.PREVIEW or found.work_state in {"waiting", "running"}:
        raise Conflict("There is no finished preview to apply.")
    if found.version != version:
        raise Conflict("This import changed in the meantime. Look at the preview as it is now.")
    refused = found.counts.get("refused", 0)
    if is_whole and refused:
        row = "row is" if refused == 1 else "rows are"
        raise InvalidInput(f"{refused} {row} refused, so nothing was written.")
    if not found.counts.get("new") and not found.counts.get("changed"):
        raise InvalidInput("No row is new or changed: there is nothing to apply.")
    return found


def _next_revision(scope: Scope) -> int:
    last = ScheduleImport.objects.filter(project_id=scope.project.id).aggregate(n=Max("revision"))[
        "n"
    ]
    return 0 if last is None else last + 1


def _type(field: Field) -> str:
    if field.kind == "link" and field.name not in {"air_handler", "zone"}:
        return "bigint"
    if field.is_text or field.kind == "link":
        return "text"
    return "integer" if field.kind == "count" else "double precision"


def _record(fields: Sequence[Field]) -> str:
    listed = ", ".join(f'"{field.name}" {_type(field)}' for field in fields)
    return f"jsonb_to_record(r.values) AS v({listed})"


_UNITS = tuple(f for f in UNIT_FIELDS if f.is_stored)
_JOINS = """
LEFT JOIN inventory_airhandler ah ON ah.project_id = r.project_id
    AND upper(ah.tag) = upper(v.air_handler) AND v.air_handler <> ''
LEFT JOIN inventory_zone zo ON zo.project_id = r.project_id AND upper(zo.tag) = upper(v.zone)
    AND v.zone <> ''
"""


def _new_value(field: Field) -> str:
    if field.name == "air_handler":
        return "ah.id"
    if field.name == "zone":
        return "zo.id"
    value = f'v."{field.name}"'
    if field.is_text:
        # Only the field list's own words reach the statement, never what a file holds.
        return f"COALESCE({value}, '{field.default or ''}')"
    if field.default is not None:
        return f"COALESCE({value}, {float(field.default)})"
    return value


def _columns(fields: Iterable[Field]) -> str:
    return ", ".join(f'"{field.column}"' for field in fields)


def _changes(fields: Iterable[Field]) -> str:
    return ", ".join(
        f"\"{f.column}\" = CASE WHEN r.changes ? '{f.name}' "
        f'THEN {_new_value(f)} ELSE u."{f.column}" END'
        for f in fields
        if f.name != "tag"
    )


# What was typed is kept for the fields that change, and goes where nothing was typed.
_ENTERED = (
    "(u.entered - ARRAY(SELECT jsonb_object_keys(r.changes))) || "
    "COALESCE((SELECT jsonb_object_agg(e.key, e.value) FROM jsonb_each(r.entered) e "
    "WHERE r.changes ? e.key), '{}'::jsonb)"
)

# The ids go back to the rows in the same statement: a second one would have to find ten thousand
# units that the planner has no statistics of yet.
_INSERT_UNITS = f"""
WITH added AS (
    INSERT INTO inventory_terminalunit (project_id, sort_key, {_columns(_UNITS)}, entered, revision,
        source_import_id, source_row, version)
    SELECT r.project_id, r.sort_key, {", ".join(map(_new_value, _UNITS))}, r.entered, %(revision)s,
        r.schedule_import_id, r.row_number, 1
    FROM inventory_schedulerow r CROSS JOIN LATERAL {_record(_UNITS)} {_JOINS}
    WHERE r.schedule_import_id = %(import)s AND r.outcome = 'new'
    ORDER BY r.row_number
    RETURNING id, source_row
)
UPDATE inventory_schedulerow r SET unit_id = added.id FROM added
WHERE r.schedule_import_id = %(import)s AND r.row_number = added.source_row
"""  # noqa: S608  # made of the field list alone
_UPDATE_UNITS = f"""
UPDATE inventory_terminalunit u SET {_changes(_UNITS)}, entered = {_ENTERED},
    revision = %(revision)s, source_import_id = r.schedule_import_id,
    source_row = r.row_number, version = u.version + 1
FROM inventory_schedulerow r CROSS JOIN LATERAL {_record(_UNITS)} {_JOINS}
WHERE r.schedule_import_id = %(import)s AND r.outcome = 'changed' AND u.id = r.unit_id
    AND u.project_id = r.project_id
"""  # noqa: S608  # made of the field list alone

_OUTLETS = tuple(f for f in OUTLET_FIELDS if f.is_stored)
_INSERT_OUTLETS = f"""
INSERT INTO inventory_outlet (project_id, unit_id, sort_key, {_columns(_OUTLETS)}, entered, version)
SELECT r.project_id, r.unit_id, r.sort_key, {", ".join(map(_new_value, _OUTLETS))}, r.entered, 1
FROM inventory_schedulerow r CROSS JOIN LATERAL {_record(_OUTLETS)}
WHERE r.schedule_import_id = %(import)s AND r.outcome = 'new'
ORDER BY r.row_number
"""  # noqa: S608  # made of the field list alone
_UPDATE_OUTLETS = f"""
UPDATE inventory_outlet u SET {_changes(_OUTLETS)}, entered = {_ENTERED}, version = u.version + 1
FROM inventory_schedulerow r CROSS JOIN LATERAL {_record(_OUTLETS)}
WHERE r.schedule_import_id = %(import)s AND r.outcome = 'changed' AND u.unit_id = r.unit_id
    AND u.project_id = r.project_id AND upper(u.tag) = upper(r.tag)
"""  # noqa: S608  # made of the field list alone

_NEW_TAGS = {
    "air_handler": """
SELECT DISTINCT ON (upper(r.values->>'air_handler')) r.values->>'air_handler', ''
FROM inventory_schedulerow r WHERE r.schedule_import_id = %(import)s
    AND r.outcome IN ('new', 'changed') AND r.values->>'air_handler' <> ''
    AND NOT EXISTS (SELECT 1 FROM inventory_airhandler a WHERE a.project_id = r.project_id
        AND upper(a.tag) = upper(r.values->>'air_handler'))
ORDER BY upper(r.values->>'air_handler'), r.row_number
""",
    "zone": """
SELECT DISTINCT ON (upper(r.values->>'zone')) r.values->>'zone', COALESCE(r.values->>'floor', '')
FROM inventory_schedulerow r WHERE r.schedule_import_id = %(import)s
    AND r.outcome IN ('new', 'changed') AND r.values->>'zone' <> ''
    AND NOT EXISTS (SELECT 1 FROM inventory_zone z WHERE z.project_id = r.project_id
        AND upper(z.tag) = upper(r.values->>'zone'))
ORDER BY upper(r.values->>'zone'), r.row_number
""",
}


def _run(statement: str, parameters: dict[str, int]) -> int:
    with connection.cursor() as cursor:
        # A copy, because the history's context adds its own parameters to the mapping.
        cursor.execute(statement, dict(parameters))
        return int(cursor.rowcount)


def _new_tags(name: str, parameters: dict[str, int]) -> list[tuple[str, str]]:
    with connection.cursor() as cursor:
        cursor.execute(_NEW_TAGS[name], dict(parameters))
        found: list[tuple[str, str]] = cursor.fetchall()
    return found


def _apply_units(scope: Scope, found: ScheduleImport, revision: int) -> Applied:
    parameters = {"import": found.pk, "revision": revision}
    project = scope.project.id
    handlers = [tag for tag, _ in _new_tags("air_handler", parameters)]
    AirHandler.objects.bulk_create(
        [
            AirHandler(project_id=project, tag=tag, sort_key=numeric.natural_key(tag))
            for tag in handlers
        ]
    )
    zones = _new_tags("zone", parameters)
    Zone.objects.bulk_create(
        [
            Zone(project_id=project, tag=tag, floor=floor[:40], sort_key=numeric.natural_key(tag))
            for tag, floor in zones
        ],
        batch_size=1000,
    )
    if len(zones) > _MANY:
        with connection.cursor() as cursor:
            # Without fresh statistics the planner walks through all zones for every unit.
            cursor.execute("ANALYZE inventory_zone, inventory_airhandler")
    changed = _run(_UPDATE_UNITS, parameters)
    added = _run(_INSERT_UNITS, parameters)
    return Applied(revision, added, changed, tuple(handlers), tuple(tag for tag, _ in zones))


def _apply_outlets(scope: Scope, found: ScheduleImport) -> Applied:
    del scope
    parameters = {"import": found.pk}
    changed = _run(_UPDATE_OUTLETS, parameters)
    return Applied(None, _run(_INSERT_OUTLETS, parameters), changed)
