"""Saying where terminal units are on their floors."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TypeAlias

from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, InvalidInput
from projectsite.core.numeric import same
from projectsite.core.scope import Scope
from projectsite.core.units import Entered
from zones.inventory.models import TerminalUnit

MANY = 5000
"""Most units that one act takes."""
FARTHEST_M = 10_000.0
"""No floor is longer; what lies beyond is a slip of the hand or of the unit."""
Coordinate: TypeAlias = float | Entered
Place: TypeAlias = tuple[Coordinate, Coordinate]
"""To the east and north from the floor's origin [m], as a number or as typed."""
_FIELDS = ("position_x_m", "position_y_m")


@transaction.atomic
def place_units(
    scope: Scope,
    *,
    places: Mapping[int, Place | None],
    versions: Mapping[int, int] | None = None,
) -> dict[int, int]:
    """Say where units are, None for not placed, and give their versions afterwards.

    Only positions change. A unit that is there already keeps its version.

    Raises
    ------
    InvalidInput
        Nothing or too much was chosen, a unit is not in the project, or a position is more
        than 10 km from the floor's origin or no number.
    Conflict
        A unit changed since the version in ``versions``, or it is archived.
    """
    scope.require(Action.PLACE_UNITS)
    units = _locked(scope, places)
    changed = []
    for unit in units:
        _refuse_stale(unit, (versions or {}).get(unit.pk))
        if _put(unit, places[unit.pk]):
            changed.append(unit)
    TerminalUnit.objects.bulk_update(changed, [*_FIELDS, "entered", "version"], batch_size=500)
    return {unit.pk: unit.version for unit in units}


def _locked(scope: Scope, places: Mapping[int, Place | None]) -> list[TerminalUnit]:
    if not places:
        raise InvalidInput("Choose at least one unit first.")
    if len(places) > MANY:
        raise InvalidInput(f"Place at most {MANY:,} units at once.")
    rows = TerminalUnit.objects.filter(project_id=scope.project.id, pk__in=list(places))
    columns = ("id", "tag", "archived_at", "version", "entered", *_FIELDS)
    found = list(rows.select_for_update().order_by("pk").only(*columns))
    if len(found) < len(places):
        raise InvalidInput("Some of the units are not in this project; reload the page.")
    return found


def _refuse_stale(unit: TerminalUnit, version: int | None) -> None:
    if unit.archived_at is not None:
        raise Conflict(f"{unit.tag} is archived. Restore it before you place it.")
    if version is not None and unit.version != version:
        raise Conflict(
            f"{unit.tag} was changed since this page was opened. Reload the page, then place it."
        )


def _put(unit: TerminalUnit, place: Place | None) -> bool:
    """Put a position on a unit and tell whether it moved; what was typed is kept."""
    values = (None, None) if place is None else place
    plain = [value.value if isinstance(value, Entered) else value for value in values]
    for name, number in zip(_FIELDS, plain, strict=True):
        if number is not None and not (math.isfinite(number) and abs(number) <= FARTHEST_M):
            message = f"{unit.tag}: a position lies within {FARTHEST_M:,.0f} m of the origin."
            raise InvalidInput(message, fields={name: message})
    if all(same(getattr(unit, name), new) for name, new in zip(_FIELDS, plain, strict=True)):
        return False
    for name, value, number in zip(_FIELDS, values, plain, strict=True):
        setattr(unit, name, number)
        unit.entered.pop(name, None)
        if isinstance(value, Entered) and value.text:
            unit.entered[name] = value.text
    unit.version += 1
    return True
