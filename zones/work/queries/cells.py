"""What was said of the steps of a few units: fetched for the page that is shown only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import Q

from projectsite.core import evidence
from projectsite.core.evidence import Proof
from projectsite.core.scope import Scope
from zones.work.domain.board import STATE_KEYS, Board, State
from zones.work.domain.types import AssignmentFacts, MarkFacts, StepFacts
from zones.work.models import Assignment, StepMark
from zones.work.queries.board import WholeBoard

Cell = tuple[int, int]
"""Ids of a unit and of a step."""
_GROUP_COLUMNS: Mapping[str, str] = {
    "air-handler": "air_handler_id",
    "trunk": "trunk_id",
    "transformer": "transformer_id",
}


@dataclass(frozen=True, slots=True)
class Details:
    """Marks and promises of a few units, by unit and step; those of a group count for its units."""

    marks: Mapping[Cell, MarkFacts] = field(default_factory=dict)
    assignments: Mapping[Cell, AssignmentFacts] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CellFacts:
    """How a step of a unit stands, with all that a page says about it.

    Attributes
    ----------
    group
        Tag of the air handler, trunk or transformer that the step is kept at, or "".
    is_withdrawn
        The record once proved the step and no longer does.
    is_early
        Done although something that has to come before is open.
    waits_for
        Steps that are open before it.
    """

    unit_id: int
    step: StepFacts
    state: State
    waits_for: tuple[StepFacts, ...] = ()
    group: str = ""
    is_proven: bool = False
    is_withdrawn: bool = False
    is_early: bool = False
    mark: MarkFacts | None = None
    assignment: AssignmentFacts | None = None
    proof: Proof | None = None

    @property
    def key(self) -> str:
        """State as it is stored and sent."""
        return STATE_KEYS[self.state]

    @property
    def due_date(self) -> date | None:
        """Day by which it is promised."""
        return self.assignment.due_date if self.assignment else None


def details(scope: Scope, whole: WholeBoard, unit_ids: Iterable[int]) -> Details:
    """Read what was said and promised of these units' steps, in two queries."""
    ids = list(unit_ids)
    wanted, units_of = _subjects(whole.board, ids)
    per = {step.id: step.per for step in whole.board.steps}
    return Details(
        {
            cell: MarkFacts(row[5], row[6], row[7], row[8])
            for row in _marks(scope, wanted)
            for cell in _cells(row[:5], per, units_of, whole.board)
        },
        {
            cell: AssignmentFacts(row[5], row[6], row[7] or "", row[8], row[9])
            for row in _assignments(scope, wanted)
            for cell in _cells(row[:5], per, units_of, whole.board)
        },
    )


def _subjects(board: Board, ids: list[int]) -> tuple[Q, dict[str, dict[int, list[int]]]]:
    """Give a condition for rows about these units or their groups, and the units of each group."""
    wanted = Q(unit_id__in=ids)
    units_of: dict[str, dict[int, list[int]]] = {}
    for kind, column in _GROUP_COLUMNS.items():
        of_unit = board.group_of.get(kind, {})
        found = units_of.setdefault(kind, {})
        for unit_id in ids:
            if unit_id in of_unit:
                found.setdefault(of_unit[unit_id], []).append(unit_id)
        if found:
            wanted |= Q(**{f"{column}__in": list(found)})
    return wanted, units_of


_SUBJECT = ("step_id", "unit_id", "air_handler_id", "trunk_id", "transformer_id")
SubjectRow = tuple[int, int | None, int | None, int | None, int | None]


def _marks(
    scope: Scope, wanted: Q
) -> Iterable[tuple[int, int | None, int | None, int | None, int | None, str, str, str, datetime]]:
    rows = StepMark.objects.filter(wanted, project_id=scope.project.id).exclude(state="open")
    return rows.order_by("id").values_list(*_SUBJECT, "state", "note", "by__full_name", "at")


def _assignments(
    scope: Scope, wanted: Q
) -> Iterable[
    tuple[
        int,
        int | None,
        int | None,
        int | None,
        int | None,
        int,
        int | None,
        str | None,
        date | None,
        datetime,
    ]
]:
    rows = Assignment.objects.filter(wanted, project_id=scope.project.id, ended_at=None)
    return rows.order_by("id").values_list(
        *_SUBJECT, "id", "person_id", "person__full_name", "due_date", "made_at"
    )


def _cells(
    row: SubjectRow,
    per: Mapping[int, str],
    units_of: Mapping[str, Mapping[int, list[int]]],
    board: Board,
) -> list[Cell]:
    """Give the cells that a row counts for: the board keeps a step at a unit or at its group."""
    step_id, unit_id, *group_ids = row
    kind = per.get(step_id)
    if kind is None:
        return []
    if unit_id is not None:
        return [] if unit_id in board.group_of.get(kind, {}) else [(unit_id, step_id)]
    group_id = dict(zip(_GROUP_COLUMNS, group_ids, strict=True)).get(kind)
    return [(i, step_id) for i in units_of.get(kind, {}).get(group_id or 0, ())]


def cell(whole: WholeBoard, known: Details, unit_id: int, step: StepFacts) -> CellFacts:
    """Put together all that is known of one step of a unit."""
    board = whole.board
    row, column = board.row_of[unit_id], board.column_of[step.id]
    group_id = board.group(unit_id, step)
    group = whole.groupings[step.per].groups.get(group_id) if group_id is not None else None
    at = (unit_id, step.id)
    state = State(int(board.states[row, column]))
    # A step that does not apply passes on what it would have waited for; nobody waits there.
    waits = state is not State.NOT_APPLICABLE and bool(board.blockers[row, column])
    return CellFacts(
        unit_id,
        step,
        state,
        board.waits_for(unit_id, step.id) if waits else (),
        group.label if group else "",
        bool(board.is_proven[row, column]),
        bool(board.is_withdrawn[row, column]),
        state is State.DONE and not bool(board.is_clear[row, column]),
        known.marks.get(at),
        known.assignments.get(at),
        whole.proofs.get(step.key, {}).get(unit_id),
    )


def cells_of_unit(scope: Scope, whole: WholeBoard, unit_id: int) -> list[CellFacts]:
    """Every step of the catalogue at one unit, in two queries."""
    known = details(scope, whole, [unit_id])
    return [cell(whole, known, unit_id, step) for step in whole.board.steps]


def is_told(facts: CellFacts) -> bool:
    """Tell whether a list of a unit's steps names it: it applies, or somebody said that not."""
    return facts.state is not State.NOT_APPLICABLE or facts.mark is not None


def may_mark(scope: Scope, facts: CellFacts) -> bool:
    """Tell whether the person may say something of this cell.

    Where the record proves the step there is nothing to say, and what the catalogue rules out
    for the unit is not brought back by a mark.
    """
    if facts.is_proven:
        return False
    if facts.state is State.NOT_APPLICABLE and facts.mark is None:
        return False
    return may_mark_step(scope, facts.step)


def may_mark_step(scope: Scope, step: StepFacts) -> bool:
    """Tell whether the person may mark this step: the office all, others those of their trade."""
    if not scope.allows("mark-steps"):
        return False
    return scope.trade in {"office", step.trade}


def may_mark_done(step: StepFacts) -> bool:
    """Tell whether a person's word completes the step; others follow the record alone."""
    return step.key not in evidence.decided_steps()
