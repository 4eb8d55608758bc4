"""People, projects and memberships for tests."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from projectsite.accounts.access import scope_of
from projectsite.accounts.models import ApiToken, Membership, Project, User
from projectsite.core.scope import Scope

PASSWORD = "brown-paper-and-chalk"
"""Password of everyone in the cast."""

ROLES = ("office", "controls", "balancer", "installer", "owner")
AT = datetime(2026, 11, 25, 14, 5, tzinfo=UTC)
"""A moment for operations that take one."""


def make_user(username: str = "person", **overrides: Any) -> User:
    """Store a person who can sign in with ``PASSWORD``."""
    values: dict[str, Any] = {"username": username, "full_name": f"{username.capitalize()} Person"}
    password = overrides.pop("password", PASSWORD)
    user = User(**(values | overrides))
    user.set_password(password)
    user.save()
    return user


def make_project(key: str = "alder", **overrides: Any) -> Project:
    """Store a project in inch-pound units at sea level."""
    values: dict[str, Any] = {
        "key": key,
        "number": "26-041",
        "name": f"{key.capitalize()} Street Library",
        "site_address": "12 Alder Street",
        "display_system": "ip",
        "time_zone": "America/Denver",
    }
    return Project.objects.create(**(values | overrides))


def make_membership(
    user: User, project: Project, role: str = "office", **overrides: Any
) -> Membership:
    """Make a person a member; an installer is of the mechanical trade unless told otherwise."""
    values: dict[str, Any] = {"trade": "mechanical" if role == "installer" else ""}
    return Membership.objects.create(user=user, project=project, role=role, **(values | overrides))


def make_token(user: User, plain: str = "", **overrides: Any) -> str:
    """Store an API token of the person and give the token itself."""
    plain = plain or f"plt_test-token-of-{user.username}-000000000000"
    values: dict[str, Any] = {
        "label": "test",
        "prefix": plain[:12],
        "digest": hashlib.sha256(plain.encode()).hexdigest(),
        "created_at": AT,
    }
    ApiToken.objects.create(user=user, **(values | overrides))
    return plain


@dataclass(frozen=True)
class Cast:
    """One person per role in one project, and a stranger who is the office of another."""

    project: Project
    office: User
    controls: User
    balancer: User
    installer: User
    owner: User
    other_project: Project
    stranger: User

    def person(self, role: str) -> User:
        """Give the person of a role, or the stranger."""
        found: User = getattr(self, role)
        return found

    def scope(self, role: str = "office") -> Scope:
        """Give the scope of the person of this role in the project."""
        return scope_of(self.person(role).pk, self.project.key)

    def stranger_scope(self) -> Scope:
        """Give the scope of the stranger in the other project."""
        return scope_of(self.stranger.pk, self.other_project.key)


def make_cast() -> Cast:
    """Store the fixed cast."""
    project = make_project()
    people = {role: make_user(role) for role in ROLES}
    for role, user in people.items():
        make_membership(user, project, role)
    people["office"].may_create_projects = True
    people["office"].save()
    other = make_project("birch", number="26-077")
    stranger = make_user("stranger")
    make_membership(stranger, other, "office")
    return Cast(project=project, other_project=other, stranger=stranger, **people)
