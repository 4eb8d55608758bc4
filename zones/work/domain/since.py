"""Since when a step is ready: the latest time of what it waited for.

Reference: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from zones.work.domain.board import Board, State, in_order
from zones.work.domain.types import StepFacts

Times: TypeAlias = npt.NDArray[np.float64]
UNKNOWN = -np.inf
"""Time of what nobody said and no dated proof shows."""


def ready_since(board: Board, passed_at: Times) -> Times:
    """Give the time since when nothing that has to come before has been open.

    Parameters
    ----------
    board
        How the steps stand.
    passed_at
        When each cell was done, or said not to apply [units x steps, s, -inf when unknown].

    Returns
    -------
    numpy.ndarray
        Latest time of what each cell waited for [units x steps, s, -inf when it waited for
        nothing whose time is known]. It means something where the board is clear.

    Reference
    ---------
    Common practice, no source.
    """
    since: Times = np.full(board.states.shape, UNKNOWN)
    for step in in_order(board.steps):
        at = board.column_of[step.id]
        latest: Times = np.full(len(board.unit_ids), UNKNOWN)
        for before in step.before:
            earlier = board.column_of.get(before)
            if earlier is None:
                continue
            passed = passed_at[:, earlier]
            is_out = board.states[:, earlier] == State.NOT_APPLICABLE
            # A step that does not apply passes on what it would have waited for.
            passed = np.where(is_out, np.maximum(passed, since[:, earlier]), passed)
            latest = np.maximum(latest, passed)
        since[:, at] = _shared(board, step, at, latest)
    return since


def _shared(board: Board, step: StepFacts, at: int, latest: Times) -> Times:
    """Let a step of a group wait for the latest of its units."""
    of_unit: Mapping[int, int] = board.group_of.get(step.per, {})
    if not of_unit or not step.before:
        return latest
    is_in = board.states[:, at] != State.NOT_APPLICABLE
    newest: dict[int, float] = {}
    for row, unit_id in enumerate(board.unit_ids):
        group = of_unit.get(unit_id)
        if group is not None and is_in[row]:
            newest[group] = max(newest.get(group, UNKNOWN), float(latest[row]))
    shared = latest.copy()
    for row, unit_id in enumerate(board.unit_ids):
        group = of_unit.get(unit_id)
        if group is not None and is_in[row]:
            shared[row] = newest[group]
    return shared
