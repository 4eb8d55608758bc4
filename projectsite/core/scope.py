"""Who is asking, in which project, and what they may do there.

A ``Scope`` is built only by ``projectsite.accounts.access`` and handed to every
query and operation, so that a rule of access cannot be forgotten by a page.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from projectsite.core.errors import Forbidden

UnitSystem = Literal["ip", "si"]


@dataclass(frozen=True, slots=True)
class Person:
    """The signed-in person.

    ``reading_system`` is the person's own choice of units for reading, or None to
    read each project as it is kept.
    """

    id: int
    name: str
    reading_system: UnitSystem | None = None


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Limits of a project, in SI; fractions are of the design value.

    Attributes
    ----------
    unit_over, unit_under
        Allowed excess and shortfall of a terminal unit's measured airflow [fraction, >= 0].
    outlet_over, outlet_under
        The same for one outlet [fraction, >= 0].
    floor_m3_s
        Deviation that is always allowed, whatever the fraction says [m³/s, >= 0].
    agreement
        Allowed difference of reported against measured airflow [fraction, > 0].
    readable_pressure_pa
        Lowest sensed pressure that counts as readable when the controller model says nothing [Pa].
    hood_minimum_m3_s
        Flow below which a hood reading is not trusted [m³/s].
    inlet_velocity_limit_m_s
        Inlet velocity above which noise is worth a look [m/s].
    guard_band
        Judge against the tolerance reduced by the uncertainty of the reading.
    """

    unit_over: float
    unit_under: float
    outlet_over: float
    outlet_under: float
    floor_m3_s: float
    agreement: float
    readable_pressure_pa: float
    hood_minimum_m3_s: float
    inlet_velocity_limit_m_s: float
    guard_band: bool


@dataclass(frozen=True, slots=True)
class ProjectFacts:
    """What pages and rules need to know of a project, in SI."""

    id: int
    key: str
    number: str
    name: str
    system: UnitSystem
    time_zone: str
    elevation_m: float
    status: str
    tolerances: Tolerances


@dataclass(frozen=True, slots=True)
class Scope:
    """A person in a project with the actions that the person's role allows there."""

    person: Person
    project: ProjectFacts
    role: str
    actions: frozenset[str]
    trade: str = ""
    """Trade whose steps the person marks: an installer's own, else the role's; "" for none."""

    @property
    def system(self) -> UnitSystem:
        """Units to read in: the person's choice, else the project's."""
        return self.person.reading_system or self.project.system

    def allows(self, action: str) -> bool:
        """Tell whether the person may do this here."""
        return action in self.actions

    def require(self, action: str) -> None:
        """Refuse with ``Forbidden`` when the person may not do this here."""
        if action not in self.actions:
            raise Forbidden(
                f"Your role in {self.project.name} does not include this. "
                "Ask the project's office to do it or to change your role."
            )
