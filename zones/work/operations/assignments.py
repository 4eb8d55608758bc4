"""Who is to do which steps, and by when: many cells at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

from django.db import connection, transaction

from projectsite.accounts.access import Action
from projectsite.accounts.domain.types import MemberRow
from projectsite.core.errors import Forbidden, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.scope import Scope
from zones.inventory.domain.types import UnitOutline
from zones.work.domain import words
from zones.work.domain.board import State
from zones.work.domain.types import StepFacts
from zones.work.operations.marks import MOST_CELLS, OFFICE, Skipped
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.people import people_who_work, trade_of
from zones.work.queries.subjects import COLUMNS

Kept = Literal["person", "due_date"]
_SET = 250
"""Rows of one statement: the history of a statement pairs each row with every other."""

# The column of the subject is one of ours, never text that came with a request.
_CURRENT = """
SELECT a.id, a.step_id, a.{column}, a.person_id, coalesce(p.full_name, ''), a.due_date
FROM work_assignment a LEFT JOIN accounts_user p ON p.id = a.person_id
WHERE a.project_id = %s AND a.ended_at IS NULL AND (a.step_id, a.{column}) IN (
    SELECT * FROM unnest(%s::bigint[], %s::bigint[])
)
ORDER BY a.id
FOR UPDATE OF a
"""
# A promise never ends before it was made, whatever the clocks say.
_END = "UPDATE work_assignment SET ended_at = greatest(made_at, %s) WHERE id = ANY(%s)"
_BEGIN = """
INSERT INTO work_assignment
    (project_id, step_id, {column}, person_id, due_date, made_by_id, made_at)
SELECT %s, said.step_id, said.subject_id, said.person_id, said.due_date, %s, %s
FROM unnest(%s::bigint[], %s::bigint[], %s::bigint[], %s::date[])
    AS said(step_id, subject_id, person_id, due_date)
