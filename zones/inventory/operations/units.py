"""Adding, changing, archiving and restoring terminal units; acts on many at once."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from projectsite.accounts.access import Action
from projectsite.core import numeric
from projectsite.core.errors import Conflict, InvalidInput
from projectsite.core.scope import Scope
from zones.inventory.domain.fields import UNIT_FIELD, UNIT_FIELDS
from zones.inventory.models import AirHandler, BoxInlet, ControllerModel, TerminalUnit, Zone
from zones.inventory.operations.records import Given, bump, in_project, locked, put, save

NOUN = "terminal unit"
MANY = 5000
"""Most units that one act takes."""


@transaction.atomic
def add_unit(scope: Scope, *, values: Given) -> int:
    """Add a terminal unit and give its id.

    Raises
    ------
    InvalidInput
        A value that can't be taken, or a tag that is taken.
    """
    scope.require(Action.EDIT_INVENTORY)
    unit = TerminalUnit(project_id=scope.project.id, entered={})
    put(scope, unit, UNIT_FIELDS, values)
    _check_links(scope, unit, values)
    _check_tag(unit)
    unit.sort_key = numeric.natural_key(unit.tag)
    save(unit)
    return unit.pk


@transaction.atomic
def change_unit(scope: Scope, *, unit_id: int, version: int, values: Given) -> int:
    """Change the given fields of a unit and give its version afterwards.

    Raises
    ------
    Conflict
        Someone changed the unit since ``version``, or it is archived.
    InvalidInput
        A value that can't be taken.
    """
    scope.require(Action.EDIT_INVENTORY)
    unit = locked(scope, TerminalUnit, unit_id, version=version, noun=NOUN)
    if unit.archived_at is not None:
        raise Conflict("This unit is archived. Restore it before you change it.")
    if not put(scope, unit, UNIT_FIELDS, values):
        return unit.version
    _check_links(scope, unit, values)
    _check_tag(unit)
    unit.sort_key = numeric.natural_key(unit.tag)
    bump(unit)
    save(unit)
    return unit.version


def _check_links(scope: Scope, unit: TerminalUnit, given: Given) -> None:
    """Look only at what was given: a link to something archived since may stay."""
    if "air_handler" in given:
        in_project(scope, AirHandler, unit.air_handler_id, "air_handler")
    if "zone" in given:
        in_project(scope, Zone, unit.zone_id, "zone")
    if "controller_model" in given:
        in_project(scope, ControllerModel, unit.controller_model_id, "controller_model")
    if (
        "inlet" in given
        and unit.inlet_id is not None
        and not BoxInlet.objects.filter(pk=unit.inlet_id).exists()
    ):
        raise InvalidInput(
            "There is no such inlet in the library.", fields={"inlet": "Choose an inlet."}
        )


def _check_tag(unit: TerminalUnit) -> None:
    """Name the unit that has the tag already: an archived one is not in sight."""
    other = TerminalUnit.objects.filter(project_id=unit.project_id, tag__iexact=unit.tag)
    found = other.exclude(pk=unit.pk).values_list("archived_at", flat=True).first()
    if other.exclude(pk=unit.pk).exists():
        message = "There is a unit with this tag already."
        if found is not None:
            message = "An archived unit has this tag. Restore that one, or choose another tag."
        raise InvalidInput(message, fields={"tag": message})


@transaction.atomic
def archive_unit(scope: Scope, *, unit_id: int, version: int | None, at: datetime) -> None:
    """Take a unit out of use with its outlets; its tests and documents stay in the record."""
    scope.require(Action.EDIT_INVENTORY)
    unit = locked(scope, TerminalUnit, unit_id, version=version, noun=NOUN)
    if unit.archived_at is None:
        unit.archived_at = at
        bump(unit)
        unit.save()


@transaction.atomic
def restore_unit(scope: Scope, *, unit_id: int) -> None:
    """Take an archived unit into use again, with the outlets that it had."""
    scope.require(Action.EDIT_INVENTORY)
    unit = locked(scope, TerminalUnit, unit_id, version=None, noun=NOUN)
    if unit.archived_at is not None:
        unit.archived_at = None
        bump(unit)
        unit.save()


@transaction.atomic
def set_on_units(scope: Scope, *, unit_ids: Sequence[int], field: str, value: Any) -> int:
    """Give many units the same air handler, zone, floor or controller model.

    Returns how many units changed; those that have the value already stay as they are.
    """
    scope.require(Action.EDIT_INVENTORY)
    links = {"air_handler": AirHandler, "zone": Zone, "controller_model": ControllerModel}
    if field not in {*links, "floor"}:
        raise InvalidInput("This field can't be set on many units at once.")
    if field in links:
        in_project(scope, links[field], value, field)
    else:
        value = str(value or "").strip()
        if len(value) > UNIT_FIELD["floor"].max_length:
            raise InvalidInput("The floor is too long.", fields={"floor": "At most 40 characters."})
    chosen = _many(scope, unit_ids)
    column = UNIT_FIELD[field].column
    differing = TerminalUnit.objects.filter(pk__in=chosen).exclude(**{column: value})
    if value is None:
        differing = TerminalUnit.objects.filter(pk__in=chosen, **{f"{column}__isnull": False})
    return differing.update(**{column: value, "version": F("version") + 1})


@transaction.atomic
def archive_units(scope: Scope, *, unit_ids: Sequence[int], at: datetime) -> int:
    """Take many units out of use and give their number."""
    scope.require(Action.EDIT_INVENTORY)
    chosen = _many(scope, unit_ids)
    in_use = TerminalUnit.objects.filter(pk__in=chosen, archived_at=None)
    return in_use.update(archived_at=at, version=F("version") + 1)


@transaction.atomic
def restore_units(scope: Scope, *, unit_ids: Sequence[int]) -> int:
    """Take many archived units into use again and give their number."""
    scope.require(Action.EDIT_INVENTORY)
    chosen = _many(scope, unit_ids)
    archived = TerminalUnit.objects.filter(pk__in=chosen, archived_at__isnull=False)
    return archived.update(archived_at=None, version=F("version") + 1)


def _many(scope: Scope, unit_ids: Sequence[int]) -> list[int]:
    """Lock the chosen units in the order of their keys; refuse what is not in the project."""
    wanted = set(unit_ids)
    if not wanted:
        raise InvalidInput("Choose at least one unit first.")
    if len(wanted) > MANY:
        raise InvalidInput(f"Choose at most {MANY:,} units at once.")
    rows = TerminalUnit.objects.filter(project_id=scope.project.id, pk__in=wanted)
    found = list(rows.select_for_update().order_by("pk").values_list("pk", flat=True))
    if len(found) < len(wanted):
        raise InvalidInput("Some of the chosen units are not in this project; reload the list.")
    return found
