"""Snapshots of the work: what rules, formulas and lists see."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

SubjectKind = Literal["unit", "air-handler", "trunk", "transformer", "outlet"]


@dataclass(frozen=True, slots=True)
class StepFacts:
    """A step of a project's catalogue.

    Attributes
    ----------
    key
        Name that proofs use; it stays when ``name`` changes.
    per
        What the step is done once for: "unit", "air-handler", "trunk" or "transformer".
    budget_h
        Budgeted labour for one of what it is done for [h, >= 0].
    heats, fans, needs
        The step applies to a unit whose reheat and fan are among these (any when empty) and
        that has every option of ``needs``.
    before
        Ids of the steps that have to be done first.
    """

    id: int
    key: str
    name: str
    trade: str
    per: str = "unit"
    position: int = 0
    budget_h: float = 0.0
    heats: tuple[str, ...] = ()
    fans: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    before: tuple[int, ...] = ()
    version: int = 1


@dataclass(frozen=True, slots=True)
class MarkFacts:
    """What a person said of a step of a subject last."""

    state: str
    note: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class AssignmentFacts:
    """Who is to do a step of a subject, and by when."""

    id: int
    person_id: int | None
    person: str
    due_date: date | None
    made_at: datetime


@dataclass(frozen=True, slots=True)
class SubjectRef:
    """What something is about: kind, id, tag and page, and the units that it touches."""

    kind: SubjectKind
    id: int
    label: str
    url: str = ""
    unit_id: int | None = None
    floor: str = ""
    location: str = ""


GroupIndex = Mapping[str, Mapping[int, int]]
"""By kind of group: the group of each unit that has one."""