ORDER BY said.step_id, said.subject_id
"""


@dataclass(frozen=True, slots=True)
class AssignOutcome:
    """What an assignment did.

    Attributes
    ----------
    changed, unchanged
        Promises that are different now, and those that said the same already. A step of an air
        handler, a trunk or a transformer counts once, however many of its units were ticked.
    skipped
        Cells that were left as they are, and why.
    """

    changed: int
    unchanged: int = 0
    skipped: tuple[Skipped, ...] = ()


class _Cell(NamedTuple):
    unit: UnitOutline
    step: StepFacts
    column: str
    subject_id: int

    @property
    def key(self) -> tuple[str, int, int]:
        return self.column, self.step.id, self.subject_id

    @property
    def name(self) -> str:
        return f"{self.step.name} of {self.unit.tag}"


class _Current(NamedTuple):
    id: int
    person_id: int | None
    person: str
    due_date: date | None


class _Promise(NamedTuple):
    person_id: int | None
    due_date: date | None


_Chooser = Callable[[_Cell, _Current | None], _Promise | str]
"""Gives the promise of a cell from the one that stands, or why it stays as it is."""


@transaction.atomic
def assign(
    scope: Scope,
    *,
    cells: Sequence[tuple[int, int]],
    person_id: int | None,
    due_date: date | None,
    at: datetime,
    keep: Iterable[Kept] = (),
) -> AssignOutcome:
    """Say who is to do steps of units and by when.

    A changed promise ends the row that stood and begins another. Cells that are done already
    or do not apply are left out and named.

    Parameters
    ----------
    cells
        Pairs of unit id and step id [up to 5000]. A step of an air handler, a trunk or a
        transformer is kept at the unit's group, or at the unit while the group is unknown.
    person_id
        An active member whose trade is that of the steps, or of the office; None for nobody.
    due_date
        Last day, in the project's time zone, not before today; None for no day.
    at
        The time now.
    keep
        What stays as it stands in each cell, whatever ``person_id`` or ``due_date`` is.

    Raises
    ------
    Forbidden
        The role does not plan the work.
    NotFound
        A unit or step that is not in use in this project.
    InvalidInput
        Neither person nor day, a person of another trade, a day gone by, or too many cells.
    """
    scope.require(Action.PLAN_WORK)
    kept = frozenset(keep)
    _check_day(scope, None if "due_date" in kept else due_date, at)
    is_said = ("person" not in kept and person_id) or ("due_date" not in kept and due_date)
    if not is_said and len(kept) != 1:
        raise _wrong("person_id", "Choose a person or a day.")
    _lock(scope)
    wanted = _Wanted.of(scope, cells)
    if person_id is not None and "person" not in kept:
        _check_person(scope, person_id, {cell.step.id: cell.step for cell in wanted.open})

    def promised(cell: _Cell, now: _Current | None) -> _Promise | str:
        person = (now.person_id if now else None) if "person" in kept else person_id
        day = (now.due_date if now else None) if "due_date" in kept else due_date
        if person is None and day is None:
            return f"{cell.name} would have neither person nor day; it is left as it is."
        return _Promise(person, day)

    return wanted.write(scope, promised, at)


@transaction.atomic
def take(
    scope: Scope, *, cells: Sequence[tuple[int, int]], at: datetime, due_date: date | None = None
) -> AssignOutcome:
    """Take steps of one's own trade upon oneself; what somebody else has is left to that person.

    Parameters
    ----------
    cells
        Pairs of unit id and step id [up to 5000].
    due_date
        Last day where the plan gives none, in the project's time zone, not before today.

    Raises
    ------
    Forbidden
        The role marks no steps, or a step is of another trade.
    NotFound
        A unit or step that is not in use in this project.
    InvalidInput
        A day gone by, or too many cells.
    """
    scope.require(Action.MARK_STEPS)
    _check_day(scope, due_date, at)
    _lock(scope)
    wanted = _Wanted.of(scope, cells)
    for step in {cell.step.id: cell.step for cell in wanted.open}.values():
        if scope.trade not in {OFFICE, step.trade}:
            trade = dict(words.TRADES)[step.trade].lower()
            raise Forbidden(
                f"“{step.name}” is a step of another trade ({trade}). You take the steps of your "
                "own trade; ask the office to plan the others."
            )

    def promised(cell: _Cell, now: _Current | None) -> _Promise | str:
        if now is not None and now.person_id not in {None, scope.person.id}:
            return f"{cell.name} is {now.person}’s already; the office can change that."
        return _Promise(scope.person.id, (now.due_date if now else None) or due_date)

    return wanted.write(scope, promised, at)


@transaction.atomic
def end_assignments(
    scope: Scope, *, cells: Sequence[tuple[int, int]], at: datetime
) -> AssignOutcome:
    """End what was promised of steps of units.

    The office ends promises whole. Others give back what is theirs: the day stays in the plan.

    Raises
    ------
    Forbidden
        The role neither plans nor marks.
    NotFound
        A unit or step that is not in use in this project.
    InvalidInput
        No cell, or too many.
    """
    scope.require(Action.MARK_STEPS)
    _lock(scope)
    may_plan = scope.allows(Action.PLAN_WORK)

    def promised(cell: _Cell, now: _Current | None) -> _Promise | str:
        if now is None:
            return f"{cell.name} is promised by nobody."
        if may_plan:
            return _Promise(None, None)
        if now.person_id != scope.person.id:
            return f"{cell.name} is not yours to give back; ask the office."
        return _Promise(None, now.due_date)

    return _Wanted.of(scope, cells, is_ending=True).write(scope, promised, at)


def _lock(scope: Scope) -> None:
    """Two people who plan the same cells follow one another instead of crossing."""
    take_turn(Turn.PLAN_WORK, scope.project.id)


def _wrong(field: str, message: str) -> InvalidInput:
    return InvalidInput(message, fields={field: message})


def _check_day(scope: Scope, due_date: date | None, at: datetime) -> None:
    today = at.astimezone(ZoneInfo(scope.project.time_zone)).date()
    if due_date is not None and due_date < today:
        raise _wrong("due_date", f"{due_date} is gone by; choose {today} or a later day.")


def _check_person(scope: Scope, person_id: int, steps: dict[int, StepFacts]) -> None:
    member = next((m for m in people_who_work(scope) if m.user_id == person_id), None)
    if member is None:
        raise _wrong("person_id", "Choose an active member of this project who marks steps.")
    _check_trade(member, steps.values())


def _check_trade(member: MemberRow, steps: Iterable[StepFacts]) -> None:
    trade, names = trade_of(member), dict(words.TRADES)
    for step in steps:
        if trade not in {OFFICE, step.trade}:
            raise _wrong(
                "person_id",
                f"“{step.name}” is a step of the trade {names[step.trade].lower()}; "
                f"{member.full_name} works as {names[trade].lower()}. Choose somebody of that "
                "trade or of the office.",
            )


@dataclass(frozen=True, slots=True)
class _Wanted:
    """Cells of a request: those to write, and those left out with the reason."""

    open: tuple[_Cell, ...]
    skipped: tuple[Skipped, ...]

    @classmethod
    def of(
        cls, scope: Scope, cells: Sequence[tuple[int, int]], *, is_ending: bool = False
    ) -> _Wanted:
        if not cells:
            raise _wrong("cells", "Tick at least one step.")
        if len(cells) > MOST_CELLS:
            message = f"Plan up to {MOST_CELLS} steps at a time; these are {len(cells)}."
            raise _wrong("cells", message)
        whole = whole_board(scope)
        found, skipped = [], []
        for cell in _resolved(whole, cells):
            why = "" if is_ending else _why_not(whole, cell)
            if why:
                skipped.append(Skipped(cell.unit.id, cell.step.id, why))
            else:
                found.append(cell)
        return cls(tuple(found), tuple(skipped))

    def write(self, scope: Scope, promised: _Chooser, at: datetime) -> AssignOutcome:
        """End and begin promises, each subject once; ``promised`` chooses for each cell."""
        subjects = {cell.key: cell for cell in reversed(self.open)}
        skipped, changed, unchanged = list(self.skipped), 0, 0
        for column in {key[0] for key in subjects}:
            some = sorted(key[1:] for key in subjects if key[0] == column)
            for start in range(0, len(some), _SET):
                pairs = some[start : start + _SET]
                current = _current(scope, column, pairs)
                begun: dict[tuple[int, ...], _Promise] = {}
                ended: list[int] = []
                for pair in pairs:
                    cell, now = subjects[column, *pair], current.get(pair)
                    choice = promised(cell, now)
                    if isinstance(choice, str):
                        skipped.append(Skipped(cell.unit.id, cell.step.id, choice))
                    elif now and choice == (now.person_id, now.due_date):
                        unchanged += 1
                    else:
                        begun[pair] = choice
                        ended += [now.id] if now else []
                changed += len(begun)
                _write(scope, column, begun, ended, at)
        return AssignOutcome(changed, unchanged, tuple(skipped))


def _resolved(whole: WholeBoard, cells: Sequence[tuple[int, int]]) -> list[_Cell]:
    """Units, steps and subjects of the pairs, each pair once."""
    steps = {step.id: step for step in whole.board.steps}
    units = whole.outline_of
    found = []
    for unit_id, step_id in dict.fromkeys(cells):
        if step_id not in steps:
            raise NotFound(f"There is no step {step_id} in use in this project.")
        if unit_id not in units:
            raise NotFound(f"There is no terminal unit {unit_id} in use in this project.")
        step = steps[step_id]
        group = whole.board.group(unit_id, step)
        column = COLUMNS["unit" if group is None else step.per]
        found.append(_Cell(units[unit_id], step, column, unit_id if group is None else group))
    return found


def _why_not(whole: WholeBoard, cell: _Cell) -> str:
    """Why nobody can be asked to do a cell; "" when somebody can."""
    state = whole.board.state(cell.unit.id, cell.step.id)
    if state is State.NOT_APPLICABLE:
        return f"{cell.step.name} does not apply to {cell.unit.tag}."
    if state is State.DONE:
        return f"{cell.name} is done already."
    return ""


def _current(
    scope: Scope, column: str, pairs: Sequence[tuple[int, ...]]
) -> dict[tuple[int, ...], _Current]:
    step_ids, subject_ids = [list(ids) for ids in zip(*pairs, strict=True)]
    with connection.cursor() as cursor:
        cursor.execute(_CURRENT.format(column=column), [scope.project.id, step_ids, subject_ids])
        return {
            (row[1], row[2]): _Current(row[0], row[3], row[4], row[5]) for row in cursor.fetchall()
        }


def _write(
    scope: Scope,
    column: str,
    begun: dict[tuple[int, ...], _Promise],
    ended: list[int],
    at: datetime,
) -> None:
    rows = [(*pair, *promise) for pair, promise in begun.items() if promise != (None, None)]
    with connection.cursor() as cursor:
        if ended:
            cursor.execute(_END, [at, ended])
        if rows:
            columns = [list(values) for values in zip(*rows, strict=True)]
            cursor.execute(
                _BEGIN.format(column=column), [scope.project.id, scope.person.id, at, *columns]
            )
