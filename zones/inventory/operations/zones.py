"""Adding, changing, archiving and restoring zones."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.core import numeric
from projectsite.core.errors import Conflict
from projectsite.core.scope import Scope
from zones.inventory.domain.fields import ZONE_FIELDS
from zones.inventory.models import TerminalUnit, Zone
from zones.inventory.operations.records import Given, bump, locked, put, save

NOUN = "zone"


@transaction.atomic
def add_zone(scope: Scope, *, values: Given) -> int:
    """Add a zone and give its id."""
    scope.require(Action.EDIT_INVENTORY)
    record = Zone(project_id=scope.project.id)
    put(scope, record, ZONE_FIELDS, values)
    record.sort_key = numeric.natural_key(record.tag)
    save(record)
    return record.pk


@transaction.atomic
def change_zone(scope: Scope, *, zone_id: int, version: int, values: Given) -> int:
    """Change the given fields of a zone and give its version afterwards."""
    scope.require(Action.EDIT_INVENTORY)
    record = locked(scope, Zone, zone_id, version=version, noun=NOUN)
    if record.archived_at is not None:
        raise Conflict("This zone is archived. Restore it before you change it.")
    if put(scope, record, ZONE_FIELDS, values):
        record.sort_key = numeric.natural_key(record.tag)
        bump(record)
        save(record)
    return record.version


@transaction.atomic
def archive_zone(scope: Scope, *, zone_id: int, version: int | None = None, at: datetime) -> None:
    """Take a zone out of use; refused while units in use serve it."""
    scope.require(Action.EDIT_INVENTORY)
    record = locked(scope, Zone, zone_id, version=version, noun=NOUN)
    serving = TerminalUnit.objects.filter(zone_id=record.pk, archived_at=None).count()
    if serving:
        noun = "unit serves" if serving == 1 else "units serve"
        raise Conflict(f"{serving} {noun} this zone. Give them another zone first.")
    if record.archived_at is None:
        record.archived_at = at
        bump(record)
        record.save()


@transaction.atomic
def restore_zone(scope: Scope, *, zone_id: int) -> None:
    """Take an archived zone into use again."""
    scope.require(Action.EDIT_INVENTORY)
    record = locked(scope, Zone, zone_id, version=None, noun=NOUN)
    if record.archived_at is not None:
        record.archived_at = None
        bump(record)
        record.save()
