"""Scale of a plan, distances on a floor, and the drawing."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from projectsite.core.findings import Severity
from projectsite.core.plots_plan import INKS, SHAPES, PlanMark, plan_drawing
from projectsite.ui.marks import INK, drawing
from zones.work.domain.board import State
from zones.work.domain.plan import PlanScale, along_walls_m, cable_length_m, straight_m
from zones.work.domain.plan_views import Shown, of_findings, of_punch, of_step, share_word

number = st.floats(-1e4, 1e4, allow_nan=False)


@given(number, number, number, number, st.floats(1e-4, 10), st.tuples(number, number))
def test_there_and_back_is_the_same_place(
    x: float, y: float, origin_x: float, origin_y: float, size: float, other: tuple[float, float]
) -> None:
    scale = PlanScale(size, origin_x, origin_y)
    assert scale.to_m(scale.to_px((x, y))) == pytest.approx((x, y), abs=1e-6)
    # A distance on the picture times the size of a pixel is the distance on the floor.
    apart_px = math.dist(scale.to_px((x, y)), scale.to_px(other))
    assert apart_px * size == pytest.approx(straight_m((x, y), other), abs=1e-6)


def test_north_is_up() -> None:
    scale = PlanScale.from_points((0, 0), (30, 40), 5.0, (10, 90))
    assert scale.m_per_px == pytest.approx(0.1)
    assert scale.to_px((0.0, 1.0)) == pytest.approx((10, 80))


@pytest.mark.parametrize(
    ("second", "distance", "message"),
    [((5, 5), 3.0, "two different points"), ((6, 5), 0.0, "above 0"), ((6, 5), math.nan, "above")],
)
def test_no_scale_from_one_point_or_no_distance(
    second: tuple[float, float], distance: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        PlanScale.from_points((5, 5), second, distance, (0, 0))


@given(st.tuples(number, number), st.tuples(number, number), st.floats(0, 50), st.floats(0, 1))
def test_a_cable_is_never_shorter_than_its_way(
    a: tuple[float, float], b: tuple[float, float], riser_m: float, slack: float
) -> None:
    assert along_walls_m(a, b) >= straight_m(a, b) - 1e-9
    length_m = cable_length_m(a, b, riser_m=riser_m, slack_fraction=slack)
    assert length_m == pytest.approx(cable_length_m(b, a, riser_m=riser_m, slack_fraction=slack))
    assert length_m >= along_walls_m(a, b) + riser_m


def test_negative_slack_is_refused() -> None:
    with pytest.raises(ValueError, match="slack_fraction"):
        cable_length_m((0, 0), (1, 1), slack_fraction=-0.1)


def test_the_gravest_decides() -> None:
    assert of_findings([]) == Shown("done", "no findings")
    assert of_findings([Severity.LOOK, Severity.HOLDS]).word == "holds turnover"
    assert of_punch([("mend", "open"), ("note", "answered")]) == Shown("look", "open items")
    assert of_punch([("holds", "answered")]).state == "hold"
    assert [of_step(state).state for state in State] == ["", "wait", "wait", "look", "hold", "done"]
    assert share_word(Shown("look", "3 of 7")) == "begun"


def test_the_shapes_are_those_of_the_state_marks() -> None:
    for state, ink in INK.items():
        assert INKS[state] == ink
        assert ink in SHAPES[state]
        drawn = [re.findall(r"<(\w+)", text) for text in (drawing(state), SHAPES[state])]
        assert drawn[0][1:] == drawn[1]


def test_the_drawing_says_what_it_shows_and_escapes_it() -> None:
    marks = [
        PlanMark(50, 40, "TU<1>", "done", "done", "/u/1/", {"unit": 1}),
        PlanMark(None, None, "TU-2", "", ""),
    ]
    page = plan_drawing(marks, width_px=200, height_px=100, image="/i/", title="Plan of floor 2")
    assert '<a href="/u/1/" aria-label="TU&lt;1&gt;, done"' in page
    assert 'role="group"' in page
    assert page.count('display="none"') == 1
    assert "style=" not in page
    paper = plan_drawing(
        [PlanMark(50, 40, "TU-1", "hold", "held")],
        width_px=200,
        height_px=100,
        image="data:,",
        title="x",
        path_px=[(1, 2), (3, 4)],
    )
    assert 'role="img"' in paper
    assert "TU-1: held." in paper
    assert '<polyline points="1,2 3,4"' in paper
    assert "<a " not in paper
