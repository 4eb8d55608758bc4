"""The few pictures, as SVG text: the same on a page and in a document.

Values come in SI and stand in the reader's units. Presentation attributes only: a page's
policy forbids inline styles, and a document's renderer gives page styles no say here.
Every picture has a title and a description, and wants a table beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from projectsite.core import units
from projectsite.core.drawing import (
    CHARACTER,
    HAIR,
    INK,
    INK_2,
    LINK,
    OCHRE,
    PAPER,
    PINE,
    REDLINE,
    SIZE,
    WASH_OCHRE,
    WASH_RED,
    Axis,
    Drawing,
    Point,
    axis,
)
from projectsite.core.numeric import rounded
from projectsite.core.scope import UnitSystem

__all__ = ["Point", "profile", "progress_bar", "scatter_with_fit"]


def scatter_with_fit(
    points: Sequence[Point],
    *,
    kind: str,
    system: UnitSystem,
    x_label: str = "reported",
    y_label: str = "measured",
    slope: float | None = None,
    fit_label: str = "",
    tolerance: float | None = None,
    title: str = "Reported against measured airflow",
    key: str = "fit",
    width: float = 640,
    height: float = 300,
) -> str:
    """Draw readings of one kind against each other, with the fit and what is allowed.

    Parameters
    ----------
    points
        Readings in SI.
    slope
        Fitted line through zero, y = slope · x, or None when nothing is fitted.
    fit_label
        Words at the end of the fitted line, such as "fit K = 884 ± 31".
    tolerance
        Allowed deviation from equality [fraction, > 0], drawn as a band, or None.
    key
        Start of the ids in the picture; unique on its page.
    """
    shown = [
        (units.display_value(p.x, kind, system), units.display_value(p.y, kind, system))
        for p in points
    ]
    symbol = units.unit_symbol(kind, system)
    left, right, top, bottom = 56.0, width - 16, 26.0, height - 40
    across = axis([x for x, _ in shown] or [1.0], left, right, wanted=6)
    up = axis([y for _, y in shown] or [1.0], bottom, top, wanted=5)
    drawing = Drawing(
        width, height, title, _scatter_words(points, kind, system, slope, tolerance), key
    )
    reach = min(across.high, up.high)
    if tolerance is not None:
        steep = min(up.high / (1 + tolerance), across.high)
        flat = min(up.high / (1 - tolerance), across.high) if tolerance < 1 else across.high
        corners = [(0.0, 0.0), (steep, steep * (1 + tolerance))]
        # The band is cut at the frame's corner where its upper edge leaves through the top.
        if steep < across.high:
            corners.append((min(flat, across.high), up.high))
        corners.append((flat, flat * (1 - tolerance)))
        drawing.area([(across.at(x), up.at(y)) for x, y in corners], WASH_OCHRE)
    _frame(drawing, across, up)
    drawing.line(across.at(0), up.at(0), across.at(reach), up.at(reach), ink=INK_2, dash="4 4")
    drawing.keep_clear(across.at(0), up.at(0), across.at(reach), up.at(reach))
    if slope is not None and slope > 0:
        end = min(across.high, up.high / slope)
        drawing.line(
            across.at(0), up.at(0), across.at(end), up.at(slope * end), ink=LINK, width=1.8
        )
        drawing.keep_clear(across.at(0), up.at(0), across.at(end), up.at(slope * end))
    for (x, y), point in zip(shown, points, strict=True):
        drawing.marker(across.at(x), up.at(y), point)
    _legend(drawing, width, tolerance, has_fit=slope is not None)
    drawing.text(left, 14, f"{y_label}, {symbol}", anchor="start", weight=600, ink=INK)
    drawing.text(right, height - 6, f"{x_label}, {symbol}", anchor="end", weight=600, ink=INK)
    for (x, y), point in zip(shown, points, strict=True):
        drawing.label(across.at(x), up.at(y), point.label, ink=REDLINE if point.is_off else INK_2)
    if slope is not None and slope > 0 and fit_label:
        at = 0.62 * min(across.high, up.high / slope)
        drawing.label(across.at(at), up.at(slope * at), fit_label, ink=LINK, weight=600)
    return drawing.svg()


def _scatter_words(
    points: Sequence[Point],
    kind: str,
    system: UnitSystem,
    slope: float | None,
    tolerance: float | None,
) -> str:
    """What the picture shows, for those who can't see it."""
    symbol = units.unit_symbol(kind, system)
    readings = "; ".join(
        f"{point.label or f'point {i}'}: reported {units.show(point.x, kind, system)}, "
        f"measured {units.show(point.y, kind, system)} {symbol}"
        f"{', out of tolerance' if point.is_off else ''}"
        for i, point in enumerate(points, start=1)
    )
    words = [readings or "No readings yet"]
    if slope is not None:
        words.append(f"The fitted line runs at {rounded(slope, 3)} measured to reported")
    if tolerance is not None:
        words.append(f"The band allows {rounded(100 * tolerance, 1)} %")
    return ". ".join(words) + "."


def _frame(drawing: Drawing, across: Axis, up: Axis) -> None:
    """Draw hairlines at round numbers, the axes, and the numbers."""
    for value in up.ticks():
        y = up.at(value)
        drawing.line(across.start, y, across.end, y, ink=HAIR, width=0.7)
        drawing.text(across.start - 7, y + 4, up.text(value), anchor="end")
    base = up.start
    for value in across.ticks():
        x = across.at(value)
        drawing.line(x, base, x, base + 5)
        drawing.text(x, base + 18, across.text(value), anchor="middle")
    drawing.line(across.start, base, across.end, base, width=1.2)
    drawing.line(across.start, up.end, across.start, base, width=1.2)


