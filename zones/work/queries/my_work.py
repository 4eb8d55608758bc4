"""What a trade can do now, place by place, and what the rest of its work waits for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
from django.db.models import F

from projectsite.core.scope import Scope
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.board import State
from zones.work.domain.types import StepFacts
from zones.work.models import Assignment
from zones.work.queries.board import WholeBoard
from zones.work.queries.board_rows import BoardRows
from zones.work.queries.cells import CellFacts, Details, cell

OPEN = (State.READY, State.IN_HAND, State.HELD)
"""States of steps that somebody can do something about."""
_GROUP_COLUMNS: Mapping[str, str] = {
    "air-handler": "air_handler_id",
    "trunk": "trunk_id",
    "transformer": "transformer_id",
}
NAMED_UNITS = 8
"""Units named behind what is waited for; the others are counted."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where there is something to do: a unit, or an air handler, trunk or transformer.

    Attributes
    ----------
    kind
        "unit" or the kind of the group.
    unit
        The unit; of a group one of its units, which stands for all.
    label, address
        Tag and, of a group, its page.
    steps
        Steps that are ready, in hand or held there.
    """

    kind: str
    unit: UnitOutline
    label: str
    address: str
    steps: tuple[StepFacts, ...]


@dataclass(frozen=True, slots=True)
class Blocker:
    """A step that other steps wait for.

    Attributes
    ----------
    waiting
        Steps that wait for it.
    units
        Tags of the first units where it is open.
    more
        Units beyond those named.
    ready
        Units on which it could be done now.
    """

    step: StepFacts
    waiting: int
    units: tuple[str, ...]
    more: int
    ready: int


@dataclass(frozen=True, slots=True)
class Assigned:
    """A step that is assigned to the person."""

    facts: CellFacts
    label: str
    unit: UnitOutline
    due_date: date | None


def places(whole: WholeBoard, rows: BoardRows) -> list[Place]:
    """Places with something to do, in the order of the rows; groups come first."""
    board = whole.board
    found: list[Place] = []
    of_groups: dict[tuple[str, int], tuple[UnitOutline, dict[StepFacts, None]]] = {}
    for unit, open_steps in _open_steps(whole, rows):
        own = []
        for step in open_steps:
            group = board.group(unit.id, step)
            if group is None:
                own.append(step)
            else:
                of_groups.setdefault((step.per, group), (unit, {}))[1][step] = None
        if own:
            found.append(Place("unit", unit, unit.tag, "", tuple(own)))
    groups = []
    for (kind, group_id), (unit, steps) in of_groups.items():
        group_facts = whole.groupings[kind].groups[group_id]
        groups.append(Place(kind, unit, group_facts.label, group_facts.url, tuple(steps)))
    return groups + found


def _open_steps(
    whole: WholeBoard, rows: BoardRows
) -> Iterator[tuple[UnitOutline, list[StepFacts]]]:
    """Units of which a step is open, each with these steps."""
    at, columns = _block(whole, rows)
    is_open = np.isin(whole.board.states[np.ix_(at, columns)], OPEN)
    for i in np.flatnonzero(is_open.any(axis=1)):
        yield rows.units[int(i)], [rows.steps[int(j)] for j in np.flatnonzero(is_open[i])]


def _block(whole: WholeBoard, rows: BoardRows) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Rows and columns of the board that a list shows."""
    return (
        np.array([whole.board.row_of[unit.id] for unit in rows.units], np.intp),
        np.array([whole.board.column_of[step.id] for step in rows.steps], np.intp),
    )


def blockers(whole: WholeBoard, rows: BoardRows, *, own_trade: str) -> list[Blocker]:
    """Steps of other trades that the steps of these rows wait for, the most waited for first.

    Parameters
    ----------
    own_trade
        Trade whose own steps are left out, since it sees them among its work; "" for none.
    """
    board = whole.board
    at, columns = _block(whole, rows)
    if not len(at) or not len(columns):
        return []
    block = np.ix_(at, columns)
    bits = np.where(board.states[block] == State.WAITING, board.blockers[block], np.uint64(0))
    found = []
    for i, step in enumerate(board.steps):
        hits = (bits >> np.uint64(i)) & np.uint64(1)
        waiting = int(hits.sum())
        if waiting == 0 or (own_trade and step.trade == own_trade):
            continue
        on = np.flatnonzero(hits.any(axis=1))
        tags = tuple(rows.units[int(k)].tag for k in on[:NAMED_UNITS])
        ready = int((board.states[at[on], i] == State.READY).sum())
        found.append(Blocker(step, waiting, tags, len(on) - len(tags), ready))
    return sorted(found, key=lambda b: -b.waiting)


def cells_of(
    whole: WholeBoard, known: Details, shown: Iterable[Place]
) -> list[tuple[Place, list[CellFacts]]]:
    """Put together what is known of the steps of these places."""
    return [
        (place, [cell(whole, known, place.unit.id, step) for step in place.steps])
        for place in shown
    ]


AssignedRow = tuple[int, UnitOutline, str]
"""Id of a step, a unit of its subject, and the tag of the subject."""


def assigned_rows(scope: Scope, whole: WholeBoard) -> list[AssignedRow]:
    """What is assigned to the person in this project, the earliest date first, in one query."""
    rows = (
        Assignment.objects.filter(
            project_id=scope.project.id, person_id=scope.person.id, ended_at=None
        )
        .order_by(F("due_date").asc(nulls_last=True), "id")
        .values("step_id", "unit_id", *_GROUP_COLUMNS.values())
    )
    by_id = whole.outline_of
    found: list[AssignedRow] = []
    for row in rows:
        if row["step_id"] not in whole.board.column_of:
            continue
        unit_id, label = _unit_of(whole, row)
        if unit_id in by_id:
            found.append((row["step_id"], by_id[unit_id], label or by_id[unit_id].tag))
    return found


def _unit_of(whole: WholeBoard, row: Mapping[str, int | None]) -> tuple[int, str]:
    """Give a unit that stands for the subject of a row, and the tag of a group."""
    if row["unit_id"] is not None:
        return row["unit_id"], ""
    for kind, column in _GROUP_COLUMNS.items():
        group_id = row[column]
        group = whole.groupings[kind].groups.get(group_id) if group_id is not None else None
        if group is not None:
            of_unit = whole.board.group_of.get(kind, {})
            return next((u for u, g in of_unit.items() if g == group.id), 0), group.label
    return 0, ""


def assigned(whole: WholeBoard, known: Details, rows: Sequence[AssignedRow]) -> list[Assigned]:
    """Steps that are assigned and not done yet."""
    steps = {step.id: step for step in whole.board.steps}
    found = []
    for step_id, unit, label in rows:
        facts = cell(whole, known, unit.id, steps[step_id])
        if facts.state not in {State.DONE, State.NOT_APPLICABLE}:
            found.append(Assigned(facts, label, unit, facts.due_date))
    return found


def count_open(whole: WholeBoard, trade: str) -> Mapping[str, int]:
    """Count the steps that are ready, by trade, a group's step once; "" takes all trades."""
    board = whole.board
    found: dict[str, int] = {}
    for step in board.steps:
        if trade not in {"", step.trade}:
            continue
        rows = np.flatnonzero(board.states[:, board.column_of[step.id]] == State.READY)
        of_unit = board.group_of.get(step.per, {})
        subjects = {
            ("group", of_unit[u]) if u in of_unit else ("unit", u)
            for u in (board.unit_ids[int(i)] for i in rows)
        }
        found[step.trade] = found.get(step.trade, 0) + len(subjects)
    return found
