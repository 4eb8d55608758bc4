"""A floor plan with marks on it, as SVG text: the same on a page and in a document.

Presentation attributes only, like ``plots``. The four shapes are those of the state marks;
each has its word beside it, and what has no state is a small dot.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from projectsite.core.drawing import (
    CHARACTER,
    FACE,
    INK,
    INK_2,
    LINK,
    OCHRE,
    PAPER,
    PINE,
    REDLINE,
    SIZE,
)

SHAPES: Mapping[str, str] = {
    "wait": f'<circle r="5.3" fill="{PAPER}" stroke="{INK_2}" stroke-width="1.4"/>',
    "look": f'<circle r="5.3" fill="{PAPER}" stroke="{OCHRE}" stroke-width="1.4"/>'
    f'<path d="M-5.3 0a5.3 5.3 0 0 0 10.6 0z" fill="{OCHRE}"/>',
    "done": f'<circle r="6" fill="{PINE}"/>',
    "hold": f'<path d="M0-6.4 6.4 0 0 6.4-6.4 0z" fill="{REDLINE}"/>',
    "": f'<circle r="2.2" fill="{INK_2}"/>',
}
"""Shape of each state around its point."""
INKS: Mapping[str, str] = {
    "wait": INK_2,
    "look": OCHRE,
    "done": PINE,
    "hold": REDLINE,
    "": INK_2,
}
_TARGET = 22
"""Half the side of the place that a finger has to hit."""
_WIDE_PX = 1000.0
"""Width at which a mark on a plan is as large as one in a list."""


@dataclass(frozen=True, slots=True)
class PlanMark:
    """One mark on a plan.

    Attributes
    ----------
    x_px, y_px
        On the picture, from its upper left corner; None draws it out of sight at the corner,
        for a page that can put it somewhere.
    label, word
        Tag, and how it stands.
    state
        "wait", "look", "done", "hold", or "" where there is nothing to say.
    href
        Page that the mark opens; "" on paper.
    data
        Attributes ``data-…`` of the mark, for the page.
    """

    x_px: float | None
    y_px: float | None
    label: str
    state: str
    word: str
    href: str = ""
    data: Mapping[str, str | int] | None = None


def plan_drawing(
    marks: Sequence[PlanMark],
    *,
    width_px: float,
    height_px: float,
    image: str,
    title: str,
    path_px: Sequence[tuple[float, float]] = (),
    key: str = "plan",
    data: Mapping[str, str | int | float] | None = None,
) -> str:
    """Draw marks on the picture of a plan.

    Parameters
    ----------
    marks
        What stands on the plan.
    width_px, height_px
        Size of the picture [px, > 0].
    image
        Address of the picture, or ``data:`` with the picture itself.
    path_px
        Points of a walk to draw as a line [px].
    key
        Start of the ids in the picture; unique on its page.
    data
        Attributes ``data-…`` of the whole picture, for the page.
    """
    scale = width_px / _WIDE_PX
    has_links = any(mark.href for mark in marks)
    name = escape(key)
    # What holds links is no picture to a screen reader, or it would not offer them.
    role = "group" if has_links else "img"
    described = "" if has_links else f'<desc id="{name}-d">{escape(_described(marks))}</desc>'
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="floor-plan" id="{name}" '
        f'viewBox="0 0 {_n(width_px)} {_n(height_px)}" role="{role}" '
        f'aria-labelledby="{name}-t{"" if has_links else f" {name}-d"}"{_data(data)}>'
        f'<title id="{name}-t">{escape(title)}</title>'
    )
    picture = (
        f'<image href="{escape(image)}" x="0" y="0" width="{_n(width_px)}" '
        f'height="{_n(height_px)}" preserveAspectRatio="none"/>'
    )
    drawn = "".join(_mark(mark, scale) for mark in marks)
    return (
        f"{head}{described}{picture}{_walk(path_px, scale)}"
        f'<g font-family="{FACE}" font-size="{SIZE}" data-marks="">{drawn}</g></svg>'
    )


def _described(marks: Sequence[PlanMark]) -> str:
    shown = [f"{m.label}: {m.word}" if m.word else m.label for m in marks if m.x_px is not None]
    return "; ".join(shown) + "." if shown else "No units on it yet."


def _walk(path_px: Sequence[tuple[float, float]], scale: float) -> str:
    if len(path_px) < 2:
        return ""
    points = " ".join(f"{_n(x)},{_n(y)}" for x, y in path_px)
    x, y = path_px[0]
    pen = f'fill="none" stroke="{LINK}" stroke-width="{_n(2 * scale)}"'
    dashes = f'stroke-dasharray="{_n(6 * scale)} {_n(3 * scale)}"'
    return (
        f'<g data-walk=""><polyline points="{points}" {pen} {dashes} stroke-linejoin="round"/>'
        f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(11 * scale)}" {pen}/></g>'
    )


def _mark(mark: PlanMark, scale: float) -> str:
    is_out = mark.x_px is None or mark.y_px is None
    x, y = (0.0, 0.0) if mark.x_px is None or mark.y_px is None else (mark.x_px, mark.y_px)
    place = f' transform="translate({_n(x)} {_n(y)}) scale({scale:.3f})"'
    hidden = ' display="none"' if is_out else ""
    attributes = f"{place}{hidden}{_data(mark.data)}"
    body = (
        _label(mark.label, 9, -1, INK, 600)
        + _label(mark.word, 9, 11, INKS[mark.state], 400)
        + SHAPES[mark.state]
    )
    if not mark.href:
        return f"<g{attributes}>{body}</g>"
    name = f"{mark.label}, {mark.word}" if mark.word else mark.label
    target = (
        f'<rect x="{-_TARGET}" y="{-_TARGET}" width="{2 * _TARGET}" height="{2 * _TARGET}" '
        'fill="none" pointer-events="all"/>'
    )
    return (
        f'<a href="{escape(mark.href)}" aria-label="{escape(name)}"{attributes}>{target}{body}</a>'
    )


def _label(words: str, x: float, y: float, ink: str, weight: int) -> str:
    """Write words on a strip of paper, so that they stand out from the plan's own lines."""
    if not words:
        return ""
    width = len(words) * SIZE * CHARACTER * (1.08 if weight > 400 else 1.0) + 4
    return (
        f'<rect x="{_n(x - 2)}" y="{_n(y - 9.5)}" width="{_n(width)}" height="12" fill="{PAPER}" '
        f'fill-opacity="0.88"/><text x="{_n(x)}" y="{_n(y)}" fill="{ink}" '
        f'font-weight="{weight}" aria-hidden="true">{escape(words)}</text>'
    )


def _data(data: Mapping[str, str | int | float] | None) -> str:
    return "".join(f' data-{name}="{escape(str(value))}"' for name, value in (data or {}).items())


def _n(value: float) -> str:
    """Print a coordinate: a tenth of a pixel is enough."""
    return f"{value:.1f}".removesuffix(".0")