def _legend(drawing: Drawing, width: float, tolerance: float | None, *, has_fit: bool) -> None:
    entries = [("4 4", INK_2, "equal")]
    if has_fit:
        entries.insert(0, ("", LINK, "fit through zero"))
    x = width - 16.0
    if tolerance is not None:
        words = f"± {rounded(100 * tolerance, 1).removesuffix('.0')} % allowed"
        x -= len(words) * SIZE * CHARACTER
        drawing.text(x, 14, words)
        x -= 22
        drawing.rectangle(x, 5, 16, 10, fill=WASH_OCHRE, stroke=HAIR)
        x -= 16
    for dash, ink, words in reversed(entries):
        x -= len(words) * SIZE * CHARACTER
        drawing.text(x, 14, words)
        x -= 24
        drawing.line(x, 10, x + 18, 10, ink=ink, width=1.6, dash=dash)
        x -= 16


def profile(
    points: Sequence[Point],
    *,
    x_kind: str,
    y_kind: str,
    system: UnitSystem,
    x_label: str,
    y_label: str,
    limit: float | None = None,
    limit_label: str = "",
    from_zero: bool = False,
    title: str,
    key: str = "profile",
    width: float = 640,
    height: float = 240,
) -> str:
    """Draw one value along another (voltage along a run, velocity across a duct).

    Parameters
    ----------
    points
        In the order of the course, in SI.
    limit
        Limit of the y value in SI, drawn in red, or None.
    """
    xs = [units.display_value(p.x, x_kind, system) for p in points]
    ys = [units.display_value(p.y, y_kind, system) for p in points]
    bound = None if limit is None else units.display_value(limit, y_kind, system)
    x_unit, y_unit = units.unit_symbol(x_kind, system), units.unit_symbol(y_kind, system)
    words = "; ".join(
        f"{p.label or f'point {i}'}: {units.show(p.y, y_kind, system, with_unit=True)} at "
        f"{units.show(p.x, x_kind, system, with_unit=True)}{', out of limits' if p.is_off else ''}"
        for i, p in enumerate(points, start=1)
    )
    drawing = Drawing(width, height, title, words or "No points yet.", key)
    left, right, top, bottom = 56.0, width - 16, 26.0, height - 40
    across = axis(xs, left, right, wanted=6)
    up = axis(
        [*ys, *([] if bound is None else [bound])], bottom, top, wanted=4, from_zero=from_zero
    )
    _frame(drawing, across, up)
    if bound is not None:
        drawing.line(left, up.at(bound), right, up.at(bound), ink=REDLINE, width=1.2, dash="6 3")
        drawing.keep_clear(left, up.at(bound), right, up.at(bound))
    places = [(across.at(x), up.at(y)) for x, y in zip(xs, ys, strict=True)]
    drawing.path(places)
    for (x1, y1), (x2, y2) in pairwise(places):
        drawing.keep_clear(x1, y1, x2, y2)
    for (x, y), point in zip(places, points, strict=True):
        drawing.marker(x, y, point)
    drawing.text(left, 14, f"{y_label}, {y_unit}" if y_unit else y_label, weight=600, ink=INK)
    drawing.text(
        right,
        height - 6,
        f"{x_label}, {x_unit}" if x_unit else x_label,
        anchor="end",
        weight=600,
        ink=INK,
    )
    if bound is not None:
        drawing.label(right, up.at(bound), limit_label, ink=REDLINE)
    for (x, y), point in zip(places, points, strict=True):
        drawing.label(x, y, point.label, ink=REDLINE if point.is_off else INK_2)
    return drawing.svg()


def progress_bar(
    parts: Sequence[tuple[str, int]],
    *,
    title: str,
    key: str = "progress",
    width: float = 320,
    height: float = 14,
) -> str:
    """Draw how many of all are done, in hand, held and waiting.

    Parameters
    ----------
    parts
        Pairs of state ("done", "look", "hold", "wait") and count, in the order of drawing.
        Each state has its own hatching besides its ink, so that it reads on grey paper.
    """
    whole = sum(count for _, count in parts)
    names = {"done": "done", "look": "in hand", "hold": "held", "wait": "waiting"}
    words = ", ".join(f"{count} {names[state]}" for state, count in parts) + f", {whole} in all."
    drawing = Drawing(width, height, title, words, key)
    drawing.rectangle(0.5, 0.5, width - 1, height - 1, fill=PAPER, stroke=INK)
    x = 1.0
    for state, count in parts:
        span = (width - 2) * count / whole if whole else 0.0
        if span > 0:
            _bar(drawing, state, x, span, height)
        x += span
    return drawing.svg()


def _bar(drawing: Drawing, state: str, x: float, span: float, height: float) -> None:
    if state == "done":
        drawing.rectangle(x, 1, span, height - 2, fill=PINE)
    elif state == "look":
        drawing.rectangle(x, height / 2, span, height / 2 - 1, fill=OCHRE)
    elif state == "hold":
        drawing.rectangle(x, 1, span, height - 2, fill=WASH_RED)
        for i in range(int(span // 5) + 1):
            start = x + 5 * i
            reach = min(height - 2, x + span - start)
            if reach > 0:
                drawing.line(
                    start, height - 1, start + reach, height - 1 - reach, ink=REDLINE, width=1.4
                )
    if x > 1.5:
        drawing.line(x, 1, x, height - 1)
