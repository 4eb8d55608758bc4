"""What is promised: the list of assignments, the look-ahead with what blocks it, the periods."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

from django.urls import reverse

from projectsite.core.numeric import natural_key
from projectsite.core.scope import Scope
from zones.work.domain.board import Board, State
from zones.work.domain.types import AssignmentFacts, StepFacts, SubjectRef
from zones.work.models import Assignment, StepMark
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.subjects import COLUMNS

Subject = tuple[str, int]
"""Kind and id of what a step is kept at."""
Task = tuple[int, str, int]
"""Step, and kind and id of what it is kept at."""
SUBJECT_COLUMNS = tuple(column for kind, column in COLUMNS.items() if kind != "outlet")
_KIND_OF_COLUMN = {column: kind for kind, column in COLUMNS.items()}
FINISHED = frozenset({State.DONE, State.NOT_APPLICABLE})


@dataclass(frozen=True, slots=True)
class Blocker:
    """A step that is open before another one: how it stands, who owes it and by when.

    Attributes
    ----------
    units
        How many units of the row hold it open.
    note
        Why it is held.
    is_later
        It is promised for a later day than the step that waits for it.
    """

    step: StepFacts
    state: State
    units: int = 1
    person: str = ""
    due_date: date | None = None
    note: str = ""
    is_later: bool = False


@dataclass(frozen=True, slots=True)
class PromiseRow:
    """A promise that stands, with how its step stands and what blocks it.

    Attributes
    ----------
    unit_ids
        Units that it counts for: one, or all of an air handler, a trunk or a transformer.
    note
        Why it is held.
    is_overdue
        Its day is gone by and it is not done.
    """

    assignment: AssignmentFacts
    step: StepFacts
    subject: SubjectRef
    unit_ids: tuple[int, ...]
    floors: tuple[str, ...]
    air_handler_ids: frozenset[int]
    air_handler: str
    state: State
    is_withdrawn: bool
    note: str
    blockers: tuple[Blocker, ...]
    is_overdue: bool

    @property
    def is_finished(self) -> bool:
        """Tell whether there is nothing left to do."""
        return self.state in FINISHED

    @property
    def can_be_done(self) -> bool:
        """Tell whether nothing holds it up."""
        return not self.is_finished and self.state is not State.HELD and not self.blockers


@dataclass(frozen=True, slots=True)
class PromiseFilter:
    """What a list of promises is narrowed to.

    Attributes
    ----------
    due_from, due_to
        First and last day; a promise without a day is left out when one is given.
    is_late_shown
        What is overdue stays in the list whatever ``due_from`` is.
    is_finished_shown
        Done steps, and those that no longer apply, are listed too.
    """

    text: str = ""
    floor: str = ""
    air_handler: int | None = None
    trade: str = ""
    person: int | None = None
    step: int | None = None
    unit: int | None = None
    due_from: date | None = None
    due_to: date | None = None
    is_late_shown: bool = False
    is_finished_shown: bool = True
    is_blocked: bool | None = None


SORTS: Mapping[str, Callable[[PromiseRow], Any]] = {
    "due": lambda row: row.assignment.due_date or date.max,
    "unit": lambda row: natural_key(row.subject.label),
    "step": lambda row: row.step.position,
    "trade": lambda row: row.step.trade,
    "person": lambda row: row.assignment.person.casefold() or "\U0010ffff",
    "state": lambda row: int(row.state),
}
"""Orders of a list of promises; those that are equal follow by day, unit and step."""


def promises(scope: Scope, today: date, whole: WholeBoard | None = None) -> list[PromiseRow]:
    """All promises that stand, by day, unit and step, in a fixed number of queries."""
    whole = whole or whole_board(scope)
    rows = _assignments(scope)
    units_of = units_of_groups(whole.board)
    made = dict(rows)
    notes = _held_notes(scope)
    found = [
        row
        for task, facts in rows
        if (row := _row(scope, whole, task, facts, units_of, made, notes, today)) is not None
    ]
    return in_order(found, "due")


def in_order(rows: Iterable[PromiseRow], sort: str) -> list[PromiseRow]:
    """Order promises by a key of ``SORTS``, with ``-`` in front for downwards."""
    found = sorted(
        rows,
        key=lambda row: (SORTS["due"](row), SORTS["unit"](row), row.step.position, row.step.id),
    )
    found.sort(key=SORTS[sort.removeprefix("-")], reverse=sort.startswith("-"))
    return found


def narrowed(rows: Iterable[PromiseRow], wanted: PromiseFilter) -> list[PromiseRow]:
    """Promises that a list shows."""
    text = wanted.text.strip().casefold()
    return [
        row
        for row in rows
        if wanted.trade in {"", row.step.trade}
        and wanted.person in {None, row.assignment.person_id}
        and wanted.step in {None, row.step.id}
        and (wanted.unit is None or wanted.unit in row.unit_ids)
        and (not wanted.floor or wanted.floor in row.floors)
        and (wanted.air_handler is None or wanted.air_handler in row.air_handler_ids)
        and (wanted.is_finished_shown or not row.is_finished)
        and (wanted.is_blocked is None or wanted.is_blocked is not row.can_be_done)
        and (not text or text in _spoken(row))
        and _is_due(row, wanted)
    ]


def _spoken(row: PromiseRow) -> str:
    return f"{row.subject.label}\n{row.subject.location}\n{row.step.name}".casefold()


def _is_due(row: PromiseRow, wanted: PromiseFilter) -> bool:
    if wanted.due_from is None and wanted.due_to is None:
        return True
    day = row.assignment.due_date
    if day is None or (wanted.due_to is not None and day > wanted.due_to):
        return False
    return (
        wanted.due_from is None
        or day >= wanted.due_from
        or (wanted.is_late_shown and row.is_overdue)
    )


def last_day(today: date, weeks: int) -> date:
    """Last day of the next ``weeks`` weeks.

    >>> last_day(date(2026, 11, 25), 2)
    datetime.date(2026, 12, 9)
    """
    return today + timedelta(days=7 * weeks)


def _assignments(scope: Scope) -> list[tuple[Task, AssignmentFacts]]:
    rows = (
        Assignment.objects.filter(project_id=scope.project.id, ended_at=None)
        .order_by("id")
        .values_list(
            "step_id",
            *SUBJECT_COLUMNS,
            "id",
            "person_id",
            "person__full_name",
            "due_date",
            "made_at",
            named=True,
        )
    )
    return [
        (
            task_of(row),
            AssignmentFacts(
                row.id, row.person_id, row.person__full_name or "", row.due_date, row.made_at
            ),
        )
        for row in rows
    ]


def task_of(row: Any) -> Task:
    """Step and subject of a stored row with the columns of a subject."""
    for column in SUBJECT_COLUMNS:
        found = getattr(row, column)
        if found is not None:
            return row.step_id, _KIND_OF_COLUMN[column], found
    raise ValueError("the row is about nothing")


def _held_notes(scope: Scope) -> dict[Task, str]:
    rows = StepMark.objects.filter(project_id=scope.project.id, state="held").order_by("id")
    return {
        task_of(row): row.note
        for row in rows.values_list("step_id", *SUBJECT_COLUMNS, "note", named=True)
    }


def units_of_groups(board: Board) -> dict[Subject, list[int]]:
    """Units of each air handler, trunk and transformer."""
    found: dict[Subject, list[int]] = {}
    for kind, of_unit in board.group_of.items():
        for unit_id, group in of_unit.items():
            if unit_id in board.row_of:
                found.setdefault((kind, group), []).append(unit_id)
    return found


def task_at(board: Board, unit_id: int, step: StepFacts) -> Task:
    """Step and subject that a cell is kept at."""
    group = board.group(unit_id, step)
    return (step.id, "unit", unit_id) if group is None else (step.id, step.per, group)


def units_of_task(
    board: Board, task: Task, units_of: Mapping[Subject, Sequence[int]]
) -> Sequence[int]:
    """Units that a task counts for; none when the board keeps the step elsewhere by now."""
    step_id, kind, subject_id = task
    if step_id not in board.column_of:
        return ()
    if kind == "unit":
        step = board.steps[board.column_of[step_id]]
        is_here = subject_id in board.row_of and board.group(subject_id, step) is None
        return (subject_id,) if is_here else ()
    return units_of.get((kind, subject_id), ())


def _row(
    scope: Scope,
    whole: WholeBoard,
    task: Task,
    facts: AssignmentFacts,
    units_of: Mapping[Subject, Sequence[int]],
    made: Mapping[Task, AssignmentFacts],
    notes: Mapping[Task, str],
    today: date,
) -> PromiseRow | None:
    board = whole.board
    unit_ids = tuple(units_of_task(board, task, units_of))
    if not unit_ids:
        return None
    column = board.column_of[task[0]]
    rows = [board.row_of[i] for i in unit_ids]
    # A step of a group stands alike for all units that it applies to. One by one, because most
    # promises are about one unit, where gathering with arrays takes ten times as long.
    state = State(max(int(board.states[r, column]) for r in rows))
    units = [whole.outlines[i] for i in rows]
    is_open = state not in FINISHED
    handlers = {u.air_handler_id: u.air_handler for u in units if u.air_handler_id is not None}
    return PromiseRow(
        facts,
        board.steps[column],
        _subject(scope, whole, task),
        unit_ids,
        tuple(sorted({u.floor for u in units if u.floor}, key=natural_key)),
        frozenset(handlers),
        ", ".join(sorted(handlers.values(), key=natural_key)) if len(handlers) < 3 else "several",
        state,
        any(bool(board.is_withdrawn[r, column]) for r in rows),
        notes.get(task, "") if state is State.HELD else "",
        _blockers(whole, rows, column, facts, made, notes) if is_open else (),
        is_open and facts.due_date is not None and facts.due_date < today,
    )


def _subject(scope: Scope, whole: WholeBoard, task: Task) -> SubjectRef:
    _, kind, subject_id = task
    if kind == "unit":
        unit = whole.outlines[whole.board.row_of[subject_id]]
        url = f"{_units_address(scope.project.key)}{unit.id}/"
        return SubjectRef("unit", unit.id, unit.tag, url, unit.id, unit.floor, unit.location)
    group = whole.groupings[kind].groups[subject_id]
    return SubjectRef(kind, group.id, group.label, group.url)  # type: ignore[arg-type]  # one of the kinds of groups


@lru_cache(maxsize=64)
def _units_address(key: str) -> str:
    """Address of a unit without its id: asking for each one takes longer than all the rest."""
    return reverse("inventory:unit", args=[key, 0]).removesuffix("0/")


def _blockers(
    whole: WholeBoard,
    rows: Sequence[int],
    column: int,
    facts: AssignmentFacts,
    made: Mapping[Task, AssignmentFacts],
    notes: Mapping[Task, str],
) -> tuple[Blocker, ...]:
    board = whole.board
    bits = 0
    for r in rows:
        bits |= int(board.blockers[r, column])
    found = []
    while bits:
        at = (bits & -bits).bit_length() - 1
        bits &= bits - 1
        step = board.steps[at]
        open_rows = [r for r in rows if State(int(board.states[r, at])) not in FINISHED]
        # The one that is farthest from being done speaks for all.
        first = min(open_rows or rows, key=lambda r: (_RANK[State(int(board.states[r, at]))], r))
        task = task_at(board, board.unit_ids[first], step)
        owed = made.get(task)
        day = owed.due_date if owed else None
        found.append(
            Blocker(
                step,
                State(int(board.states[first, at])),
                len(open_rows) or 1,
                owed.person if owed else "",
                day,
                notes.get(task, ""),
                bool(day and facts.due_date and day > facts.due_date),
            )
        )
    return tuple(found)


_RANK = {
    State.HELD: 0,
    State.WAITING: 1,
    State.READY: 2,
    State.IN_HAND: 3,
    State.DONE: 4,
    State.NOT_APPLICABLE: 5,
}
