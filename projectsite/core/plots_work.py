"""Pictures of the work over time: SVG made here, the same on the page and in documents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from projectsite.core.drawing import (
    CHARACTER,
    HAIR,
    INK,
    INK_2,
    OCHRE,
    PAPER,
    PINE,
    REDLINE,
    SIZE,
    WASH_OCHRE,
    Axis,
    Drawing,
    axis,
)
from projectsite.core.numeric import rounded

_BAR = 0.62
"""Width of a bar, in parts of the room that its week has."""


@dataclass(frozen=True, slots=True)
class ShareBar:
    """A week: its name, its share [fraction, 0 to 1] or None, and what the share was made from."""

    label: str
    share: float | None
    words: str


def week_shares(
    bars: Sequence[ShareBar],
    *,
    title: str,
    key: str = "week-shares",
    width: float = 640,
    height: float = 220,
) -> str:
    """Draw a share for each week as a bar, the earliest on the left.

    Parameters
    ----------
    bars
        Weeks; one without a share is drawn as a dash, which is not the same as none done.
    key
        Start of the ids in the picture; unique on its page.
    """
    told = "; ".join(
        f"{bar.label}: nothing promised"
        if bar.share is None
        else f"{bar.label}: {100 * bar.share:.0f} % ({bar.words})"
        for bar in bars
    )
    drawing = Drawing(width, height, title, f"{told}." if told else "No week yet.", key)
    left, right, top, bottom = 56.0, width - 16, 30.0, height - 34
    up = axis([0.0, 100.0], bottom, top, wanted=4)
    for value in up.ticks():
        if value <= 100:
            y = up.at(value)
            drawing.line(left, y, right, y, ink=HAIR, width=0.7)
            drawing.text(left - 7, y + 4, f"{up.text(value)}", anchor="end")
    drawing.text(left, 14, "done as promised, %", weight=600, ink=INK)
    room = (right - left) / len(bars) if bars else 0.0
    for i, bar in enumerate(bars):
        middle = left + (i + 0.5) * room
        drawing.text(middle, bottom + 18, bar.label, anchor="middle")
        if bar.share is None:
            drawing.text(middle, bottom - 6, "–", anchor="middle")
            continue
        y = up.at(100 * bar.share)
        is_low = bar.share < 0.005
        drawing.rectangle(
            middle - room * _BAR / 2,
            y,
            room * _BAR,
            max(bottom - y, 1.0),
            fill=PAPER if is_low else PINE,
            stroke=INK,
        )
        drawing.text(middle, y - 5, f"{100 * bar.share:.0f} %", anchor="middle", ink=INK_2)
    drawing.line(left, bottom, right, bottom, width=1.2)
    return drawing.svg()


_WEEKS_BETWEEN = (1, 2, 4, 8, 13, 26, 52, 104)
_TICK_WIDTH = 84.0


@dataclass(frozen=True, slots=True)
class HoursPoint:
    """Hours up to the end of a day [h]; None where there are none to show."""

    day: date
    planned_h: float | None
    earned_h: float | None


@dataclass(frozen=True, slots=True)
class Finish:
    """Days by which a tenth, half and nine tenths of the simulated runs end; None beyond."""

    early: date | None
    middle: date | None
    late: date | None


def hours_curve(
    points: Sequence[HoursPoint],
    *,
    today: date,
    budget_h: float,
    finish: Finish | None = None,
    title: str = "Earned against planned hours",
    key: str = "hours",
    width: float = 760,
    height: float = 320,
) -> str:
    """Draw planned and earned hours over time, with the range of the forecast.

    Parameters
    ----------
    points
        In the order of their days.
    budget_h
        All budgeted hours [h]: the line that the work ends at.
    finish
        The forecast, or None when there is none.
    key
        Start of the ids in the picture; unique on its page.
    """
    drawing = Drawing(width, height, title, _hours_words(points, today, budget_h, finish), key)
    left, right, top, bottom = 56.0, width - 18, 34.0, height - 40
    days = [point.day for point in points] + [today]
    first, last = min(days), max(days)
    # A forecast far beyond the plan would press the past into a corner; its dates stand below.
    room = last + max(last - first, timedelta(days=28))
    ends = [] if finish is None else [finish.early, finish.middle, finish.late]
    last = max([last, *(min(day, room) for day in ends if day)])
    across = Axis(first.toordinal(), max(last.toordinal(), first.toordinal() + 7), left, right, 7)
    up = axis([budget_h, 1.0], bottom, top, wanted=5)
    _days_frame(drawing, across, up)
    if finish is not None:
        _range(drawing, across, up, points, today, budget_h, finish)
    drawing.line(left, up.at(budget_h), right, up.at(budget_h), ink=INK_2, dash="2 3")
    drawing.text(left + 6, up.at(budget_h) - 5, f"all {rounded(budget_h, 0)} h")
    now = across.at(today.toordinal())
    drawing.line(now, top, now, bottom, ink=REDLINE, width=1, dash="6 3")
    drawing.keep_clear(now, top, now, bottom)
    planned = [(p.day, p.planned_h) for p in points if p.planned_h is not None]
    earned = [(p.day, p.earned_h) for p in points if p.earned_h is not None]
    for line, ink, thick in ((planned, INK_2, 1.4), (earned, PINE, 2.4)):
        course = [(across.at(day.toordinal()), up.at(hours)) for day, hours in line]
        if len(course) > 1:
            drawing.path(course, ink=ink, width=thick)
    drawing.text(left, 14, "Hours", weight=600, ink=INK)
    drawing.label(now, bottom - 8, f"today {today.isoformat()}", ink=REDLINE)
    entries = [(PINE, 2.4, "earned")] if earned else []
    entries += [(INK_2, 1.4, "planned")] if planned else []
    _keys(drawing, width, entries, has_range=finish is not None)
    return drawing.svg()


def _hours_words(
    points: Sequence[HoursPoint], today: date, budget_h: float, finish: Finish | None
) -> str:
    """What the picture shows, for those who can't see it."""
    words = [f"{rounded(budget_h, 1)} h are budgeted"]
    so_far = [point for point in points if point.day <= today]
    if so_far:
        now = so_far[-1]
        parts = (("earned", now.earned_h), ("planned", now.planned_h))
        said = [f"{rounded(hours, 1)} h {word}" for word, hours in parts if hours is not None]
        words.append(f"by {now.day.isoformat()}: {' and '.join(said)}" if said else "")
    if finish is not None:
        dates = [day.isoformat() if day else "beyond the horizon" for day in _ends(finish)]
        words.append(
            f"a tenth of the simulated runs end by {dates[0]}, half by {dates[1]}, "
            f"nine tenths by {dates[2]}"
        )
    return "; ".join(filter(None, words)) + "."


