"""Which units and steps of the board a list shows, and in which order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from projectsite.core.numeric import natural_key
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.board import STATE_KEYS, State
from zones.work.domain.types import StepFacts
from zones.work.domain.walking import walking_order
from zones.work.queries.board import WholeBoard

SORTS = ("tag", "walking")
WITHDRAWN = "withdrawn"
STATES: tuple[tuple[str, str], ...] = (
    ("ready", "ready"),
    ("waiting", "waits"),
    ("in-hand", "in hand"),
    ("held", "held"),
    ("done", "done"),
    (WITHDRAWN, "proof withdrawn"),
)
"""States that a list can be narrowed to."""
_STATE_OF_KEY = {key: state for state, key in STATE_KEYS.items()}


@dataclass(frozen=True, slots=True)
class BoardFilter:
    """What a list of the board is narrowed to.

    Attributes
    ----------
    text
        Part of a tag or location.
    trade
        Steps of this trade only; "" for all.
    state
        Units of which a step shown stands like this; one of ``STATES``.
    """

    text: str = ""
    floor: str = ""
    air_handler: int | None = None
    trunk: int | None = None
    trade: str = ""
    state: str = ""


@dataclass(frozen=True, slots=True)
class BoardRows:
    """Units and steps that a list shows."""

    steps: tuple[StepFacts, ...]
    units: tuple[UnitOutline, ...]


def board_rows(whole: WholeBoard, wanted: BoardFilter, sort: str = "tag") -> BoardRows:
    """Choose units and steps of a board and put the units in order."""
    steps = tuple(s for s in whole.board.steps if wanted.trade in {"", s.trade})
    chosen = _in_state(whole, wanted.state, steps)
    trunks = whole.board.group_of.get("trunk", {})
    text = wanted.text.strip().casefold()
    units = tuple(
        unit
        for unit in in_order(whole.outlines, sort)
        if (chosen is None or unit.id in chosen)
        and (not wanted.floor or unit.floor == wanted.floor)
        and (wanted.air_handler is None or unit.air_handler_id == wanted.air_handler)
        and (wanted.trunk is None or trunks.get(unit.id) == wanted.trunk)
        and (not text or text in f"{unit.tag}\n{unit.location}".casefold())
    )
    return BoardRows(steps, units)


def _in_state(whole: WholeBoard, state: str, steps: Sequence[StepFacts]) -> set[int] | None:
    """Units of which one of these steps stands like this; None when it does not matter."""
    if not state:
        return None
    columns = [whole.board.column_of[step.id] for step in steps]
    if state == WITHDRAWN:
        hits = whole.board.is_withdrawn[:, columns].any(axis=1)
    else:
        hits = (whole.board.states[:, columns] == _STATE_OF_KEY[state]).any(axis=1)
    return {whole.board.unit_ids[int(i)] for i in np.flatnonzero(hits)}


def in_order(units: Sequence[UnitOutline], sort: str) -> Sequence[UnitOutline]:
    """Put units that come in the order of their tags in this order.

    "walking" goes floor by floor as one walks past the units; those without a position come
    behind those of their floor, in the order of their tags.
    """
    found = _on_foot(units) if sort.removeprefix("-") == "walking" else units
    return found[::-1] if sort.startswith("-") else found


def _on_foot(units: Sequence[UnitOutline]) -> Sequence[UnitOutline]:
    by_floor: dict[str, list[UnitOutline]] = {}
    for unit in units:
        by_floor.setdefault(unit.floor, []).append(unit)
    return [
        unit for floor in sorted(by_floor, key=natural_key) for unit in _walked(by_floor[floor])
    ]


def _walked(units: Sequence[UnitOutline]) -> list[UnitOutline]:
    placed: list[tuple[UnitOutline, float, float]] = []
    unplaced: list[UnitOutline] = []
    for unit in units:
        if unit.position_x_m is None or unit.position_y_m is None:
            unplaced.append(unit)
        else:
            placed.append((unit, unit.position_x_m, unit.position_y_m))
    # The whole floor is put in order, whatever the list is narrowed to: it is remembered.
    order = walking_order(tuple(x for _, x, _ in placed), tuple(y for _, _, y in placed))
    return [placed[i][0] for i in order] + unplaced


def counts(
    whole: WholeBoard, units: Sequence[UnitOutline], steps: Sequence[StepFacts]
) -> Mapping[State, int]:
    """Count the cells of these units and steps by state."""
    rows = [whole.board.row_of[unit.id] for unit in units]
    columns = [whole.board.column_of[step.id] for step in steps]
    if not rows or not columns:
        return dict.fromkeys(State, 0)
    found = np.bincount(whole.board.states[np.ix_(rows, columns)].ravel(), minlength=len(State))
    return {state: int(found[state]) for state in State}


def floors(whole: WholeBoard) -> list[str]:
    """Floors on which there are units, from the lowest name to the highest."""
    return sorted({unit.floor for unit in whole.outlines if unit.floor}, key=natural_key)
