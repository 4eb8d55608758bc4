"""Rules of the work: steps out of turn, left lying, held, and proofs that no longer hold."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from projectsite.core.findings import Finding, Rule, Severity, Subject, sentence

PRACTICE = "common practice, no source"
UNTOUCHED_DAYS = 14.0
"""Days after which a ready step that nobody has begun is worth a look: two weekly meetings
(common practice, no source)."""
FEWEST_LETTERS = 3
"""A reason with fewer letters says nothing (common practice, no source)."""

RULES: tuple[Rule, ...] = (
    Rule("work.done-before-predecessor", "Done before its turn", Severity.DISAGREES, PRACTICE),
    Rule("work.ready-untouched", "Ready for long, not begun", Severity.LOOK, PRACTICE),
    Rule("work.held", "Step held", Severity.HOLDS, PRACTICE),
    Rule("work.held-without-reason", "Held, and the reason says nothing", Severity.LOOK, PRACTICE),
    Rule("work.proof-withdrawn", "Proof no longer holds", Severity.DISAGREES, PRACTICE),
)
_SEVERITIES = {rule.code: rule.severity for rule in RULES}

Day = Callable[[datetime], str]
"""Prints the day of a time in the project's time zone: 2026-11-25."""


@dataclass(frozen=True, slots=True)
class StepStanding:
    """What rules see of a step of a unit that is worth a look.

    Attributes
    ----------
    of
        Tag of the air handler, trunk or transformer that the step is kept at; "" for the unit.
    state
        Key of ``board.STATE_KEYS``.
    waits_for
        Names of the steps that have to come before and are open.
    ready_since
        Latest time of what it waited for, and of what was said of it; None when unknown.
    is_early
        Done although something that has to come before is open.
    note, by, said_at
        What was said last, by whom and when.
    withdrawn
        Why the record no longer proves the step; "" when it does, or never did.
    """

    unit_id: int
    tag: str
    step: str
    state: str
    of: str = ""
    waits_for: tuple[str, ...] = ()
    ready_since: datetime | None = None
    is_early: bool = False
    note: str = ""
    by: str = ""
    said_at: datetime | None = None
    withdrawn: str = ""

    @property
    def name(self) -> str:
        """The step, with what it is kept at."""
        return f"“{self.step}” of {self.of}" if self.of else f"“{self.step}”"


def check(
    standings: Iterable[StepStanding],
    day: Day,
    *,
    now: datetime,
    untouched_days: float = UNTOUCHED_DAYS,
) -> Iterator[Finding]:
    """Yield everything that the work finds about these steps.

    Parameters
    ----------
    standings
        Steps of units; those that are all right yield nothing.
    day
        Prints the day of a time.
    now
        The time now.
    untouched_days
        Days after which a ready step that nobody has begun is worth a look [d, >= 0].
    """
    for standing in standings:
        yield from _early(standing)
        yield from _untouched(standing, day, now, untouched_days)
        yield from _held(standing, day)
        yield from _withdrawn(standing)


def _finding(
    standing: StepStanding, name: str, message: str, action: str, **values: float | None
) -> Finding:
    code = f"work.{name}"
    subject = Subject("unit", standing.unit_id, standing.tag, standing.unit_id)
    return Finding(
        code, _SEVERITIES[code], subject, sentence(message), sentence(action), PRACTICE, values
    )


def _early(standing: StepStanding) -> Iterator[Finding]:
    if standing.is_early:
        open_steps = ", ".join(f"“{name}”" for name in standing.waits_for)
        yield _finding(
            standing,
            "done-before-predecessor",
            f"{standing.name} is done, though this has to come before and is open: {open_steps}",
            "Mark what was done, or take the mark back",
        )


def _untouched(
    standing: StepStanding, day: Day, now: datetime, untouched_days: float
) -> Iterator[Finding]:
    since = standing.ready_since
    if standing.state != "ready" or since is None:
        return
    if now - since > timedelta(days=untouched_days):
        days = (now - since) / timedelta(days=1)
        yield _finding(
            standing,
            "ready-untouched",
            f"{standing.name} has been ready for {int(days)} days, since {day(since)}, and nobody "
            "has begun it",
            "Say who does it and by when",
            waited_d=days,
        )


def _held(standing: StepStanding, day: Day) -> Iterator[Finding]:
    if standing.state != "held":
        return
    when = f" on {day(standing.said_at)}" if standing.said_at else ""
    by = f" by {standing.by}" if standing.by else ""
    yield _finding(
        standing,
        "held",
        f"{standing.name} is held{by}{when}: {standing.note}",
        "Settle what holds it, and take the mark back",
    )
    if sum(letter.isalpha() for letter in standing.note) < FEWEST_LETTERS:
        yield _finding(
            standing,
            "held-without-reason",
            f"{standing.name} is held{by}, and the reason given, “{standing.note}”, says nothing",
            "Ask what holds it, and say so",
        )


def _withdrawn(standing: StepStanding) -> Iterator[Finding]:
    if standing.withdrawn:
        yield _finding(
            standing,
            "proof-withdrawn",
            f"{standing.name} was proven and no longer is: {standing.withdrawn}",
            "Do it again, or look at what changed",
        )
