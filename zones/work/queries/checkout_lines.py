"""Units with the state of their checkouts: listed, counted, and in walking order."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Q

from projectsite.core import numeric
from projectsite.core.errors import NotFound
from projectsite.core.reading import few
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.models import Checkout
from zones.work.queries.checkouts import OPTIONS, STATES, changed_since, state_of
from zones.work.queries.places import walked

SORTS = ("tag", "floor", "air-handler", "state", "begun", "completed", "walk")


@dataclass(frozen=True, slots=True)
class CheckoutLine:
    """The current checkout of a unit, counted; ``checkout_id`` is None when there is none."""

    unit: UnitOutline
    state: str
    checkout_id: int | None = None
    list_name: str = ""
    passed: int = 0
    failed: int = 0
    points: int = 0
    begun_at: datetime | None = None
    completed_at: datetime | None = None
    changed: tuple[str, ...] = ()


def lines(scope: Scope, unit_ids: Collection[int] | None = None) -> list[CheckoutLine]:
    """Checkout of every unit in use, or of those of them, by tag, in two queries."""
    needed = Q(points__is_required=True)
    current = Checkout.objects.filter(project_id=scope.project.id, superseded_at=None)
    narrow = None if unit_ids is None else few(unit_ids)
    if narrow is not None:
        current = current.filter(unit_id__in=narrow)
    rows = current.annotate(
        total=Count("points"),
        passed=Count("points", filter=Q(points__verdict="pass")),
        failed=Count("points", filter=Q(points__verdict="fail")),
        failed_needed=Count("points", filter=needed & Q(points__verdict="fail")),
        missing=Count("points", filter=needed & ~Q(points__verdict="pass")),
    ).values()
    of_unit = {row["unit_id"]: row for row in rows}
    units = inventory.outlines(scope, narrow)
    if unit_ids is not None and narrow is None:
        wanted = set(unit_ids)
        units = [unit for unit in units if unit.id in wanted]
    return [_line(unit, of_unit.get(unit.id)) for unit in units]


def _line(unit: UnitOutline, row: Mapping[str, Any] | None) -> CheckoutLine:
    if row is None:
        return CheckoutLine(unit, "none")
    changed = changed_since(row["profile"], unit)
    state = state_of(
        is_complete=row["completed_at"] is not None,
        has_missing=row["missing"] > 0,
        has_failed=row["failed_needed"] > 0,
        has_changed=bool(changed),
    )
    return CheckoutLine(
        unit,
        state,
        row["id"],
        row["template_name"],
        row["passed"],
        row["failed"],
        row["total"],
        row["begun_at"],
        row["completed_at"],
        changed,
    )


@dataclass(frozen=True, slots=True)
class CheckoutFilter:
    """What a list of checkouts shows; "" and None are everything."""

    text: str = ""
    floor: str = ""
    air_handler: int | None = None
    state: str = ""

    def takes(self, line: CheckoutLine) -> bool:
        """Tell whether a unit is shown."""
        unit = line.unit
        told = f"{unit.tag} {unit.location} {line.list_name}".casefold()
        return (
            (not self.floor or unit.floor == self.floor)
            and (self.air_handler is None or unit.air_handler_id == self.air_handler)
            and (not self.state or line.state == self.state)
            and all(word in told for word in self.text.casefold().split())
        )


def matching(
    every: Sequence[CheckoutLine], wanted: CheckoutFilter, *, sort: str
) -> list[CheckoutLine]:
    """Lines that a filter takes, in the given order ("-" turns it round)."""
    found = [line for line in every if wanted.takes(line)]
    key = sort.removeprefix("-")
    if key == "walk":
        place = {unit_id: i for i, unit_id in enumerate(walked([line.unit for line in found]))}
        found.sort(key=lambda line: place[line.unit.id])
    elif key != "tag":
        found.sort(key=lambda line: _order(line, key))
    return found[::-1] if sort.startswith("-") else found


def _order(line: CheckoutLine, key: str) -> tuple[bool, Any]:
    if key == "state":
        return False, list(STATES).index(line.state)
    if key in {"begun", "completed"}:
        at = line.begun_at if key == "begun" else line.completed_at
        return at is None, at.timestamp() if at else 0.0
    text = line.unit.floor if key == "floor" else line.unit.air_handler
    return text == "", numeric.natural_key(text)


def next_unit(scope: Scope, checkout_id: int) -> UnitOutline | None:
    """Next unit of the walk with the same controller and options and no checkout yet."""
    row = Checkout.objects.filter(project_id=scope.project.id, id=checkout_id).values(
        "unit_id", "profile"
    )
    here = row.first()
    if here is None:
        raise NotFound("There is no such checkout in this project.")
    every = {line.unit.id: line for line in lines(scope)}
    walk = walked([line.unit for line in every.values()])
    start = walk.index(here["unit_id"]) + 1 if here["unit_id"] in every else 0
    for unit_id in [*walk[start:], *walk[:start]]:
        line = every[unit_id]
        same = all(here["profile"].get(name) == getattr(line.unit, name) for name in OPTIONS)
        if line.state == "none" and same and unit_id != here["unit_id"]:
            return line.unit
    return None
