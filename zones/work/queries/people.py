"""Who can be asked to do the steps of the project."""

from __future__ import annotations

from projectsite.accounts.domain.types import MemberRow
from projectsite.accounts.queries import members_of
from projectsite.core.scope import Scope

_TRADES = frozenset({"office", "controls", "balancer"})
"""Roles that are a trade of their own; an installer's is said with the membership."""


def trade_of(member: MemberRow) -> str:
    """Trade whose steps a member does; "" for the owner's people, who do none."""
    return member.trade or (member.role if member.role in _TRADES else "")


def people_who_work(scope: Scope) -> list[MemberRow]:
    """Active members who do steps, by name; for the office."""
    return [m for m in members_of(scope) if m.is_active and trade_of(m)]
