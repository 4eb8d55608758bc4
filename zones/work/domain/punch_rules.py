"""What punch items say of their units."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

from projectsite.core.findings import Finding, Rule, Severity, Subject, sentence
from zones.work.domain.punch import PunchSnapshot
from zones.work.domain.words import TRADES

_PRACTICE = "common practice, no source"
_TRADES = dict(TRADES)
RULES = (
    Rule("work.punch-holds", "Punch item holds turnover", Severity.HOLDS, _PRACTICE),
    Rule("work.punch-overdue", "Punch item overdue", Severity.LOOK, _PRACTICE),
)


def check(items: Iterable[PunchSnapshot], *, today: date) -> Iterator[Finding]:
    """Items that hold turnover, and items that are late.

    Parameters
    ----------
    today
        Date in the project's time zone; an item is late on the day after it was due.
    """
    for item in items:
        if item.state == "verified":
            continue
        subject = Subject("punch-item", item.id, item.subject, item.unit_id)
        owes = _TRADES[item.trade]
        if item.severity == "holds":
            what = "waits to be verified" if item.state == "answered" else f"is owed by {owes}"
            yield Finding(
                "work.punch-holds",
                Severity.HOLDS,
                subject,
                sentence(f"Punch item {item.number} {what}: {item.text}"),
                "Have it answered and verify it."
                if item.state == "open"
                else "Look at it on site and verify it, or reopen it.",
                _PRACTICE,
            )
        if item.due_date is not None and item.state == "open" and item.due_date < today:
            yield Finding(
                "work.punch-overdue",
                Severity.LOOK,
                subject,
                f"Punch item {item.number}, owed by {owes}, was due on {item.due_date}.",
                "Ask for an answer, or give it another date.",
                _PRACTICE,
            )
