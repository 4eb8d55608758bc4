"""The four state marks and the revision triangle: a drawing and a word, never colour alone.

The same strings stand on pages and in documents, so colours are written out (a document's
renderer gives page styles no say inside a picture) and agree with ``tokens.css`` by a test.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Literal

from django.utils.safestring import SafeString, mark_safe

from projectsite.core.findings import Severity

State = Literal["wait", "look", "done", "hold"]

INK: Mapping[State, str] = {
    "wait": "#55524b",
    "look": "#7a5600",
    "done": "#1f6140",
    "hold": "#a8321a",
}
_SHAPES: Mapping[State, str] = {
    "wait": '<circle cx="7" cy="7" r="5.3" fill="none" stroke="{ink}" stroke-width="1.4"/>',
    "look": '<circle cx="7" cy="7" r="5.3" fill="none" stroke="{ink}" stroke-width="1.4"/>'
    '<path d="M1.7 7a5.3 5.3 0 0 0 10.6 0z" fill="{ink}"/>',
    "done": '<circle cx="7" cy="7" r="6" fill="{ink}"/>',
    "hold": '<path d="M7 .6 13.4 7 7 13.4.6 7z" fill="{ink}"/>',
}
_DRAWN: Mapping[State, str] = {
    state: '<svg class="m" viewBox="0 0 14 14" width="13" height="13" aria-hidden="true">'
    + shape.format(ink=INK[state])
    + "</svg>"
    for state, shape in _SHAPES.items()
}
_OPEN: Mapping[State, str] = {
    state: f'<span class="mark {state}">{drawn}' for state, drawn in _DRAWN.items()
}
SEVERITY_STATE: Mapping[Severity, State] = {
    Severity.LOOK: "look",
    Severity.DISAGREES: "hold",
    Severity.HOLDS: "hold",
}
SEVERITY_WORD: Mapping[Severity, str] = {
    Severity.LOOK: "worth a look",
    Severity.DISAGREES: "disagrees",
    Severity.HOLDS: "holds turnover",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """A state and the word that stands beside it."""

    state: State
    word: str

    def __html__(self) -> str:
        """Mark and word, escaped."""
        return mark(self.state, self.word)

    def __str__(self) -> str:
        # A template asks for str() and keeps it unescaped when it is a SafeString.
        return mark(self.state, self.word)


def drawing(state: State) -> SafeString:
    """Draw the mark alone; a word must stand beside it."""
    return mark_safe(_DRAWN[state])  # noqa: S308  # a constant


def mark(state: State, word: str) -> SafeString:
    """Draw the mark with its word."""
    return mark_safe(f"{_OPEN[state]}{escape(word)}</span>")  # noqa: S308  # the word is escaped


def severity_mark(severity: Severity) -> Mark:
    """Mark and word of a finding's severity."""
    return Mark(SEVERITY_STATE[severity], SEVERITY_WORD[severity])


def delta(number: int | str, text: str = "") -> SafeString:
    """Draw the numbered triangle of a revision, with what it changed beside it."""
    shown = escape(str(number))
    beside = escape(text) if text else f'<span class="sr">revision {shown}</span>'
    return mark_safe(  # noqa: S308  # number and text are escaped
        '<span class="delta"><svg viewBox="0 0 24 21" width="24" height="21" aria-hidden="true">'
        f'<path d="M12 1.2 23 20H1z" fill="none" stroke="{INK["hold"]}" stroke-width="1.4"/>'
        f'<text x="12" y="16.6" text-anchor="middle" font-size="10.5" font-weight="600" '
        f'fill="{INK["hold"]}" font-family="Archivo Narrow, Arial, sans-serif">{shown}</text>'
        f"</svg>{beside}</span>"
    )
