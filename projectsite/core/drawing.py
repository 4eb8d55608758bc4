"""Shapes, axes and labels for the pictures of ``plots``: SVG text with everything escaped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from projectsite.core.numeric import rounded

INK, INK_2, HAIR, PAPER = "#1c1b19", "#55524b", "#cfcabd", "#fbfaf6"
LINK, REDLINE, OCHRE, PINE = "#1d4f7c", "#a8321a", "#7a5600", "#1f6140"
WASH_OCHRE, WASH_RED = "#f6eed8", "#f9e9e4"
FACE = "Archivo Narrow, Liberation Sans Narrow, Arial Narrow, Arial, sans-serif"
SIZE = 12
CHARACTER = 0.46
"""Mean width of a character of the narrow face, in parts of its size."""


@dataclass(frozen=True, slots=True)
class Point:
    """One point: where, what stands beside it, and whether it is out of its limits.

    ``x`` and ``y`` are in the SI unit of their axis. An ``is_open`` point is drawn as a
    circle that is not filled (as found), the others filled (as left).
    """

    x: float
    y: float
    label: str = ""
    is_open: bool = False
    is_off: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """A taken place in the picture, in its pixels."""

    x: float
    y: float
    width: float
    height: float

    def overlap(self, other: Box) -> float:
        """Area that both cover."""
        wide = min(self.x + self.width, other.x + other.width) - max(self.x, other.x)
        high = min(self.y + self.height, other.y + other.height) - max(self.y, other.y)
        return max(wide, 0.0) * max(high, 0.0)


@dataclass(frozen=True, slots=True)
class Axis:
    """A linear axis: values in reader's units onto pixels."""

    low: float
    high: float
    start: float
    end: float
    step: float

    def at(self, value: float) -> float:
        """Pixel of a value."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self) -> list[float]:
        """Round numbers along the axis."""
        count = math.floor((self.high - self.low) / self.step + 1e-9)
        return [self.low + i * self.step for i in range(count + 1)]

    def text(self, value: float) -> str:
        """Print a tick with as many decimals as its step needs."""
        return rounded(value, max(0, -math.floor(math.log10(self.step) + 1e-9)))


def round_step(span: float, wanted: int) -> float:
    """Give the step of 1, 2, 2.5 or 5 times a power of ten that makes about ``wanted`` intervals.

    >>> round_step(780, 5), round_step(0.9, 4)
    (200.0, 0.25)
    """
    if not (span > 0 and math.isfinite(span)):
        return 1.0
    rough = span / wanted
    power = 10.0 ** math.floor(math.log10(rough))
    best = min((1.0, 2.0, 2.5, 5.0, 10.0), key=lambda m: abs(math.log(m * power / rough)))
    return best * power


def axis(
    values: Sequence[float], start: float, end: float, *, wanted: int = 5, from_zero: bool = True
) -> Axis:
    """Lay an axis over values with round numbers along it, and room above the last value."""
    finite = [value for value in values if math.isfinite(value)] or [0.0, 1.0]
    low, high = min(finite), max(finite)
    if from_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    if high - low <= abs(high) * 1e-9:
        low, high = low - (0.0 if from_zero else abs(low) * 0.1), high + (abs(high) * 0.1 or 1.0)
    step = round_step(high - low, wanted)
    first, last = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    # A point on the very edge would be cut and its label squeezed: leave a little room above.
    return Axis(first, max(last, high + 0.06 * (high - low)), start, end, step)


class Drawing:
    """Collects shapes and text, and finds free places for labels."""

    def __init__(self, width: float, height: float, title: str, description: str, key: str) -> None:
        self.width, self.height = width, height
        self._head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 {_n(width)} '
            f'{_n(height)}" width="{_n(width)}" height="{_n(height)}" role="img" '
            f'aria-labelledby="{escape(key)}-t {escape(key)}-d"><title id="{escape(key)}-t">'
            f'{escape(title)}</title><desc id="{escape(key)}-d">{escape(description)}</desc>'
            f'<g font-family="{FACE}" font-size="{SIZE}">'
        )
        self._parts: list[str] = []
        self._taken: list[Box] = []

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        *,
        ink: str = INK,
        width: float = 1,
        dash: str = "",
    ) -> None:
        """Draw a straight line."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" stroke="{ink}" '
            f'stroke-width="{_n(width)}"{dashes}/>'
        )

    def area(self, corners: Sequence[tuple[float, float]], fill: str) -> None:
        """Fill a polygon."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in corners)
        self._parts.append(f'<polygon points="{path}" fill="{fill}"/>')

    def path(
        self, corners: Sequence[tuple[float, float]], *, ink: str = INK, width: float = 1.6
    ) -> None:
        """Draw an open line through points."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in corners)
        self._parts.append(
            f'<polyline points="{path}" fill="none" stroke="{ink}" stroke-width="{_n(width)}"/>'
        )

    def rectangle(
        self, x: float, y: float, width: float, height: float, *, fill: str, stroke: str = "none"
    ) -> None:
        """Draw a rectangle."""
        self._parts.append(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}" '
            f'fill="{fill}" stroke="{stroke}"/>'
        )

    def marker(self, x: float, y: float, point: Point) -> None:
        """Draw a point: open or full circle, a diamond in red when it is off."""
        if point.is_off:
            fill = PAPER if point.is_open else REDLINE
            self._parts.append(
                f'<path d="M{_n(x)} {_n(y - 6)} {_n(x + 6)} {_n(y)} {_n(x)} {_n(y + 6)} '
                f'{_n(x - 6)} {_n(y)}z" fill="{fill}" stroke="{REDLINE}" stroke-width="1.4"/>'
            )
        else:
            fill = PAPER if point.is_open else INK
            self._parts.append(
                f'<circle cx="{_n(x)}" cy="{_n(y)}" r="4.5" fill="{fill}" stroke="{INK}" '
                'stroke-width="1.4"/>'
            )
        self._taken.append(Box(x - 6, y - 6, 12, 12))

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        anchor: str = "start",
        ink: str = INK_2,
        weight: int = 400,
    ) -> None:
        """Write words at a place; the place counts as taken."""
        if not words:
            return
        heavy = f' font-weight="{weight}"' if weight != 400 else ""
        self._parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" text-anchor="{anchor}" fill="{ink}"{heavy}>'
            f"{escape(words)}</text>"
        )
        self._taken.append(text_box(x, y, words, anchor))

    def keep_clear(self, x1: float, y1: float, x2: float, y2: float) -> None:
        """Count a line's course as taken, so that labels stand beside it."""
        steps = max(int(math.hypot(x2 - x1, y2 - y1) // 8), 1)
        for i in range(steps + 1):
            x, y = x1 + (x2 - x1) * i / steps, y1 + (y2 - y1) * i / steps
            self._taken.append(Box(x - 2, y - 2, 4, 4))

    def label(self, x: float, y: float, words: str, *, ink: str = INK_2, weight: int = 400) -> None:
        """Write words beside a point, where they cover least of what is already there."""
        if not words:
            return
        best: tuple[float, float, float, str] | None = None
        for rank, (dx, dy, anchor) in enumerate(_AROUND):
            box = text_box(x + dx, y + dy, words, anchor)
            outside = max(0.0, 2 - box.x) + max(0.0, box.x + box.width - self.width + 2)
            outside += max(0.0, 2 - box.y) + max(0.0, box.y + box.height - self.height + 2)
            cost = sum(box.overlap(other) for other in self._taken) + 1000 * outside + rank * 0.5
            if best is None or cost < best[0]:
                best = (cost, x + dx, y + dy, anchor)
        assert best is not None
        self.text(best[1], best[2], words, anchor=best[3], ink=ink, weight=weight)

    def svg(self) -> str:
        """Give the picture."""
        return f"{self._head}{''.join(self._parts)}</g></svg>"


_AROUND = (
    (9.0, 16.0, "start"), (-9.0, -8.0, "end"), (9.0, -8.0, "start"), (-9.0, 16.0, "end"),
    (11.0, 4.0, "start"), (-11.0, 4.0, "end"), (0.0, 20.0, "middle"), (0.0, -12.0, "middle"),
    (14.0, 30.0, "start"), (-14.0, -22.0, "end"), (14.0, 44.0, "start"), (-14.0, -36.0, "end"),
)  # fmt: skip


def text_box(x: float, y: float, words: str, anchor: str) -> Box:
    """Place that words take when they are written at (x, y), in pixels."""
    width = len(words) * SIZE * CHARACTER
    left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
    return Box(left, y - SIZE, width, SIZE * 1.3)


def _n(value: float) -> str:
    """Print a coordinate: one decimal is a tenth of a pixel."""
    text = f"{value:.1f}"
    return text.removesuffix(".0")
