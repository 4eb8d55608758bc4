"""What a marking did, in words."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib.messages import constants

from zones.work.domain import words
from zones.work.operations.marks import MarkOutcome, Skipped


def outcome_words(outcome: MarkOutcome, mark: str, *, most: int = 8) -> list[tuple[int, str]]:
    """Level and sentence of each thing that a marking has to tell.

    Parameters
    ----------
    most
        Most reasons told one by one; the others are counted [>= 1].
    """
    said = dict(words.MARKS).get(mark, mark)
    told: list[tuple[int, str]] = []
    if outcome.changed:
        what = "taken back" if mark == "open" else f"marked {said}"
        told.append((constants.SUCCESS, f"{_steps(outcome.changed)} {what}."))
    if outcome.unchanged:
        what = "nothing was said" if mark == "open" else f"it was {said} already"
        told.append((constants.INFO, f"{_steps(outcome.unchanged)} unchanged: {what}."))
    if outcome.skipped:
        lead = f"{_steps(len(outcome.skipped))} left as before. "
        told.append((constants.WARNING, lead + _reasons(outcome.skipped, most)))
    if outcome.early:
        told.append((constants.WARNING, _reasons(outcome.early, most)))
    return told or [(constants.INFO, "Nothing changed.")]


def _steps(number: int) -> str:
    return f"{number} step" if number == 1 else f"{number} steps"


def _reasons(skipped: Sequence[Skipped], most: int) -> str:
    shown = " ".join(one.text for one in skipped[:most])
    rest = len(skipped) - most
    return f"{shown} And {rest} more." if rest > 0 else shown
