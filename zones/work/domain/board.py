"""Readiness: how every step of every unit stands, computed for a whole project at once.

Ready and waiting are never stored. A step is ready when all that has to come before it is
done; a step that does not apply passes on what it would have waited for. A step of an air
handler, a trunk or a transformer is done once and counts for all its units, and waits for all
of them; while a unit's trunk is not recorded, the step is kept at the unit itself.

Reference: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from graphlib import CycleError, TopologicalSorter
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from zones.inventory.domain.types import UnitOutline
from zones.work.domain.types import StepFacts

Flags: TypeAlias = npt.NDArray[np.bool_]
MOST_STEPS = 60
"""Steps of a catalogue: what a cell waits for is kept in the bits of one number."""


class State(IntEnum):
    """How a step of a unit stands."""

    NOT_APPLICABLE = 0
    WAITING = 1
    READY = 2
    IN_HAND = 3
    HELD = 4
    DONE = 5


STATE_KEYS: Mapping[State, str] = {
    State.NOT_APPLICABLE: "not-applicable",
    State.WAITING: "waiting",
    State.READY: "ready",
    State.IN_HAND: "in-hand",
    State.HELD: "held",
    State.DONE: "done",
}
MARK_CODES: Mapping[str, int] = {
    "open": 0,
    "in-hand": 1,
    "held": 2,
    "done": 3,
    "not-applicable": 4,
}


@dataclass(frozen=True, slots=True)
class UnitOptions:
    """What decides which steps apply to a unit."""

    id: int
    heat: str = "none"
    fan: str = "none"
    discharge_sensor: str = ""
    occupancy_sensor: str = ""

    def has(self, option: str) -> bool:
        """Tell whether the unit has an option.

        A unit with reheat has a discharge sensor unless somebody said that it has none; an
        occupancy sensor must be said.
        """
        if option == "discharge-sensor":
            return self.discharge_sensor == "yes" or (
                self.discharge_sensor == "" and self.heat != "none"
            )
        if option == "occupancy-sensor":
            return self.occupancy_sensor == "yes"
        return False


def options_of(unit: UnitOutline) -> UnitOptions:
    """Take from a unit what decides which steps and points apply to it."""
    return UnitOptions(unit.id, unit.heat, unit.fan, unit.discharge_sensor, unit.occupancy_sensor)


def applies(
    unit: UnitOptions, *, heats: Sequence[str], fans: Sequence[str], needs: Sequence[str]
) -> bool:
    """Tell whether something with these conditions applies to a unit."""
    return (
        (not heats or unit.heat in heats)
        and (not fans or unit.fan in fans)
        and all(unit.has(option) for option in needs)
    )


@dataclass(frozen=True, slots=True)
class BoardInput:
    """Everything that decides how the steps of a project stand.

    Attributes
    ----------
    unit_marks
        By step id and mark ("in-hand", "held", "done", "not-applicable"): ids of the units.
    group_marks
        The same for the groups of the step's kind.
    proofs
        By step key and unit id: whether the record's proof holds.
    decided
        Keys of the steps that only the record completes.
    group_of
        By kind: the group of each unit that has one.
    """

    steps: Sequence[StepFacts]
    units: Sequence[UnitOptions]
    unit_marks: Mapping[int, Mapping[str, Sequence[int]]] = field(default_factory=dict)
    group_marks: Mapping[int, Mapping[str, Sequence[int]]] = field(default_factory=dict)
    proofs: Mapping[str, Mapping[int, bool]] = field(default_factory=dict)
    decided: frozenset[str] = frozenset()
    group_of: Mapping[str, Mapping[int, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Board:
    """How the steps of a project stand.

    Attributes
    ----------
    states
        ``State`` by unit and step [units x steps, int8].
    is_clear
        Nothing that has to come before is open [units x steps].
    blockers
        Bit ``i`` is set when the cell waits for step ``i`` of ``steps`` [units x steps, uint64].
    is_withdrawn
        The record once proved the step and no longer does [units x steps].
    is_proven
        The record proves the step [units x steps].
    """

    steps: tuple[StepFacts, ...]
    unit_ids: tuple[int, ...]
    states: npt.NDArray[np.int8]
    is_clear: Flags
    blockers: npt.NDArray[np.uint64]
    is_withdrawn: Flags
    is_proven: Flags
    row_of: Mapping[int, int]
    column_of: Mapping[int, int]
    group_of: Mapping[str, Mapping[int, int]]

    def state(self, unit_id: int, step_id: int) -> State:
        """How a step of a unit stands."""
        return State(int(self.states[self.row_of[unit_id], self.column_of[step_id]]))

    def waits_for(self, unit_id: int, step_id: int) -> tuple[StepFacts, ...]:
        """Steps that a step of a unit waits for, in the order of the catalogue."""
        bits = int(self.blockers[self.row_of[unit_id], self.column_of[step_id]])
        return tuple(step for i, step in enumerate(self.steps) if bits >> i & 1)

    @property
    def is_early(self) -> Flags:
        """Done although something that has to come before is open [units x steps]."""
        found: Flags = (self.states == State.DONE) & ~self.is_clear
        return found

    @property
    def is_earned(self) -> Flags:
        """Done with nothing open before it: only such steps earn their hours [units x steps]."""
        found: Flags = (self.states == State.DONE) & self.is_clear
        return found

    def group(self, unit_id: int, step: StepFacts) -> int | None:
        """Group of a unit that the step is kept at, or None when it is kept at the unit."""
        return self.group_of.get(step.per, {}).get(unit_id)


def in_order(steps: Sequence[StepFacts]) -> list[StepFacts]:
    """Steps, each after those that have to come before it.

    Raises
    ------
    ValueError
        Steps wait for each other in a circle; the message names them.
    """
    known = {step.id: step for step in steps}
    wanted = {step.id: [b for b in step.before if b in known] for step in steps}
    try:
        return [known[i] for i in TopologicalSorter(wanted).static_order()]
    except CycleError as error:
        circle = " → ".join(known[i].name for i in error.args[1])
        raise ValueError(f"these steps wait for each other: {circle}") from error


def compute(given: BoardInput) -> Board:
    """Compute how every step of every unit stands.

    Raises
    ------
    ValueError
        More than 60 steps, or steps that wait for each other.
    """
    steps, units = tuple(given.steps), given.units
    if len(steps) > MOST_STEPS:
        raise ValueError(f"a catalogue has up to {MOST_STEPS} steps; this one has {len(steps)}")
    rows = {unit.id: i for i, unit in enumerate(units)}
    columns = {step.id: i for i, step in enumerate(steps)}
    shape = (len(units), len(steps))
    kinds, kind_of = _kinds(units)
    work = _Work(
        given,
        rows,
        columns,
        places={
            kind: _places(of_unit, units) for kind, of_unit in given.group_of.items() if of_unit
        },
        kinds=kinds,
        kind_of=kind_of,
        states=np.zeros(shape, np.int8),
        is_clear=np.ones(shape, np.bool_),
        is_passed=np.zeros(shape, np.bool_),
        blockers=np.zeros(shape, np.uint64),
        is_withdrawn=np.zeros(shape, np.bool_),
        is_proven=np.zeros(shape, np.bool_),
    )
    for step in in_order(steps):
        work.take(step)
    return Board(
        steps,
        tuple(unit.id for unit in units),
        work.states,
        work.is_clear,
        work.blockers,
        work.is_withdrawn,
        work.is_proven,
        rows,
        columns,
        given.group_of,
    )


def _kinds(units: Sequence[UnitOptions]) -> tuple[list[UnitOptions], npt.NDArray[np.intp]]:
    """Give one unit of each set of options, and which of them each unit is like.

    Thousands of units have a dozen sets of options between them.
    """
    numbers: dict[tuple[str, str, str, str], int] = {}
    kinds: list[UnitOptions] = []
    kind_of = np.zeros(len(units), np.intp)
    for i, unit in enumerate(units):
        key = (unit.heat, unit.fan, unit.discharge_sensor, unit.occupancy_sensor)
        if key not in numbers:
            numbers[key] = len(kinds)
            kinds.append(unit)
        kind_of[i] = numbers[key]
    return kinds, kind_of


def _places(of_unit: Mapping[int, int], units: Sequence[UnitOptions]) -> npt.NDArray[np.int64]:
    """Give each unit the number of its group, and each unit without one a number of its own."""
    numbers = {group: i for i, group in enumerate(sorted(set(of_unit.values())))}
    alone = len(numbers)
    return np.array(
        [
            numbers[of_unit[unit.id]] if unit.id in of_unit else alone + i
            for i, unit in enumerate(units)
        ],
        np.int64,
    )


@dataclass(slots=True)
class _Work:
    given: BoardInput
    rows: Mapping[int, int]
    columns: Mapping[int, int]
    places: Mapping[str, npt.NDArray[np.int64]]
    kinds: Sequence[UnitOptions]
    kind_of: npt.NDArray[np.intp]
    states: npt.NDArray[np.int8]
    is_clear: Flags
    is_passed: Flags
    blockers: npt.NDArray[np.uint64]
    is_withdrawn: Flags
    is_proven: Flags

    def take(self, step: StepFacts) -> None:
        """Compute one column; those that it waits for are there already."""
        at = self.columns[step.id]
        marks, proof = self._marks(step), self._proofs(step)
        is_out = ~self._applies(step) | (marks == MARK_CODES["not-applicable"])
        by_hand = (marks == MARK_CODES["done"]) & (step.key not in self.given.decided)
        is_done = ~is_out & ((proof > 0) | ((proof == 0) & by_hand))
        self._look_before(step, at, is_out)
        is_clear = self.is_clear[:, at]
        state = np.where(is_clear, np.int8(State.READY), np.int8(State.WAITING))
        state[marks == MARK_CODES["in-hand"]] = State.IN_HAND
        state[marks == MARK_CODES["held"]] = State.HELD
        state[is_done] = State.DONE
        state[is_out] = State.NOT_APPLICABLE
        self.states[:, at] = state
        self.is_withdrawn[:, at] = (proof < 0) & ~is_out
        self.is_proven[:, at] = (proof > 0) & ~is_out
        self.is_passed[:, at] = is_done | (is_out & is_clear)

    def _look_before(self, step: StepFacts, at: int, is_out: Flags) -> None:
        places = self.places.get(step.per)
        for before in step.before:
            earlier = self.columns.get(before)
            if earlier is None:
                continue
            is_open = ~self.is_passed[:, earlier]
            passed_on = self.states[:, earlier] == State.NOT_APPLICABLE
            bits = np.where(
                passed_on, self.blockers[:, earlier], np.uint64(1) << np.uint64(earlier)
            )
            bits = np.where(is_open, bits, np.uint64(0))
            if places is not None:
                # A unit to which the step does not apply waits alone and holds up nobody.
                shared = _of_group(places, is_open & ~is_out, np.where(is_out, np.uint64(0), bits))
                is_open = np.where(is_out, is_open, shared[0])
                bits = np.where(is_out, bits, shared[1])
            self.is_clear[:, at] &= ~is_open
            self.blockers[:, at] |= bits

    def _applies(self, step: StepFacts) -> Flags:
        found = [
            applies(kind, heats=step.heats, fans=step.fans, needs=step.needs) for kind in self.kinds
        ]
        return np.array(found, np.bool_)[self.kind_of]

    def _marks(self, step: StepFacts) -> npt.NDArray[np.int8]:
        found = np.zeros(len(self.rows), np.int8)
        of_unit = self.given.group_of.get(step.per, {})
        for mark, ids in self.given.unit_marks.get(step.id, {}).items():
            at = [self.rows[i] for i in ids if i in self.rows and i not in of_unit]
            found[at] = MARK_CODES[mark]
        said = {
            group: MARK_CODES[mark]
            for mark, ids in self.given.group_marks.get(step.id, {}).items()
            for group in ids
        }
        for unit_id, group in of_unit.items():
            if group in said and unit_id in self.rows:
                found[self.rows[unit_id]] = said[group]
        return found

    def _proofs(self, step: StepFacts) -> npt.NDArray[np.int8]:
        found = np.zeros(len(self.rows), np.int8)
        for unit_id, holds in self.given.proofs.get(step.key, {}).items():
            if unit_id in self.rows:
                found[self.rows[unit_id]] = 1 if holds else -1
        return found


def _of_group(
    places: npt.NDArray[np.int64], is_open: Flags, bits: npt.NDArray[np.uint64]
) -> tuple[Flags, npt.NDArray[np.uint64]]:
    """Let each unit wait for whatever a unit of its group waits for."""
    size = int(places.max()) + 1 if len(places) else 0
    any_open = np.zeros(size, np.bool_)
    np.logical_or.at(any_open, places, is_open)
    all_bits = np.zeros(size, np.uint64)
    np.bitwise_or.at(all_bits, places, bits)
    return any_open[places], all_bits[places]
