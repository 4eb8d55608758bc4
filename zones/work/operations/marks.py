"""Marking steps: what people say of the work, many cells at a time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from django.db import connection, transaction

from projectsite.accounts.access import Action
from projectsite.core import evidence, groups
from projectsite.core.errors import Forbidden, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.domain import words
from zones.work.domain.board import applies, options_of
from zones.work.domain.types import StepFacts
from zones.work.queries.board import whole_board
from zones.work.queries.steps import steps_of
from zones.work.queries.subjects import COLUMNS

MOST_CELLS = 5000
"""Cells of one request: every unit of a large floor for a handful of steps."""
NOTE_LENGTH = 400
OFFICE = "office"
"""Trade of the people who mark the steps of every trade."""
_WITH_REASON = ("held", "not-applicable")
_SET = 250
"""Marks of one statement. The history of a statement pairs each row with every other, because
the database plans it once for a few rows; so the time grows with the square of the set."""

# The column of the subject is one of ours, never text that came with a request.
_SAY = """
INSERT INTO work_stepmark (project_id, step_id, {column}, state, note, by_id, at)
SELECT %s, said.step_id, said.subject_id, %s, %s, %s, %s
FROM unnest(%s::bigint[], %s::bigint[]) AS said(step_id, subject_id)
ORDER BY said.step_id, said.subject_id
ON CONFLICT (step_id, {column}) WHERE {column} IS NOT NULL DO UPDATE
SET state = excluded.state, note = excluded.note, by_id = excluded.by_id, at = excluded.at
WHERE work_stepmark.state <> excluded.state
    OR (excluded.note <> '' AND work_stepmark.note <> excluded.note)
"""
_TAKE_BACK = """
UPDATE work_stepmark AS m SET state = 'open', note = %s, by_id = %s, at = %s
FROM unnest(%s::bigint[], %s::bigint[]) AS said(step_id, subject_id)
WHERE m.project_id = %s AND m.step_id = said.step_id AND m.{column} = said.subject_id
    AND m.state <> 'open'
"""


@dataclass(frozen=True, slots=True)
class Skipped:
    """A cell with something to tell, in one sentence."""

    unit_id: int
    step_id: int
    text: str


@dataclass(frozen=True, slots=True)
class MarkOutcome:
    """What a marking did.

    Attributes
    ----------
    changed
        Marks that are different now. A step of an air handler, a trunk or a transformer counts
        once, however many of its units were ticked.
    skipped
        Cells that were left as they are, and why.
    unchanged
        Marks that said the same already.
    early
        Cells that are done although something that has to come before is open; they are kept,
        and a finding says so.
    """

    changed: int
    skipped: tuple[Skipped, ...] = ()
    unchanged: int = 0
    early: tuple[Skipped, ...] = ()


class _Cell(NamedTuple):
    unit: UnitOutline
    step: StepFacts


@transaction.atomic
def mark_steps(
    scope: Scope, *, cells: Sequence[tuple[int, int]], mark: str, note: str = "", at: datetime
) -> MarkOutcome:
    """Say of steps of units that they are in hand, held, done or not applicable, or take it back.

    Parameters
    ----------
    cells
        Pairs of unit id and step id [up to 5000]. A step of an air handler, a trunk or a
        transformer is kept at the unit's group, or at the unit while the group is unknown.
    mark
        One of ``words.MARKS``; "open" takes back what was said.
    note
        Why; held and not applicable need it.
    at
        The time now.

    Raises
    ------
    Forbidden
        A step of another trade; only the office marks the steps of every trade.
    NotFound
        A unit or step that is not in use in this project.
    InvalidInput
        An unknown mark, no reason, or too many cells.
    """
    scope.require(Action.MARK_STEPS)
    note = note.strip()
    _check(cells, mark, note)
    # Two people who mark the same cells follow one another instead of crossing.
    take_turn(Turn.MARK_STEPS, scope.project.id)
    wanted = _cells(scope, cells)
    _refuse_other_trades(scope, wanted)
    skipped = {cell: text for cell in wanted if (text := _why_not(cell, mark))}
    kept = [cell for cell in wanted if cell not in skipped]
    targets = _targets(scope, kept)
    changed = sum(
        _write(scope, column, pairs, mark=mark, note=note, at=at)
        for column, pairs in targets.items()
    )
    return MarkOutcome(
        changed,
        tuple(Skipped(c.unit.id, c.step.id, text) for c, text in skipped.items()),
        sum(map(len, targets.values())) - changed,
        _early(scope, kept) if mark == "done" and changed else (),
    )


def _check(cells: Sequence[tuple[int, int]], mark: str, note: str) -> None:
    if mark not in dict(words.MARKS):
        message = f"One of: {', '.join(key for key, _ in words.MARKS)}."
        raise InvalidInput(f"There is no mark {mark}.", fields={"mark": message})
    if not cells:
        message = "Tick at least one step."
        raise InvalidInput(message, fields={"cells": message})
    if len(cells) > MOST_CELLS:
        message = f"Mark up to {MOST_CELLS} steps at a time; these are {len(cells)}."
        raise InvalidInput(message, fields={"cells": message})
    if mark in _WITH_REASON and not note:
        message = f"Say why it is {dict(words.MARKS)[mark]}."
        raise InvalidInput(message, fields={"note": message})
    if len(note) > NOTE_LENGTH:
        message = f"Use up to {NOTE_LENGTH} characters; this has {len(note)}."
        raise InvalidInput(message, fields={"note": message})


def _cells(scope: Scope, cells: Sequence[tuple[int, int]]) -> list[_Cell]:
    """Units and steps of the pairs, each pair once."""
    steps = {step.id: step for step in steps_of(scope)}
    wanted = {unit_id for unit_id, _ in cells}
    units = {unit.id: unit for unit in inventory.outlines(scope, wanted)}
    found = []
    for unit_id, step_id in dict.fromkeys(cells):
        if step_id not in steps:
            raise NotFound(f"There is no step {step_id} in use in this project.")
        if unit_id not in units:
            raise NotFound(f"There is no terminal unit {unit_id} in use in this project.")
        found.append(_Cell(units[unit_id], steps[step_id]))
    return found


def _refuse_other_trades(scope: Scope, cells: Iterable[_Cell]) -> None:
    if scope.trade == OFFICE:
        return
    trades = dict(words.TRADES)
    for step in {cell.step.id: cell.step for cell in cells}.values():
        if step.trade != scope.trade:
            raise Forbidden(
                f"“{step.name}” is a step of another trade ({trades[step.trade].lower()}). You "
                "mark the steps of your own trade; ask that trade or the office."
            )


def _why_not(cell: _Cell, mark: str) -> str:
    """Why a cell can't be marked so; "" when it can."""
    unit, step = cell
    if mark == "open":
        return ""
    if not applies(options_of(unit), heats=step.heats, fans=step.fans, needs=step.needs):
        return f"{step.name} does not apply to {unit.tag}."
    if mark == "done" and step.key in evidence.decided_steps():
        return (
            f"{step.name} of {unit.tag} is done when the record proves it; "
            "it can't be marked done by hand."
        )
    return ""


