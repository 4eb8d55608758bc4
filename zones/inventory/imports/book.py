"""Units as the schedule reader sees them."""

from __future__ import annotations

from functools import cache

from projectsite.core import units
from projectsite.core.errors import InvalidInput
from projectsite.core.quantities import KINDS
from projectsite.core.scope import UnitSystem
from zones.inventory.domain import checks
from zones.inventory.domain.fields import Field
from zones.inventory.domain.schedule.types import TARGETS, UnitBook, UnitLine

_KINDS = tuple(
    sorted(
        {f.kind for fields in TARGETS.values() for f in fields if f.is_quantity and f.kind in KINDS}
    )
)
KINDS_USED = ("diameter", *(kind for kind in _KINDS if kind != "diameter"))
"""Kinds of quantity that a schedule can hold."""


def kind_of(field: Field) -> str:
    """Kind of quantity whose units a column of this field has, or ""."""
    if field.name == "inlet":
        return "diameter"
    return field.kind if field.kind in KINDS else ""


@cache
def line(unit: str, kind: str) -> UnitLine:
    """A unit of ``units.txt`` as a straight line to the kind's SI unit."""
    offset = units.to_si(0.0, unit, kind)
    return UnitLine(unit, units.symbol(unit), units.to_si(1.0, unit, kind) - offset, offset)


@cache
def _find(kind: str, spelling: str) -> UnitLine | None:
    # Headings write "IN." and "CFM/" where a unit is meant.
    for text in (spelling, spelling.strip().strip("./")):
        try:
            return line(units.unit_named(text, kind), kind)
        except InvalidInput:
            continue
    return None


@cache
def _kinds_of(spelling: str) -> frozenset[str]:
    if not spelling.strip() or len(spelling) > 24:
        return frozenset()
    return frozenset(kind for kind in KINDS_USED if _find(kind, spelling))


BOOK = UnitBook(split=units.split_number, find=_find, kinds_of=_kinds_of)
"""The accepted units."""


def shower(system: UnitSystem) -> checks.Show:
    """Give the function that prints an SI value in the reader's unit."""

    def show(value: float, kind: str) -> str:
        return units.show(value, kind, system, with_unit=True) if kind in KINDS else f"{value:g}"

    return show
