import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from projectsite.core import drawing, units
from projectsite.core.drawing import axis, round_step
from projectsite.core.plots import Point, profile, progress_bar, scatter_with_fit
from projectsite.ui import marks

CFM = units.to_si(1.0, "cubic_foot_per_minute", "airflow")
SVG = "{http://www.w3.org/2000/svg}"
TOKENS = Path(marks.__file__).parent / "static/ui/tokens.css"
POINTS = [
    Point(180 * CFM, 186 * CFM, "minimum"),
    Point(480 * CFM, 470 * CFM, "middle"),
    Point(800 * CFM, 716 * CFM, "maximum", is_off=True),
]


def scatter(points: list[Point] = POINTS, **changes: object) -> ET.Element:
    settings = {
        "kind": "airflow",
        "system": "ip",
        "slope": 0.94,
        "fit_label": "fit K = 884 ± 31",
        "tolerance": 0.05,
    }
    markup = scatter_with_fit(points, **{**settings, **changes})  # type: ignore[arg-type]  # a test's shorthand
    return ET.fromstring(markup)


def texts(picture: ET.Element) -> list[str]:
    return [element.text or "" for element in picture.iter(f"{SVG}text")]


def test_ticks_are_round_numbers_in_the_readers_unit() -> None:
    assert {"0", "200", "400", "600", "800"} <= set(texts(scatter()))
    assert {"0", "100", "200", "300"} <= set(texts(scatter(system="si")))
    assert "reported, L/s" in texts(scatter(system="si"))


def test_the_picture_can_be_heard() -> None:
    picture = scatter()
    title, description = picture.find(f"{SVG}title"), picture.find(f"{SVG}desc")
    assert title is not None
    assert description is not None
    assert picture.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    assert "maximum: reported 800, measured 716 cfm, out of tolerance" in (description.text or "")
    assert "0.940" in (description.text or "")


def test_points_stand_where_the_axis_says() -> None:
    picture = scatter()
    circles = [
        (float(c.get("cx", "")), float(c.get("cy", ""))) for c in picture.iter(f"{SVG}circle")
    ]
    marks_at = {
        t.text: float(t.get("x", ""))
        for t in picture.iter(f"{SVG}text")
        if t.get("text-anchor") == "middle"
    }
    per_cfm = (marks_at["400"] - marks_at["200"]) / 200
    assert circles[0][0] == pytest.approx(marks_at["200"] - 20 * per_cfm, abs=0.2)
    assert len(circles) == 2  # the third is off and a diamond


def test_what_people_typed_is_escaped() -> None:
    picture = scatter([Point(1.0, 1.0, '<script>"&')], fit_label="<b>", title="<i>&")
    assert '<script>"&' in texts(picture)
    assert not list(picture.iter(f"{SVG}script"))


def test_no_inline_style_or_handler() -> None:
    made = (
        scatter_with_fit(POINTS, kind="airflow", system="ip"),
        run(),
        progress_bar([("done", 3), ("wait", 1)], title="Work"),
    )
    for picture in made:
        assert not re.search(r"\sstyle=|\son\w+=|<style|<script", picture)


def run(**changes: object) -> str:
    points = [
        Point(0, 24.6, "panel"),
        Point(20, 22.4, "TU-1"),
        Point(30, 20.1, "TU-2", is_off=True),
    ]
    settings = {
        "x_kind": "length",
        "y_kind": "voltage",
        "system": "ip",
        "x_label": "along",
        "y_label": "supply",
        "limit": 20.4,
        "limit_label": "lowest 20.4 V",
        "title": "Voltage along the run",
    }
    return profile(**{"points": points, **settings, **changes})  # type: ignore[arg-type]  # a test's shorthand


def test_profile_shows_limit_and_says_what_is_out() -> None:
    picture = ET.fromstring(run())
    assert "lowest 20.4 V" in texts(picture)
    description = picture.find(f"{SVG}desc")
    assert description is not None
    assert "TU-2: 20 V at 98.4 ft, out of limits" in (description.text or "")


@pytest.mark.parametrize("points", [[], [Point(0, 0)], [Point(1, 1), Point(1, 1)]])
def test_few_points_still_make_a_picture(points: list[Point]) -> None:
    assert scatter(points).tag == f"{SVG}svg"
    assert ET.fromstring(run(points=points)).tag == f"{SVG}svg"


def test_labels_of_crowded_points_do_not_cover_each_other() -> None:
    crowd = [Point((400 + 6 * i) * CFM, (400 + 4 * i) * CFM, f"point {i}") for i in range(5)]
    boxes = [
        drawing.text_box(
            float(t.get("x", "")), float(t.get("y", "")), t.text or "", t.get("text-anchor", "")
        )
        for t in scatter(crowd).iter(f"{SVG}text")
        if (t.text or "").startswith("point")
    ]
    assert len(boxes) == 5
    overlaps = [a.overlap(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :]]
    assert max(overlaps) < 30  # square pixels: not a letter


def test_progress_says_each_count_and_fills_by_share() -> None:
    picture = ET.fromstring(progress_bar([("done", 3), ("wait", 1)], title="Work", width=402))
    description = picture.find(f"{SVG}desc")
    assert description is not None
    assert description.text == "3 done, 1 waiting, 4 in all."
    widths = [float(r.get("width", "")) for r in picture.iter(f"{SVG}rect")]
    assert widths[1] == pytest.approx(300, abs=0.1)


@given(st.floats(1e-6, 1e9), st.integers(2, 10))
def test_steps_are_round_and_near_the_wanted_number(span: float, wanted: int) -> None:
    step = round_step(span, wanted)
    mantissa = float(f"{step:e}".split("e")[0])
    assert mantissa in {1.0, 2.0, 2.5, 5.0}
    assert wanted / 2 < span / step < wanted * 2


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=8), st.booleans())
def test_an_axis_holds_its_values(values: list[float], from_zero: bool) -> None:
    laid = axis(values, 0, 100, from_zero=from_zero)
    for value in values:
        assert -1e-6 <= laid.at(value) <= 100 + 1e-6


def test_colours_agree_with_the_pages() -> None:
    tokens = dict(
        re.findall(r"--([\w-]+): (#[0-9a-f]{6});", TOKENS.read_text().split("@media print")[0])
    )
    assert {
        "wait": tokens["ink-2"],
        "look": tokens["ochre"],
        "done": tokens["pine"],
        "hold": tokens["redline"],
    } == marks.INK
    for name in (
        "INK",
        "INK_2",
        "HAIR",
        "PAPER",
        "LINK",
        "REDLINE",
        "OCHRE",
        "PINE",
        "WASH_OCHRE",
        "WASH_RED",
    ):
        assert getattr(drawing, name) == tokens[name.lower().replace("_", "-")]


def test_the_four_marks_differ_by_shape() -> None:
    shapes = {re.sub(r"#[0-9a-f]{6}", "", marks.drawing(state)) for state in marks.INK}
    assert len(shapes) == 4
