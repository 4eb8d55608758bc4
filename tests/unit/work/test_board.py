"""Readiness: plain cases, and the whole against a slow reference written another way."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from zones.work.domain.board import (
    MARK_CODES,
    MOST_STEPS,
    Board,
    BoardInput,
    State,
    UnitOptions,
    applies,
    compute,
    in_order,
)
from zones.work.domain.catalogue import STARTER_STEPS
from zones.work.domain.since import UNKNOWN, ready_since
from zones.work.domain.types import StepFacts


def step(step_id: int, *before: int, **values: object) -> StepFacts:
    return StepFacts(step_id, f"s{step_id}", f"Step {step_id}", "controls", before=before, **values)  # type: ignore[arg-type]  # fields by name


def board(steps: Sequence[StepFacts], units: int = 1, **values: object) -> Board:
    given_units = values.pop("units_given", [UnitOptions(i) for i in range(1, units + 1)])
    return compute(BoardInput(steps, given_units, **values))  # type: ignore[arg-type]  # fields by name


def starter() -> list[StepFacts]:
    ids = {one.key: number for number, one in enumerate(STARTER_STEPS, 1)}
    return [
        StepFacts(
            ids[one.key],
            one.key,
            one.name,
            one.trade,
            one.per,
            ids[one.key],
            one.budget_h,
            one.heats,
            one.fans,
            one.needs,
            tuple(ids[key] for key in one.before),
        )
        for one in STARTER_STEPS
    ]


def test_a_step_waits_until_what_comes_before_is_done() -> None:
    steps = [step(1), step(2, 1), step(3, 2)]
    found = board(steps)
    assert [found.state(1, i) for i in (1, 2, 3)] == [State.READY, State.WAITING, State.WAITING]
    assert [s.id for s in found.waits_for(1, 3)] == [2]
    found = board(steps, unit_marks={1: {"done": [1]}})
    assert [found.state(1, i) for i in (1, 2, 3)] == [State.DONE, State.READY, State.WAITING]


@pytest.mark.parametrize("mark", ["in-hand", "held", "not-applicable", "done"])
def test_what_was_said_is_shown(mark: str) -> None:
    found = board([step(1), step(2, 1)], unit_marks={1: {mark: [1]}})
    assert found.state(1, 1).name.lower().replace("_", "-") == mark
    passes = mark in {"not-applicable", "done"}
    assert found.state(1, 2) is (State.READY if passes else State.WAITING)


def test_a_step_that_does_not_apply_passes_on_what_it_would_have_waited_for() -> None:
    steps = [step(1), step(2, 1, heats=("electric",)), step(3, 2)]
    found = board(steps)
    assert found.state(1, 2) is State.NOT_APPLICABLE
    assert [s.id for s in found.waits_for(1, 3)] == [1]
    assert board(steps, unit_marks={1: {"done": [1]}}).state(1, 3) is State.READY


def test_done_out_of_turn_is_early_and_earns_nothing() -> None:
    found = board([step(1), step(2, 1)], unit_marks={2: {"done": [1]}})
    assert found.state(1, 2) is State.DONE
    assert found.is_early.tolist() == [[False, True]]
    assert found.is_earned.tolist() == [[False, False]]


@pytest.mark.parametrize(
    ("mark", "proof", "is_decided", "state"),
    [
        (None, True, False, State.DONE),
        (None, True, True, State.DONE),
        ("done", None, False, State.DONE),
        ("done", None, True, State.READY),  # only the record completes it
        ("done", False, False, State.READY),  # the record took it back
        ("in-hand", False, False, State.IN_HAND),
        ("held", True, False, State.DONE),
        ("not-applicable", True, False, State.NOT_APPLICABLE),
    ],
)
def test_proofs_count_both_ways(
    mark: str | None, proof: bool | None, is_decided: bool, state: State
) -> None:
    found = board(
        [step(1)],
        unit_marks={1: {mark: [1]}} if mark else {},
        proofs={"s1": {1: proof}} if proof is not None else {},
        decided=frozenset({"s1"}) if is_decided else frozenset(),
    )
    assert found.state(1, 1) is state
    assert bool(found.is_withdrawn[0, 0]) is (proof is False)


def test_a_shared_step_waits_for_all_its_units_and_counts_for_all() -> None:
    steps = [step(1), step(2, 1, per="trunk"), step(3, 2)]
    group_of = {"trunk": {1: 70, 2: 70, 3: 80}}
    said = {1: {"done": [1, 3]}}
    found = board(steps, 4, group_of=group_of, unit_marks=said)
    assert [found.state(i, 2) for i in (1, 2, 3, 4)] == [
        State.WAITING,
        State.WAITING,
        State.READY,
        State.WAITING,  # on no trunk yet: kept at the unit
    ]
    found = board(steps, 4, group_of=group_of, unit_marks=said, group_marks={2: {"done": [70]}})
    assert [found.state(i, 3) for i in (1, 2, 3)] == [State.READY, State.READY, State.WAITING]
    assert found.is_early[:, 1].tolist() == [True, True, False, False]


def test_a_unit_that_the_shared_step_leaves_out_holds_up_nobody() -> None:
    steps = [step(1), step(2, 1, per="trunk", heats=("electric",))]
    units = [UnitOptions(1, "electric"), UnitOptions(2)]
    found = board(
        steps,
        units_given=units,
        group_of={"trunk": {1: 70, 2: 70}},
        unit_marks={1: {"done": [1]}},
    )
    assert (found.state(1, 2), found.state(2, 2)) == (State.READY, State.NOT_APPLICABLE)


def test_options_decide_what_applies() -> None:
    """A unit with reheat has a discharge sensor unless somebody said that it has none."""
    needs = ("discharge-sensor",)
    assert applies(UnitOptions(1, "hot-water"), heats=(), fans=(), needs=needs)
    assert not applies(UnitOptions(1, "none"), heats=(), fans=(), needs=needs)
    said = UnitOptions(1, "hot-water", discharge_sensor="no")
    assert not applies(said, heats=(), fans=(), needs=needs)
    assert not applies(UnitOptions(1), heats=(), fans=(), needs=("occupancy-sensor",))
    assert not applies(UnitOptions(1, fan="series"), heats=(), fans=("parallel",), needs=())


def test_a_circle_is_refused_with_its_names() -> None:
    with pytest.raises(ValueError, match=r"wait for each other: .*Step 1 → .*Step"):
        in_order([step(1, 3), step(2, 1), step(3, 2), step(4, 1)])
    with pytest.raises(ValueError, match="up to 60 steps; this one has 61"):
        board([step(i) for i in range(MOST_STEPS + 1)])


def test_the_catalogue_that_ships_ends_in_the_documents() -> None:
    """Every step but the outermost is waited for, and all lead to the last one."""
    steps = starter()
    found = board(steps, units_given=[UnitOptions(1, "hot-water", "series", "yes", "yes")])
    by_key = {s.key: s for s in steps}
    assert found.state(1, by_key["box-hung"].id) is State.READY
    assert found.state(1, by_key["heater-wired"].id) is State.NOT_APPLICABLE
    reached, todo = set(), [by_key["documents-issued"]]
    by_id = {s.id: s for s in steps}
    while todo:
        one = todo.pop()
        reached.add(one.key)
        todo += [by_id[i] for i in one.before]
    assert reached == set(by_key)


@dataclass(frozen=True)
class Reference:
    """The same said slowly: cell by cell, each by the sentence that defines it."""

    given: BoardInput

    def unit(self, unit_id: int) -> UnitOptions:
        return next(unit for unit in self.given.units if unit.id == unit_id)

    def step(self, step_id: int) -> StepFacts:
        return next(one for one in self.given.steps if one.id == step_id)

    def mates(self, unit_id: int, one: StepFacts) -> list[int]:
        groups: Mapping[int, int] = self.given.group_of.get(one.per, {})
        if unit_id not in groups:
            return [unit_id]
        return [u.id for u in self.given.units if groups.get(u.id) == groups[unit_id]]

    def mark(self, unit_id: int, one: StepFacts) -> str:
        groups: Mapping[int, int] = self.given.group_of.get(one.per, {})
        in_group = unit_id in groups
        marks = (self.given.group_marks if in_group else self.given.unit_marks).get(one.id, {})
        subject = groups[unit_id] if in_group else unit_id
        return next((said for said, ids in marks.items() if subject in ids), "open")

    def is_out(self, unit_id: int, one: StepFacts) -> bool:
        unit = self.unit(unit_id)
        fits = not one.heats or unit.heat in one.heats
        return not fits or self.mark(unit_id, one) == "not-applicable"

    def is_done(self, unit_id: int, one: StepFacts) -> bool:
        if self.is_out(unit_id, one):
            return False
        proof = self.given.proofs.get(one.key, {}).get(unit_id)
        if proof is not None:
            return proof
        return self.mark(unit_id, one) == "done" and one.key not in self.given.decided

    def waits_for(self, unit_id: int, one: StepFacts) -> set[int]:
        if self.is_out(unit_id, one):
            waiting = [unit_id]
        else:
            waiting = [i for i in self.mates(unit_id, one) if not self.is_out(i, one)]
        found: set[int] = set()
        for other in waiting:
            for before in map(self.step, one.before):
                if self.is_out(other, before):
                    found |= self.waits_for(other, before)
                elif not self.is_done(other, before):
                    found.add(before.id)
        return found

    def state(self, unit_id: int, one: StepFacts) -> State:
        if self.is_out(unit_id, one):
            return State.NOT_APPLICABLE
        if self.is_done(unit_id, one):
            return State.DONE
        said = self.mark(unit_id, one)
        if said in {"held", "in-hand"}:
            return State.HELD if said == "held" else State.IN_HAND
        return State.WAITING if self.waits_for(unit_id, one) else State.READY


@st.composite
def inputs(draw: st.DrawFn) -> BoardInput:
    """Projects of a few units and steps, with everything that can differ."""
    count = draw(st.integers(1, 6))
    steps = []
    for i in range(1, count + 1):
        before = draw(st.sets(st.integers(1, i - 1), max_size=3)) if i > 1 else set()
        per = draw(st.sampled_from(["unit", "unit", "trunk", "air-handler"]))
        heats = draw(st.sampled_from([(), (), ("electric",)]))
        steps.append(step(i, *sorted(before), per=per, heats=heats))
    units = [UnitOptions(i, draw(st.sampled_from(["none", "electric"]))) for i in range(1, 5)]
    ids = [unit.id for unit in units]
    group_of = {
        kind: {i: draw(st.integers(70, 71)) for i in ids if draw(st.booleans())}
        for kind in ("trunk", "air-handler")
    }
    words = st.sampled_from(list(MARK_CODES))

    def marks(subjects: list[int]) -> dict[int, dict[str, list[int]]]:
        found: dict[int, dict[str, list[int]]] = {}
        for one in steps:
            for subject in subjects:
                found.setdefault(one.id, {}).setdefault(draw(words), []).append(subject)
        return found

    proofs = {
        one.key: {i: draw(st.booleans()) for i in ids if draw(st.integers(0, 3)) == 0}
        for one in steps
    }
    decided = frozenset(one.key for one in steps if draw(st.integers(0, 4)) == 0)
    shuffled = draw(st.permutations(steps))
    return BoardInput(shuffled, units, marks(ids), marks([70, 71]), proofs, decided, group_of)


@given(inputs())
def test_the_board_says_what_the_sentences_say(given_input: BoardInput) -> None:
    found, reference = compute(given_input), Reference(given_input)
    for unit in given_input.units:
        for one in given_input.steps:
            waits = reference.waits_for(unit.id, one)
            row, column = found.row_of[unit.id], found.column_of[one.id]
            assert found.state(unit.id, one.id) is reference.state(unit.id, one)
            assert {s.id for s in found.waits_for(unit.id, one.id)} == waits
            assert bool(found.is_clear[row, column]) is (not waits)


def test_since_when_a_step_is_ready() -> None:
    steps = [
        step(1),
        step(2),
        step(3, 1, 2, heats=("electric",)),
        step(4, 3),
        step(5, 4, per="trunk"),
    ]
    group_of = {"trunk": {1: 70, 2: 70}}
    done = {i: {"done": [1, 2]} for i in (1, 2, 4)}
    found = board(steps, 2, unit_marks=done, group_of=group_of)
    passed_at = np.full(found.states.shape, UNKNOWN)
    passed_at[0, :2], passed_at[1, :2] = (10.0, 30.0), (20.0, 5.0)
    passed_at[:, 3] = (40.0, 50.0)
    since = ready_since(found, passed_at)
    assert since[:, 0].tolist() == [UNKNOWN, UNKNOWN]  # waited for nothing
    assert since[:, 3].tolist() == [30.0, 20.0]  # through a step that does not apply
    assert since[:, 4].tolist() == [50.0, 50.0]  # the later unit of the trunk


def test_a_large_project_is_computed_at_once() -> None:
    """2,000 units with the steps that ship, in a fraction of the second that a page may take."""
    units = [UnitOptions(i, ("none", "hot-water", "electric")[i % 3]) for i in range(2000)]
    of_unit = {unit.id: unit.id // 40 for unit in units}
    steps = starter()
    start = time.perf_counter()
    found = board(steps, units_given=units, group_of={"trunk": of_unit, "air-handler": of_unit})
    assert found.states.shape == (2000, len(steps))
    assert time.perf_counter() - start < 1.0
