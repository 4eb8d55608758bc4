"""What the parts of schedule reading hand to each other."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from zones.inventory.domain.fields import OUTLET_FIELDS, UNIT_FIELDS, Field

Cell = str | float | bool | datetime | None
Outcome = Literal["new", "changed", "unchanged", "refused", "ignored"]
Target = Literal["units", "outlets"]

VOLTAGE_AND_PHASES = "heater_voltage_and_phases"
"""A column such as 277/1 that fills two fields."""
UNIT_OF_OUTLET = "unit"
"""Tag of the terminal unit that an outlet belongs to."""

TARGETS: Mapping[str, tuple[Field, ...]] = {
    "units": (
        *UNIT_FIELDS,
        Field(VOLTAGE_AND_PHASES, "Heater voltage and phases", "pair", "Electric reheat"),
    ),
    "outlets": (
        Field(UNIT_OF_OUTLET, "Unit tag", "text", "Outlet", required=True, max_length=60),
        *OUTLET_FIELDS,
    ),
}
"""What a column can be, by what the file lists."""


@dataclass(frozen=True, slots=True)
class UnitLine:
    """A unit of measure: ``si = factor * value + offset``."""

    name: str
    symbol: str
    factor: float
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class UnitBook:
    """How numbers and units are read; made by whoever knows the units.

    Attributes
    ----------
    split
        Splits a text into its number and what follows.
    find
        Finds a unit of a kind by its spelling, or None.
    kinds_of
        Names of the kinds that have a unit of this spelling.
    """

    split: Callable[[str], tuple[float | None, str]]
    find: Callable[[str, str], UnitLine | None]
    kinds_of: Callable[[str], frozenset[str]]


@dataclass(frozen=True, slots=True)
class Mapped:
    """A column (from 0) that fills a field, with the unit of its bare numbers."""

    column: int
    field: Field
    unit: UnitLine | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the table stands in its sheet; row numbers from 1, 0 for "none"."""

    heading_row: int
    heading_end_row: int
    units_row: int
    first_row: int
    last_row: int


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with one cell, or with a row when ``cell`` is ""."""

    cell: str
    field: str
    message: str


@dataclass(slots=True)
class Row:
    """One row of a schedule as read: values in SI by field name, and what was typed."""

    number: int
    tag: str = ""
    key: str = ""
    outcome: Outcome = "new"
    reason: str = ""
    values: dict[str, Any] = field(default_factory=dict)
    entered: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    changes: dict[str, tuple[Any, Any]] = field(default_factory=dict)
    unit_id: int | None = None
    record_id: int | None = None


@dataclass(frozen=True, slots=True)
class Inlet:
    """An inlet size that the library offers; nominal diameter [m]."""

    id: int
    label: str
    diameter_m: float


@dataclass(frozen=True, slots=True)
class BoxModel:
    """A box model of the library with its inlets."""

    id: int
    name: str
    inlets: tuple[Inlet, ...] = ()


@dataclass(frozen=True, slots=True)
class Existing:
    """A record that the project holds: values by field name as rows have them."""

    id: int
    unit_id: int
    values: Mapping[str, Any]
    is_archived: bool = False
    box_model_id: int | None = None


@dataclass(frozen=True, slots=True)
class Base:
    """What rows are held against: the project's records and the library.

    Keys are tags in the form of ``tag_key``; those of outlets are the unit's and the outlet's
    with a line feed between.
    """

    records: Mapping[str, Existing]
    units: Mapping[str, int] = field(default_factory=dict)
    archived_units: frozenset[str] = frozenset()
    air_handlers: frozenset[str] = frozenset()
    archived_air_handlers: frozenset[str] = frozenset()
    zones: frozenset[str] = frozenset()
    archived_zones: frozenset[str] = frozenset()
    box_models: tuple[BoxModel, ...] = ()
    controllers: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Choices:
    """What the person decided for one import."""

    box_model_id: int | None = None
    is_na_empty: bool = False


def tag_key(text: str) -> str:
    """Give the form in which tags are compared: case and outer spaces do not matter.

    >>> tag_key(" vav-1-01 ")
    'VAV-1-01'
    """
    return " ".join(text.split()).upper()
