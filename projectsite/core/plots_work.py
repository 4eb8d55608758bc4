"""Pictures of the work over time: SVG made here, the same on the page and in documents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from projectsite.core.drawing import HAIR, INK, INK_2, PAPER, PINE, Drawing, axis

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
