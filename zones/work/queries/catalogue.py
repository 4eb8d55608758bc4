"""The catalogue as its page and the API show it: every step with what comes before it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.work.models import Step, StepBefore

_COLUMNS = (
    "id",
    "key",
    "name",
    "trade",
    "per",
    "position",
    "budget_h",
    "heats",
    "fans",
    "needs",
    "archived_at",
    "version",
)


@dataclass(frozen=True, slots=True)
class StepRow:
    """A step of the catalogue.

    Attributes
    ----------
    place
        Place among the steps in use, from 1; None for an archived step.
    budget_h
        Budgeted labour for one of what it is done for [h, >= 0].
    before, before_names
        Steps in use that have to be done first, in their order.
    """

    id: int
    key: str
    name: str
    trade: str
    per: str
    place: int | None
    budget_h: float
    heats: tuple[str, ...]
    fans: tuple[str, ...]
    needs: tuple[str, ...]
    before: tuple[int, ...]
    before_names: tuple[str, ...]
    archived_at: datetime | None
    version: int

    @property
    def is_archived(self) -> bool:
        """Tell whether the step is out of use."""
        return self.archived_at is not None


@dataclass(frozen=True, slots=True)
class StepFilter:
    """Which steps of the catalogue are wanted."""

    text: str = ""
    trade: str = ""
    archived: bool = False


SORTS: Mapping[str, Callable[[StepRow], Any]] = {
    "place": lambda row: (row.place or 0, row.name.casefold()),
    "name": lambda row: (row.name.casefold(), row.id),
    "trade": lambda row: (row.trade, row.place or 0, row.id),
    "hours": lambda row: (row.budget_h, row.place or 0, row.id),
}
"""Orders of the list by the key in its address."""


def all_steps(scope: Scope) -> list[StepRow]:
    """Every step of the project, archived ones behind the others, in two queries."""
    rows = list(
        Step.objects.filter(project_id=scope.project.id)
        .order_by("position", "id")
        .values_list(*_COLUMNS)
    )
    rows.sort(key=lambda row: row[10] is not None)
    names = {row[0]: row[2] for row in rows if row[10] is None}
    places = {step_id: place for place, step_id in enumerate(names, 1)}
    before: dict[int, list[int]] = {}
    pairs = StepBefore.objects.filter(project_id=scope.project.id)
    for step_id, before_id in pairs.order_by("id").values_list("step_id", "before_id"):
        if before_id in names:
            before.setdefault(step_id, []).append(before_id)
    return [_row(row, places, names, before.get(row[0], [])) for row in rows]


def _row(
    row: tuple[Any, ...], places: Mapping[int, int], names: Mapping[int, str], before: list[int]
) -> StepRow:
    (
        step_id,
        key,
        name,
        trade,
        per,
        _position,
        budget_h,
        heats,
        fans,
        needs,
        archived_at,
        version,
    ) = row
    ordered = sorted(before, key=places.__getitem__)
    return StepRow(
        step_id,
        key,
        name,
        trade,
        per,
        places.get(step_id),
        budget_h,
        tuple(heats),
        tuple(fans),
        tuple(needs),
        tuple(ordered),
        tuple(names[i] for i in ordered),
        archived_at,
        version,
    )


def matching(rows: list[StepRow], wanted: StepFilter, *, sort: str = "place") -> list[StepRow]:
    """Steps that match, in an order of ``SORTS``, ``-`` in front for downwards."""
    text = wanted.text.strip().casefold()
    found = [
        row
        for row in rows
        if row.is_archived == wanted.archived
        and (not wanted.trade or row.trade == wanted.trade)
        and (text in row.name.casefold())
    ]
    return sorted(found, key=SORTS[sort.removeprefix("-")], reverse=sort.startswith("-"))


def step_row(scope: Scope, step_id: int) -> StepRow:
    """Give one step, archived or not.

    Raises
    ------
    NotFound
        It is not in the project.
    """
    return row_in(all_steps(scope), step_id)


def row_in(rows: list[StepRow], step_id: int) -> StepRow:
    """Find a step among those of the project; NotFound when it is not there."""
    found = next((row for row in rows if row.id == step_id), None)
    if found is None:
        raise NotFound("There is no such step in this project.")
    return found


def waiting_for(rows: list[StepRow], step_id: int) -> list[str]:
    """Names of the steps in use that wait for a step."""
    return [row.name for row in rows if step_id in row.before and not row.is_archived]
