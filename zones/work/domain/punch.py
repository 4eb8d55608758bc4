"""Who may do what with a punch item, and what one says to its reader.

Reference: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

Act = Literal["change", "answer", "verify", "reopen"]


@dataclass(frozen=True, slots=True)
class Side:
    """Whom a person stands for in a project: the role, and the trade whose work it does."""

    role: str
    trade: str = ""

    @property
    def is_office(self) -> bool:
        """Tell whether the person stands for the office."""
        return self.role == "office"


@dataclass(frozen=True, slots=True)
class ItemFacts:
    """What decides who may do what: state, who owes it, whose side opened it."""

    state: str
    trade: str
    opener: Side


def refusal(side: Side, item: ItemFacts, act: Act) -> str:
    """Say why this side may not do this with an item now; "" when it may.

    The trade that owes an item answers it, or the office on its behalf. Only the side that
    opened an item, or the office, changes, verifies or reopens it, and nobody but the office
    verifies what its own trade owes.
    """
    if act == "answer":
        return _no_answer(side, item)
    if side != item.opener and not side.is_office:
        words = {"change": "changes", "verify": "verifies", "reopen": "reopens"}
        return f"Only the side that opened the item, or the office, {words[act]} it."
    if act == "verify":
        return _no_verifying(side, item)
    if act == "reopen":
        return "" if item.state != "open" else "The item is open already."
    return "" if item.state == "open" else "Only an open item is changed; reopen it first."


def _no_answer(side: Side, item: ItemFacts) -> str:
    if item.state != "open":
        return "Only an open item is answered."
    if side.is_office or (side.trade and side.trade == item.trade):
        return ""
    return "The trade that owes the item answers it, or the office on its behalf."


def _no_verifying(side: Side, item: ItemFacts) -> str:
    if item.state == "verified":
        return "The item is verified already."
    if not side.is_office and side.trade and side.trade == item.trade:
        return "Nobody verifies what the own trade owes; the office does."
    return ""


@dataclass(frozen=True, slots=True)
class PunchSnapshot:
    """A punch item as rules see it."""

    id: int
    number: int
    subject: str
    unit_id: int | None
    trade: str
    text: str
    severity: str
    state: str
    opened_at: datetime
    due_date: date | None = None
