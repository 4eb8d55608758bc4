"""What a floor plan can show of its units: a step, findings, punch items or progress."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from projectsite.core.findings import Severity
from zones.work.domain.board import State


@dataclass(frozen=True, slots=True)
class Shown:
    """A mark ("wait", "look", "done", "hold", or "" for none) and the word beside it."""

    state: str
    word: str


_STEP = {
    State.NOT_APPLICABLE: Shown("", "not applicable"),
    State.WAITING: Shown("wait", "waits"),
    State.READY: Shown("wait", "ready"),
    State.IN_HAND: Shown("look", "in hand"),
    State.HELD: Shown("hold", "held"),
    State.DONE: Shown("done", "done"),
}
_SEVERITY = {
    Severity.LOOK: Shown("look", "worth a look"),
    Severity.DISAGREES: Shown("hold", "disagrees"),
    Severity.HOLDS: Shown("hold", "holds turnover"),
}


def of_step(state: State) -> Shown:
    """How a step of the unit stands."""
    return _STEP[state]


def of_findings(severities: Iterable[Severity]) -> Shown:
    """The gravest finding of the unit."""
    gravest = max(severities, default=None)
    return Shown("done", "no findings") if gravest is None else _SEVERITY[gravest]


def of_punch(items: Sequence[tuple[str, str]]) -> Shown:
    """Punch items of the unit that are not verified, as pairs of severity and state.

    >>> of_punch([("note", "answered"), ("holds", "open")]), of_punch([])
    (Shown(state='hold', word='holds turnover'), Shown(state='done', word='nothing owed'))
    """
    if not items:
        return Shown("done", "nothing owed")
    if any(severity == "holds" for severity, _ in items):
        return Shown("hold", "holds turnover")
    if all(state == "answered" for _, state in items):
        return Shown("wait", "answered")
    return Shown("look", "open items")


def of_progress(done: int, applicable: int) -> Shown:
    """How many of the steps that apply to the unit are done [counts, >= 0].

    >>> of_progress(0, 12).state, of_progress(5, 12), of_progress(12, 12).state
    ('wait', Shown(state='look', word='5 of 12'), 'done')
    """
    if not applicable:
        return Shown("", "no steps")
    state = "wait" if not done else "done" if done >= applicable else "look"
    return Shown(state, f"{done} of {applicable}")


def share_word(shown: Shown) -> str:
    """Word of the legend: shares of steps are told apart by begun and finished only."""
    if " of " not in shown.word:
        return shown.word
    return {"wait": "not begun", "look": "begun", "done": "all steps done"}[shown.state]