def _ends(finish: Finish) -> tuple[date | None, date | None, date | None]:
    return finish.early, finish.middle, finish.late


def _days_frame(drawing: Drawing, across: Axis, up: Axis) -> None:
    for value in up.ticks():
        y = up.at(value)
        drawing.line(across.start, y, across.end, y, ink=HAIR, width=0.7)
        drawing.text(across.start - 7, y + 4, up.text(value), anchor="end")
    base = up.start
    weeks = (across.high - across.low) / 7
    most = (across.end - across.start) / _TICK_WIDTH
    step = next((w for w in _WEEKS_BETWEEN if weeks / w <= most), _WEEKS_BETWEEN[-1])
    day = date.fromordinal(int(across.low))
    while day.toordinal() <= across.high:
        x = across.at(day.toordinal())
        drawing.line(x, base, x, base + 5)
        # The last one would run out of the picture.
        if x < across.end - 26:
            anchor = "middle" if x > across.start else "start"
            drawing.text(x, base + 18, day.isoformat(), anchor=anchor)
        day += timedelta(weeks=step)
    drawing.line(across.start, base, across.end, base, width=1.2)
    drawing.line(across.start, up.end, across.start, base, width=1.2)


def _range(
    drawing: Drawing,
    across: Axis,
    up: Axis,
    points: Sequence[HoursPoint],
    today: date,
    budget_h: float,
    finish: Finish,
) -> None:
    """Draw where the simulated runs go, from what is earned today to all hours."""
    earned = [p.earned_h for p in points if p.earned_h is not None]
    start = (today.toordinal(), earned[-1] if earned else 0.0)

    def toward(end: date | None) -> tuple[float, float]:
        """Where the way to this end leaves the picture."""
        if end is None:
            return across.end, up.at(start[1])
        part = (across.high - start[0]) / max(end.toordinal() - start[0], 1)
        if part >= 1:
            return across.at(end.toordinal()), up.at(budget_h)
        return across.end, up.at(start[1] + part * (budget_h - start[1]))

    origin = (across.at(start[0]), up.at(start[1]))
    early, middle, late = map(toward, _ends(finish))
    corners = [origin, early, late]
    if late[1] > early[1]:
        # The late way leaves through the side, so the field has the upper corner too.
        corners = [origin, early, (across.end, min(early[1], late[1])), late]
    drawing.area(corners, WASH_OCHRE)
    drawing.line(*origin, *middle, ink=OCHRE, width=1.6, dash="5 3")
    if finish.middle is not None and middle[1] == up.at(budget_h):
        drawing.line(middle[0], middle[1], middle[0], up.start, ink=OCHRE, width=0.8, dash="2 3")


