"""What the work finds about units: the board once, and only the cells worth a look."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection
from django.utils import timezone

from projectsite.core.findings import Finding
from projectsite.core.scope import Scope
from zones.work.domain import rules
from zones.work.domain.board import STATE_KEYS, Board, State
from zones.work.domain.rules import StepStanding
from zones.work.domain.since import UNKNOWN, Times, ready_since
from zones.work.models import StepMark
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.steps import steps_of

# Arrays, a row for each step: a large project has fifty thousand marks.
_TIMES = """
SELECT m.step_id, array_agg(coalesce(m.unit_id, m.air_handler_id, m.trunk_id, m.transformer_id)),
    array_agg(m.unit_id IS NOT NULL), array_agg(extract(epoch FROM m.at)::float8)
FROM work_stepmark m WHERE m.project_id = %s AND (m.unit_id IS NULL OR m.unit_id = ANY(%s))
GROUP BY 1
"""


@dataclass(frozen=True, slots=True)
class _Said:
    note: str
    by: str
    at: datetime


def findings(scope: Scope, unit_ids: Sequence[int]) -> list[Finding]:
    """What the work finds about these units now."""
    return findings_at(scope, unit_ids, now=timezone.now())


def findings_at(scope: Scope, unit_ids: Sequence[int], *, now: datetime) -> list[Finding]:
    """What the work finds about these units, in a fixed number of queries.

    Parameters
    ----------
    now
        The time against which steps are left lying.
    """
    if not unit_ids:
        return []
    steps = steps_of(scope)
    if not steps:
        return []
    whole = whole_board(scope, steps=steps, unit_ids=unit_ids)
    rows = [whole.board.row_of[i] for i in dict.fromkeys(unit_ids) if i in whole.board.row_of]
    if not rows:
        return []
    zone = ZoneInfo(scope.project.time_zone)
    standings = _standings(scope, whole, np.array(sorted(rows)), now)
    return list(rules.check(standings, lambda at: at.astimezone(zone).date().isoformat(), now=now))


def _standings(
    scope: Scope, whole: WholeBoard, rows: np.typing.NDArray[np.int_], now: datetime
) -> Iterator[StepStanding]:
    """Cells of these units that a rule may have something to say about."""
    board = whole.board
    said_at = _said_at(scope, board)
    since = np.maximum(ready_since(board, _passed_at(whole, said_at)), said_at)
    left = now.timestamp() - rules.UNTOUCHED_DAYS * 86_400
    is_ready = (board.states == State.READY) & (since > UNKNOWN) & (since < left)
    is_held = board.states == State.HELD
    early = board.is_early
    is_told = is_ready | is_held | early | board.is_withdrawn
    held = _held(scope) if is_held[rows].any() else {}
    for place, column in np.argwhere(is_told[rows]):
        row, step = int(rows[place]), board.steps[column]
        unit = whole.outlines[row]
        group = board.group(unit.id, step)
        said = held.get((step.id, step.per if group is not None else "unit", group or unit.id))
        proof = whole.proofs.get(step.key, {}).get(unit.id)
        yield StepStanding(
            unit.id,
            unit.tag,
            step.name,
            STATE_KEYS[State(int(board.states[row, column]))],
            of="" if group is None else whole.groupings[step.per].groups[group].label,
            waits_for=tuple(before.name for before in board.waits_for(unit.id, step.id))
            if early[row, column]
            else (),
            ready_since=datetime.fromtimestamp(since[row, column], UTC)
            if is_ready[row, column]
            else None,
            is_early=bool(early[row, column]),
            note=said.note if said else "",
            by=said.by if said else "",
            said_at=said.at if said else None,
            withdrawn=proof.text if proof and board.is_withdrawn[row, column] else "",
        )


def _said_at(scope: Scope, board: Board) -> Times:
    """When something was said of each cell last [units x steps, s]."""
    found: Times = np.full(board.states.shape, UNKNOWN)
    steps = {step.id: step for step in board.steps}
    with connection.cursor() as cursor:
        cursor.execute(_TIMES, [scope.project.id, list(board.unit_ids)])
        for step_id, subjects, are_units, times in cursor.fetchall():
            step = steps.get(step_id)
            if step is None:
                continue
            of_unit = board.group_of.get(step.per, {})
            column = found[:, board.column_of[step_id]]
            of_group = {}
            for subject, is_unit, time in zip(subjects, are_units, times, strict=True):
                if not is_unit:
                    of_group[subject] = time
                elif subject in board.row_of and subject not in of_unit:
                    column[board.row_of[subject]] = time
            for unit_id, group in of_unit.items():
                if group in of_group and unit_id in board.row_of:
                    column[board.row_of[unit_id]] = of_group[group]
    return found


def _passed_at(whole: WholeBoard, said_at: Times) -> Times:
    """When each cell was done or said not to apply: as proven, else as said."""
    board = whole.board
    is_said = np.isin(board.states, (State.DONE, State.NOT_APPLICABLE))
    found: Times = np.where(is_said, said_at, UNKNOWN)
    for step in board.steps:
        column = board.column_of[step.id]
        for unit_id, proof in whole.proofs.get(step.key, {}).items():
            row = board.row_of.get(unit_id)
            if row is not None and proof.holds:
                found[row, column] = proof.at.timestamp() if proof.at else UNKNOWN
    return found


def _held(scope: Scope) -> dict[tuple[int, str, int], _Said]:
    """What was said of held steps, by step, kind of subject and subject."""
    marks = StepMark.objects.filter(project_id=scope.project.id, state="held").order_by("id")
    kinds = ("unit", "air-handler", "trunk", "transformer")
    columns = ("unit_id", "air_handler_id", "trunk_id", "transformer_id")
    found = {}
    for step_id, note, by, at, *ids in marks.values_list(
        "step_id", "note", "by__full_name", "at", *columns
    ):
        kind, subject = next((k, i) for k, i in zip(kinds, ids, strict=True) if i is not None)
        found[step_id, kind, subject] = _Said(note, by, at)
    return found
