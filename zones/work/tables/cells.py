"""How a step of a unit is said: mark, word and sentence, the same on every page of the work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from projectsite.core.scope import Scope
from projectsite.ui.marks import Mark
from projectsite.ui.marks import State as Shape
from zones.work.domain import words
from zones.work.domain.board import STATE_KEYS, State
from zones.work.domain.types import StepFacts
from zones.work.queries.cells import CellFacts

TRADES: Mapping[str, str] = dict(words.TRADES)
WORDS: Mapping[State, str] = {state: dict(words.STATES)[key] for state, key in STATE_KEYS.items()}
SHAPES: Mapping[State, Shape] = {
    State.WAITING: "wait",
    State.READY: "wait",
    State.IN_HAND: "look",
    State.HELD: "hold",
    State.DONE: "done",
    State.NOT_APPLICABLE: "wait",
}
LOOK_AGAIN = "look again"
"""Word of a step whose proof was withdrawn."""


def standing(facts: CellFacts) -> Mark:
    """Mark and word of a step of a unit."""
    if facts.is_withdrawn and facts.state is not State.HELD:
        return Mark("look", LOOK_AGAIN)
    return Mark(SHAPES[facts.state], WORDS[facts.state])


def state_mark(state: State) -> Mark:
    """Mark and word of a state."""
    return Mark(SHAPES[state], WORDS[state])


def of_trades(steps: Iterable[StepFacts]) -> str:
    """Steps with the trades that owe them: "Electrical: Transformer set"."""
    return "; ".join(f"{TRADES[step.trade]}: {step.name}" for step in steps)


def when(moment: datetime, zone: ZoneInfo) -> str:
    """Day and time in the project's time zone."""
    return moment.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def zone_of(scope: Scope) -> ZoneInfo:
    """Time zone of the project."""
    return ZoneInfo(scope.project.time_zone)


def told(facts: CellFacts, zone: ZoneInfo) -> list[str]:
    """All that is known of a step of a unit besides its state, in short sentences."""
    said = []
    if facts.proof is not None and (facts.is_proven or facts.is_withdrawn):
        at = f", {when(facts.proof.at, zone)}" if facts.proof.at else ""
        lead = "By the record" if facts.is_proven else "The record no longer proves it"
        said.append(f"{lead}: {facts.proof.text.rstrip('.')}{at}.")
    if facts.mark is not None and not facts.is_proven:
        note = f": {facts.mark.note.rstrip('.')}" if facts.mark.note else ""
        word = dict(words.MARKS)[facts.mark.state].capitalize()
        said.append(f"{word} by {facts.mark.by}, {when(facts.mark.at, zone)}{note}.")
    if facts.waits_for:
        lead = "Open before it" if facts.is_early else "Waits for"
        said.append(f"{lead}: {of_trades(facts.waits_for)}.")
    if facts.group:
        said.append(f"Counts for all of {facts.group}.")
    if facts.assignment is not None:
        said.append(promise(facts))
    return said


def promise(facts: CellFacts) -> str:
    """Who is to do it and by when."""
    if facts.assignment is None:
        return ""
    who = f"Assigned to {facts.assignment.person}" if facts.assignment.person else "Planned"
    due = facts.assignment.due_date
    return f"{who} for {due.isoformat()}." if due else f"{who}."
