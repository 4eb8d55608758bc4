"""Adding, changing, archiving and restoring outlets of a terminal unit."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.core import numeric
from projectsite.core.errors import Conflict
from projectsite.core.scope import Scope
from zones.inventory.domain.fields import OUTLET_FIELDS
from zones.inventory.models import Outlet, TerminalUnit
from zones.inventory.operations.records import Given, bump, locked, put, save

NOUN = "outlet"


@transaction.atomic
def add_outlet(scope: Scope, *, unit_id: int, values: Given) -> int:
    """Add an outlet to a unit in use and give its id."""
    scope.require(Action.EDIT_INVENTORY)
    unit = locked(scope, TerminalUnit, unit_id, version=None, noun="terminal unit")
    if unit.archived_at is not None:
        raise Conflict("This unit is archived. Restore it before you add outlets.")
    outlet = Outlet(project_id=scope.project.id, unit_id=unit_id, entered={})
    put(scope, outlet, OUTLET_FIELDS, values)
    outlet.sort_key = numeric.natural_key(outlet.tag)
    save(outlet)
    return outlet.pk


@transaction.atomic
def change_outlet(scope: Scope, *, outlet_id: int, version: int, values: Given) -> int:
    """Change the given fields of an outlet and give its version afterwards."""
    scope.require(Action.EDIT_INVENTORY)
    outlet = locked(scope, Outlet, outlet_id, version=version, noun=NOUN)
    if outlet.archived_at is not None:
        raise Conflict("This outlet is archived. Restore it before you change it.")
    if put(scope, outlet, OUTLET_FIELDS, values):
        outlet.sort_key = numeric.natural_key(outlet.tag)
        bump(outlet)
        save(outlet)
    return outlet.version


@transaction.atomic
def archive_outlet(
    scope: Scope, *, outlet_id: int, version: int | None = None, at: datetime
) -> None:
    """Take an outlet out of use; readings at it stay in the record."""
    scope.require(Action.EDIT_INVENTORY)
    outlet = locked(scope, Outlet, outlet_id, version=version, noun=NOUN)
    if outlet.archived_at is None:
        outlet.archived_at = at
        bump(outlet)
        outlet.save()


@transaction.atomic
def restore_outlet(scope: Scope, *, outlet_id: int) -> None:
    """Take an archived outlet into use again."""
    scope.require(Action.EDIT_INVENTORY)
    outlet = locked(scope, Outlet, outlet_id, version=None, noun=NOUN)
    if outlet.archived_at is not None:
        outlet.archived_at = None
        bump(outlet)
        outlet.save()
