"""Whose readings they can be."""

from __future__ import annotations

from projectsite.accounts.queries import members_of
from projectsite.core.scope import Scope

_ROLES = ("balancer", "office")
"""Roles that may enter readings, those who usually take them first."""


def technicians(scope: Scope) -> list[tuple[int, str]]:
    """People of the project who may enter readings, balancers first; for the office."""
    members = [member for member in members_of(scope) if member.role in _ROLES and member.is_active]
    members.sort(key=lambda member: (_ROLES.index(member.role), member.full_name))
    return [(member.user_id, member.full_name) for member in members]