def _keys(
    drawing: Drawing, width: float, entries: Sequence[tuple[str, float, str]], *, has_range: bool
) -> None:
    x = width - 18.0
    if has_range:
        words = "8 of 10 simulated runs"
        x -= len(words) * SIZE * CHARACTER + 4
        drawing.text(x, 14, words)
        x -= 22
        drawing.rectangle(x, 5, 16, 10, fill=WASH_OCHRE, stroke=HAIR)
        x -= 14
    for ink, thick, words in reversed(entries):
        x -= len(words) * SIZE * CHARACTER + 4
        drawing.text(x, 14, words)
        x -= 24
        drawing.line(x, 10, x + 18, 10, ink=ink, width=thick)
        x -= 14


@dataclass(frozen=True, slots=True)
class HoursBar:
    """Hours of one trade [h]; ``planned_h`` None when nothing is planned."""

    label: str
    earned_h: float
    budget_h: float
    planned_h: float | None = None


def hours_bars(
    bars: Sequence[HoursBar],
    *,
    title: str = "Earned hours by trade",
    key: str = "bars",
    width: float = 760,
) -> str:
    """Draw earned out of budgeted hours, one bar under the other, with a line at the plan."""
    words = "; ".join(
        f"{bar.label}: {rounded(bar.earned_h, 1)} of {rounded(bar.budget_h, 1)} h earned"
        + ("" if bar.planned_h is None else f", {rounded(bar.planned_h, 1)} h planned by today")
        for bar in bars
    )
    row = 26.0
    drawing = Drawing(width, row * len(bars) + 22, title, f"{words or 'No hours'}.", key)
    left, right = 110.0, width - 118
    most = max([bar.budget_h for bar in bars] + [1.0])
    for i, bar in enumerate(bars):
        y = row * i + 4
        length = (right - left) * bar.budget_h / most
        drawing.text(left - 8, y + 13, bar.label, anchor="end", ink=INK)
        drawing.rectangle(left, y, length, 16, fill=PAPER, stroke=INK)
        drawing.rectangle(left, y, (right - left) * bar.earned_h / most, 16, fill=PINE)
        if bar.planned_h is not None:
            x = left + (right - left) * bar.planned_h / most
            drawing.line(x, y - 3, x, y + 19, ink=REDLINE, width=2)
        shown = f"{rounded(bar.earned_h, 0)} of {rounded(bar.budget_h, 0)} h"
        drawing.text(left + length + 8, y + 13, shown, ink=INK)
    base = row * len(bars) + 14
    has_plan = any(bar.planned_h is not None for bar in bars)
    drawing.text(left, base, "full: earned; frame: all budgeted hours"
                 + ("; red line: planned by today" if has_plan else ""))  # fmt: skip
    return drawing.svg()
