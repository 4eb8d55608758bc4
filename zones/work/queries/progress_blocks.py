"""What holds the work up: the steps at the root of what waits, and who owes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from zones.work.domain.board import Flags, State, in_order
from zones.work.queries.board import WholeBoard


@dataclass(frozen=True, slots=True)
class Blocking:
    """A step that others wait for and that waits for nothing itself.

    Attributes
    ----------
    open
        Units at which it is to be done.
    held
        Those of them at which somebody holds it.
    waiting
        Steps of units that wait for it, directly or behind others. One that waits for
        two steps counts with both.
    """

    step_id: int
    step: str
    trade: str
    open: int
    held: int
    waiting: int


@dataclass(frozen=True, slots=True)
class HeldUp:
    """Steps that wait for what a trade owes; one that waits for two trades counts with both."""

    trade: str
    waiting: int


def blocking(
    whole: WholeBoard, rows: Flags, columns: Flags
) -> tuple[tuple[Blocking, ...], tuple[HeldUp, ...]]:
    """Steps that hold up others and the trades that owe them, those that hold up most first.

    Parameters
    ----------
    rows, columns
        Units and steps of which what waits is counted.
    """
    board = whole.board
    roots = _roots(whole)
    waits = (board.states == State.WAITING) & np.outer(rows, columns)
    found = []
    of_trade: dict[str, np.uint64] = {}
    for at, step in enumerate(board.steps):
        bit = np.uint64(1) << np.uint64(at)
        waiting = int((((roots & bit) != 0) & waits).sum())
        if waiting:
            states = board.states[rows, at]
            is_open = (states != State.DONE) & (states != State.NOT_APPLICABLE)
            held = int((states == State.HELD).sum())
            row = Blocking(step.id, step.name, step.trade, int(is_open.sum()), held, waiting)
            found.append(row)
            of_trade[step.trade] = of_trade.get(step.trade, np.uint64(0)) | bit
    trades = [
        HeldUp(trade, int((((roots & bits) != 0) & waits).sum()))
        for trade, bits in of_trade.items()
    ]
    return (
        tuple(sorted(found, key=lambda row: -row.waiting)),
        tuple(sorted(trades, key=lambda row: (-row.waiting, row.trade))),
    )


def _roots(whole: WholeBoard) -> np.ndarray[tuple[int, int], np.dtype[np.uint64]]:
    """Follow what each cell waits for back to the steps that wait for nothing, as bits."""
    board = whole.board
    roots = np.zeros_like(board.blockers)
    for step in in_order(board.steps):
        at = board.column_of[step.id]
        for earlier in range(len(board.steps)):
            bit = np.uint64(1) << np.uint64(earlier)
            is_before = (board.blockers[:, at] & bit) != 0
            if is_before.any():
                behind = np.where(board.states[:, earlier] == State.WAITING, roots[:, earlier], bit)
                roots[:, at] |= np.where(is_before, behind, np.uint64(0))
    return roots