Pairs = list[tuple[int, int]]


def _targets(scope: Scope, cells: Sequence[_Cell]) -> dict[str, Pairs]:
    """By column of the subject: step and subject of each mark, each once."""
    kinds = {cell.step.per for cell in cells} - {"unit"}
    of_unit: Mapping[str, Mapping[int, int]] = {
        kind: groups.grouping(scope, kind).of_unit for kind in kinds
    }
    found: dict[str, dict[tuple[int, int], None]] = {}
    for unit, step in cells:
        group = of_unit.get(step.per, {}).get(unit.id)
        column = COLUMNS["unit" if group is None else step.per]
        found.setdefault(column, {})[step.id, unit.id if group is None else group] = None
    return {column: list(pairs) for column, pairs in found.items()}


def _write(scope: Scope, column: str, pairs: Pairs, *, mark: str, note: str, at: datetime) -> int:
    """Write the marks of one kind of subject set by set, and tell how many changed."""
    by, project = scope.person.id, scope.project.id
    changed = 0
    with connection.cursor() as cursor:
        for start in range(0, len(pairs), _SET):
            some = pairs[start : start + _SET]
            step_ids, subject_ids = [list(ids) for ids in zip(*some, strict=True)]
            if mark == "open":
                cursor.execute(
                    _TAKE_BACK.format(column=column),
                    [note, by, at, step_ids, subject_ids, project],
                )
            else:
                cursor.execute(
                    _SAY.format(column=column),
                    [project, mark, note, by, at, step_ids, subject_ids],
                )
            changed += cursor.rowcount
    return changed


def _early(scope: Scope, cells: Sequence[_Cell]) -> tuple[Skipped, ...]:
    """Cells that are done before what has to come first."""
    board = whole_board(scope, unit_ids={unit.id for unit, _ in cells}).board
    is_early = board.is_early
    found = []
    for unit, step in cells:
        if is_early[board.row_of[unit.id], board.column_of[step.id]]:
            waits = ", ".join(before.name for before in board.waits_for(unit.id, step.id))
            text = f"{step.name} of {unit.tag} is marked done, though this is open: {waits}."
            found.append(Skipped(unit.id, step.id, text))
    return tuple(found)
