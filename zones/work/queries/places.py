"""Where the units are, and in which order somebody walks past them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from projectsite.core import numeric
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.plan import Place
from zones.work.domain.walking import walking_order


def positions(scope: Scope, floor: str | None = None) -> dict[int, Place]:
    """Positions to the east and north [m] of the units in use that have one, by unit.

    One floor's with ``floor``, those of all floors without it; each floor has its own origin.
    """
    return {
        unit.id: place
        for unit in inventory.outlines(scope)
        if (place := place_of(unit)) is not None and floor in (None, unit.floor)
    }


def place_of(unit: UnitOutline) -> Place | None:
    """Position of a unit to the east and north [m], or None while it has none."""
    if unit.position_x_m is None or unit.position_y_m is None:
        return None
    return unit.position_x_m, unit.position_y_m


def walking(scope: Scope, unit_ids: Iterable[int]) -> list[int]:
    """Order units of the project in use for a walk; see ``walked``."""
    wanted = set(unit_ids)
    return walked(inventory.outlines(scope, wanted))


def walked(units: Sequence[UnitOutline]) -> list[int]:
    """Order units, given by tag, floor by floor; on each floor those without a position last."""
    floors: dict[str, list[UnitOutline]] = {}
    for unit in units:
        floors.setdefault(unit.floor, []).append(unit)
    order: list[int] = []
    # Units whose floor nobody has said come after all floors.
    for floor in sorted(floors, key=lambda name: (name == "", numeric.natural_key(name))):
        placed = [(unit.id, place_of(unit)) for unit in floors[floor]]
        known = [(unit_id, place) for unit_id, place in placed if place is not None]
        xs = tuple(place[0] for _, place in known)
        ys = tuple(place[1] for _, place in known)
        order += [known[i][0] for i in walking_order(xs, ys)]
        order += [unit_id for unit_id, place in placed if place is None]
    return order
