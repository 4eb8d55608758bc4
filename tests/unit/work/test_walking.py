"""The walking order: short, whole, and the same every time."""

from __future__ import annotations

import itertools
import math
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from zones.work.domain.walking import path_length_m, walking_order

metres = st.floats(-500, 500, allow_nan=False).map(lambda value: round(value, 2))
floors = st.lists(st.tuples(metres, metres), min_size=1, max_size=25)


def split(points: list[tuple[float, float]]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    return tuple(x for x, _ in points), tuple(y for _, y in points)


@given(floors)
def test_every_unit_is_passed_once_and_the_walk_begins_in_the_south_west(
    points: list[tuple[float, float]],
) -> None:
    order = walking_order(*split(points))
    assert sorted(order) == list(range(len(points)))
    x, y = points[order[0]]
    assert x + y == min(a + b for a, b in points)


@given(floors)
def test_the_walk_is_never_longer_than_by_tag_from_the_same_start(
    points: list[tuple[float, float]],
) -> None:
    xs, ys = split(points)
    order = walking_order(xs, ys)
    by_tag = (order[0], *(i for i in range(len(points)) if i != order[0]))
    assert path_length_m(xs, ys, order) <= path_length_m(xs, ys, by_tag) + 1e-6


@given(st.lists(st.tuples(metres, metres), min_size=2, max_size=6, unique=True))
def test_no_stretch_turned_round_makes_it_shorter(points: list[tuple[float, float]]) -> None:
    xs, ys = split(points)
    order = walking_order(xs, ys)
    found = path_length_m(xs, ys, order)
    for i, j in itertools.combinations(range(1, len(order) + 1), 2):
        turned = (*order[:i], *order[i:j][::-1], *order[j:])
        assert found <= path_length_m(xs, ys, turned) + 1e-6


def test_a_grid_is_walked_along_its_shortest_path() -> None:
    # Every step of a shortest path through a grid leads to a neighbour: 11 steps of 10 m.
    points = [(10.0 * x, 10.0 * y) for x in range(4) for y in range(3)]
    shuffled = [points[(7 * i) % 12] for i in range(12)]
    xs, ys = split(shuffled)
    assert path_length_m(xs, ys, walking_order(xs, ys)) == pytest.approx(110.0)


def test_no_unit_and_one_unit() -> None:
    assert walking_order((), ()) == ()
    assert walking_order((3.0,), (4.0,)) == (0,)
    assert path_length_m((), ()) == 0.0


def test_what_is_no_floor_is_refused() -> None:
    with pytest.raises(ValueError, match="1 positions to the east and 2"):
        walking_order((1.0,), (1.0, 2.0))
    with pytest.raises(ValueError, match="finite"):
        walking_order((math.nan,), (1.0,))


def test_three_hundred_units_are_quick_and_always_alike() -> None:
    xs = tuple((i * 7919 % 1000) / 10 for i in range(300))
    ys = tuple((i * 104729 % 611) / 10 for i in range(300))
    began = time.perf_counter()
    order = walking_order(xs, ys)
    assert time.perf_counter() - began < 0.5  # a twentieth of a second on a quiet machine
    walking_order.cache_clear()
    assert walking_order(xs, ys) == order
