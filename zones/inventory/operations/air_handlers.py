"""Adding, changing, archiving and restoring air handlers."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.core import numeric
from projectsite.core.errors import Conflict
from projectsite.core.scope import Scope
from zones.inventory.domain.fields import AIR_HANDLER_FIELDS
from zones.inventory.models import AirHandler, TerminalUnit
from zones.inventory.operations.records import Given, bump, locked, put, save

NOUN = "air handler"


@transaction.atomic
def add_air_handler(scope: Scope, *, values: Given) -> int:
    """Add an air handler and give its id."""
    scope.require(Action.EDIT_INVENTORY)
    record = AirHandler(project_id=scope.project.id)
    put(scope, record, AIR_HANDLER_FIELDS, values)
    record.sort_key = numeric.natural_key(record.tag)
    save(record)
    return record.pk


@transaction.atomic
def change_air_handler(scope: Scope, *, air_handler_id: int, version: int, values: Given) -> int:
    """Change the given fields of an air handler and give its version afterwards."""
    scope.require(Action.EDIT_INVENTORY)
    record = locked(scope, AirHandler, air_handler_id, version=version, noun=NOUN)
    if record.archived_at is not None:
        raise Conflict("This air handler is archived. Restore it before you change it.")
    if put(scope, record, AIR_HANDLER_FIELDS, values):
        record.sort_key = numeric.natural_key(record.tag)
        bump(record)
        save(record)
    return record.version


@transaction.atomic
def archive_air_handler(
    scope: Scope, *, air_handler_id: int, version: int | None = None, at: datetime
) -> None:
    """Take an air handler out of use; refused while units in use hang on it."""
    scope.require(Action.EDIT_INVENTORY)
    record = locked(scope, AirHandler, air_handler_id, version=version, noun=NOUN)
    hanging = TerminalUnit.objects.filter(air_handler_id=record.pk, archived_at=None).count()
    if hanging:
        noun = "unit hangs" if hanging == 1 else "units hang"
        raise Conflict(f"{hanging} {noun} on this air handler. Give them another one first.")
    if record.archived_at is None:
        record.archived_at = at
        bump(record)
        record.save()


@transaction.atomic
def restore_air_handler(scope: Scope, *, air_handler_id: int) -> None:
    """Take an archived air handler into use again."""
    scope.require(Action.EDIT_INVENTORY)
    record = locked(scope, AirHandler, air_handler_id, version=None, noun=NOUN)
    if record.archived_at is not None:
        record.archived_at = None
        bump(record)
        record.save()
