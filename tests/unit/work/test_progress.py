"""Progress in hours: published figures, shared steps, and what earns nothing yet."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from zones.work.domain.board import BoardInput, State, UnitOptions, compute
from zones.work.domain.progress import (
    cell_hours,
    earned_schedule,
    earned_value,
    elapsed_share,
    places_of,
    planned_share,
    renormalised,
    replayed,
    schedule_index_in_time,
)
from zones.work.domain.types import StepFacts


def test_ten_houses() -> None:
    # Ten houses of 1,000; at week 4 the plan says 4,000 and 3,000 are earned. The case is
    # published (course notes on earned value, scribd.com 374082681); the figures follow from it.
    value = earned_value(np.full(10, 1000.0), np.arange(10) < 3, np.arange(10) < 4)
    assert (value.earned_h, value.planned_h) == (3000, 4000)
    assert value.schedule_variance_h == -1000
    assert value.schedule_index == 0.75


def test_rules_of_credit() -> None:
    # Published: a trade article on rules of credit. Of a task with parts 0.17, 0.05 and 0.05
    # the last is half done; the whole is worth 3.5 minutes.
    share = earned_value(np.array([0.17, 0.05, 0.05, 0.73]), np.array([1, 1, 0.5, 0]), np.zeros(4))
    assert share.earned_h == pytest.approx(0.245)
    assert share.earned_h * 3.5 == pytest.approx(0.86, abs=0.005)
    assert share.schedule_index is None


def test_weights_of_a_unit_without_reheat() -> None:
    # Common practice, no source: without the 15 for piping or line power the others are
    # divided by 0.85.
    weights = [5, 25, 20, 15, 7, 5, 5, 6, 6, 4, 2]
    found = renormalised(weights, [weight != 15 for weight in weights])
    assert found[1] == pytest.approx(0.2941, abs=5e-5)
    assert found.sum() == pytest.approx(1)


@pytest.mark.parametrize(
    ("earned", "periods"), [(0, 0), (10, 1), (45, 2.5), (100, 4), (140, 4), (5, 0.5)]
)
def test_earned_schedule(earned: float, periods: float) -> None:
    # From memory: planned 10, 30, 60, 100; 45 earned gives 2.5 periods.
    assert earned_schedule([10, 30, 60, 100], earned) == pytest.approx(periods)


def test_earned_schedule_against_the_time_gone_by() -> None:
    # From memory: 2.5 periods earned at time 3 is an index of 0.833.
    assert schedule_index_in_time(2.5, 3) == pytest.approx(0.833, abs=5e-4)


@pytest.mark.parametrize(("x", "share"), [(0.25, 0.1563), (0.5, 0.5), (0.75, 0.8438)])
def test_the_s_curve(x: float, share: float) -> None:
    # From memory: F(x) = 3x² - 2x³.
    assert float(planned_share(x)) == pytest.approx(share, abs=1e-4)
    assert float(planned_share(x, "even")) == x


@given(
    st.lists(st.floats(0, 1e4), min_size=1, max_size=30),
    st.integers(1, 200),
    st.sampled_from(["s", "even"]),
)
def test_a_plan_never_falls_and_gives_back_what_it_planned(
    weekly: list[float], length: int, shape: str
) -> None:
    plan = np.cumsum(weekly)
    for periods in range(1, len(plan) + 1):
        found = earned_schedule(list(plan), float(plan[periods - 1]))
        # A period without work ends when it begins.
        assert plan[int(np.ceil(found)) - 1 if found else 0] >= plan[periods - 1] or not found
        assert found <= len(plan)
    start = date(2026, 11, 2)
    days = [start + timedelta(days=i) for i in range(-2, length + 2)]
    gone = elapsed_share(days, start, start + timedelta(days=length - 1))
    shares = planned_share(gone, shape)  # type: ignore[arg-type]  # one of the two shapes
    assert (np.diff(shares) >= -1e-12).all()
    assert (shares[1], shares[-3]) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("call", "what"),
    [
        (lambda: earned_value(np.array([-1.0]), np.ones(1), np.ones(1)), "budget_h"),
        (lambda: earned_value(np.ones(2), np.ones(1), np.ones(2)), "done has 1"),
        (lambda: earned_value(np.ones(1), np.ones(1), np.full(1, 1.1)), "planned"),
        (lambda: earned_schedule([], 1), "planned_h"),
        (lambda: earned_schedule([3, 2], 1), "fall"),
        (lambda: earned_schedule([3], -1), "below 0"),
        (lambda: schedule_index_in_time(1, 0), "elapsed"),
        (lambda: planned_share(0.5, "bent"), "shape"),  # type: ignore[arg-type]  # the refusal
        (lambda: elapsed_share([], date(2026, 2, 2), date(2026, 2, 1)), "finish_date"),
        (lambda: renormalised([1, 2], [False, False]), "add up to 0"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(call: object, what: str) -> None:
    with pytest.raises(ValueError, match=what):
        call()  # type: ignore[operator]  # each is a call without arguments


STEPS = (
    StepFacts(1, "box-hung", "Box hung", "mechanical", budget_h=1.5),
    StepFacts(2, "coil-piped", "Coil piped", "mechanical", budget_h=2, heats=("hot-water",),
              before=(1,)),
    StepFacts(3, "air-on", "Air on", "mechanical", per="air-handler", budget_h=4, before=(1,)),
    StepFacts(4, "verified", "Verified", "balancer", budget_h=0.75, before=(2, 3)),
)  # fmt: skip
UNITS = (UnitOptions(10, "hot-water"), UnitOptions(11), UnitOptions(12))
GROUPS = {"air-handler": {10: 7, 11: 7}}


def test_a_step_of_an_air_handler_counts_once() -> None:
    applies = np.array([[1, 1, 1, 1], [1, 0, 1, 1], [1, 0, 1, 1]], np.bool_)
    hours = cell_hours(STEPS, applies, places_of(GROUPS, [10, 11, 12]))
    assert hours[:, 2].tolist() == [2, 2, 4]
    assert hours[:, 1].tolist() == [2, 0, 0]


@given(st.lists(st.booleans(), min_size=12, max_size=12))
def test_the_replay_agrees_with_the_board(flags: list[bool]) -> None:
    said = np.array(flags).reshape(3, 4)
    # The two units of the air handler share its step.
    said[1, 2] = said[0, 2]
    ids = [unit.id for unit in UNITS]
    marks = {
        step.id: {"done": [ids[i] for i in range(3) if said[i, at]]}
        for at, step in enumerate(STEPS)
    }
    of_groups = {3: {"done": [7] if said[0, 2] else []}}
    board = compute(BoardInput(STEPS, UNITS, marks, of_groups, group_of=GROUPS))
    done = [said[None, :, at] for at in range(4)]
    earned = replayed(STEPS, board.states != State.NOT_APPLICABLE, done, places_of(GROUPS, ids))
    assert np.stack([flags[0] for flags in earned], axis=1).tolist() == board.is_earned.tolist()
