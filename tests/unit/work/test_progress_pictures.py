"""Pictures of the hours: whole, spoken, escaped, and inside their frame."""

from __future__ import annotations

import re
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest

from projectsite.core.plots_work import Finish, HoursBar, HoursPoint, hours_bars, hours_curve

TODAY = date(2026, 11, 25)
FIRST = TODAY - timedelta(weeks=6)
POINTS = [
    HoursPoint(FIRST + timedelta(weeks=i), min(20.0 * i, 200.0), 15.0 * i if i <= 6 else None)
    for i in range(11)
]
SVG = "{http://www.w3.org/2000/svg}"


def inside(svg: str) -> ET.Element:
    """Every corner of lines and fields lies in the picture."""
    root = ET.fromstring(svg)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for shape in root.iter():
        for pair in shape.attrib.get("points", "").split():
            x, y = map(float, pair.split(","))
            assert -0.1 <= x <= width + 0.1
            assert -0.1 <= y <= height + 0.1
    return root


@pytest.mark.parametrize(
    "weeks",
    [(3, 5, 9), (3, 60, 200), (100, 200, 250), (2, 4, None), (None, None, None)],
)
def test_a_forecast_stays_in_the_picture_however_far_it_reaches(
    weeks: tuple[int | None, int | None, int | None],
) -> None:
    finish = Finish(*(None if w is None else TODAY + timedelta(weeks=w) for w in weeks))
    root = inside(hours_curve(POINTS, today=TODAY, budget_h=200, finish=finish))
    spoken = root.findtext(f"{SVG}desc") or ""
    assert "by 2026-11-25: 90.0 h earned and 120.0 h planned" in spoken
    for day in (finish.early, finish.middle, finish.late):
        assert (day.isoformat() if day else "beyond the horizon") in spoken


@pytest.mark.parametrize("points", [[], POINTS[:1], [HoursPoint(TODAY, None, 0.0)]])
def test_little_to_draw_is_drawn(points: list[HoursPoint]) -> None:
    root = inside(hours_curve(points, today=TODAY, budget_h=0, finish=None))
    assert "0.0 h are budgeted" in (root.findtext(f"{SVG}desc") or "")


def test_bars_say_and_show_their_hours() -> None:
    bars = [HoursBar("<b>", 5, 10, 7), HoursBar("Controls", 0, 40)]
    svg = hours_bars(bars)
    root = inside(svg)
    assert "<b>: 5.0 of 10.0 h earned, 7.0 h planned by today" in (
        root.findtext(f"{SVG}desc") or ""
    )
    assert "&lt;b&gt;" in svg
    filled = [float(r.attrib["width"]) for r in root.iter(f"{SVG}rect")]
    # Frame and filling of the first, then of the second, on one scale.
    assert filled[1] == pytest.approx(filled[0] / 2, abs=0.11)
    assert filled[0] == pytest.approx(filled[2] / 4, abs=0.11)
    assert filled[3] == 0
    assert len(re.findall("red line", svg)) == 1
    assert "red line" not in hours_bars(bars[1:])
