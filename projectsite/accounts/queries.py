"""What is read of people, projects, links and tokens."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from datetime import datetime
from typing import Any

from django.db.models import Exists, F, OuterRef, Q

from projectsite.accounts.access import Action
from projectsite.accounts.domain.codes import digest_of
from projectsite.accounts.domain.types import (
    Account,
    LinkRow,
    MemberRow,
    OpenLink,
    ProjectRecord,
    ProjectRow,
    ProjectSettings,
    TokenRow,
)
from projectsite.accounts.models import ApiToken, Invitation, Membership, Project, RoleChoice, User
from projectsite.core.errors import NotFound
from projectsite.core.scope import Person, Scope

SETTING_NAMES = tuple(item.name for item in fields(ProjectSettings))


def projects_of(person: Person) -> list[ProjectRow]:
    """Projects that the person is a member of, those in work first."""
    rows = (
        Membership.objects.filter(user_id=person.id)
        .order_by("project__status", "project__name", "project_id")
        .values(
            "role",
            "trade",
            key=F("project__key"),
            number=F("project__number"),
            name=F("project__name"),
            site_address=F("project__site_address"),
            status=F("project__status"),
        )
    )
    return [ProjectRow(**row) for row in rows]


def project_record(scope: Scope) -> ProjectRecord:
    """Give the project with everything that can be set, and its version."""
    row = Project.objects.values("key", "version", "created_at", *SETTING_NAMES).get(
        pk=scope.project.id
    )
    settings = ProjectSettings(**{name: row.pop(name) for name in SETTING_NAMES})
    return ProjectRecord(**row, settings=settings)


def settings_at_version(scope: Scope, version: int) -> dict[str, Any] | None:
    """Give the settings as they stood at an earlier version, from the change log."""
    events = Project.pgh_event_model.objects  # type: ignore[attr-defined]  # made by the tracker
    row: dict[str, Any] | None = (
        events.filter(pgh_obj_id=scope.project.id, version=version)
        .order_by("-pgh_id")
        .values(*SETTING_NAMES)
        .first()
    )
    return row


def members_of(scope: Scope) -> list[MemberRow]:
    """Members of the project by name; for those who manage people."""
    scope.require(Action.MANAGE_PEOPLE)
    rows: Iterable[Any] = (
        Membership.objects.filter(project_id=scope.project.id)
        .annotate(is_elsewhere=Exists(_memberships_out_of_reach(scope.person.id)))
        .order_by("user__full_name", "user_id")
        .values(
            "user_id",
            "role",
            "trade",
            "created_at",
            "is_elsewhere",
            "user__may_create_projects",
            full_name=F("user__full_name"),
            username=F("user__username"),
            is_active=F("user__is_active"),
            last_login=F("user__last_login"),
        )
    )
    return [_member(scope, row) for row in rows]


def _member(scope: Scope, row: dict[str, Any]) -> MemberRow:
    may_create = row.pop("user__may_create_projects")
    is_elsewhere = row.pop("is_elsewhere")
    is_other = row["user_id"] != scope.person.id
    can_get_link = is_other and row["is_active"] and not is_elsewhere and not may_create
    return MemberRow(**row, can_get_link=can_get_link)


def _memberships_out_of_reach(office_user_id: int) -> Any:
    """Memberships of a person in projects whose office is someone else."""
    reachable = Membership.objects.filter(user_id=office_user_id, role=RoleChoice.OFFICE)
    return Membership.objects.filter(user_id=OuterRef("user_id")).exclude(
        project_id__in=reachable.values("project_id")
    )


def is_within_reach(*, office_user_id: int, user_id: int) -> bool:
    """Tell whether someone is office everywhere this person works, and nothing else is at stake.

    Only then may the one let the other choose a new password.
    """
    theirs = Membership.objects.filter(user_id=user_id)
    beyond = theirs.filter(Exists(_memberships_out_of_reach(office_user_id)))
    is_creator = User.objects.filter(pk=user_id, may_create_projects=True)
    return theirs.exists() and not beyond.exists() and not is_creator.exists()


def member_of(scope: Scope, *, user_id: int) -> MemberRow:
    """Give one member; NotFound when the person is not a member of this project."""
    for member in members_of(scope):
        if member.user_id == user_id:
            return member
    raise NotFound("There is no such person in this project.")


def links_of(scope: Scope, *, at: datetime) -> list[LinkRow]:
    """One-time links of the project, the newest first; for those who manage people."""
    scope.require(Action.MANAGE_PEOPLE)
    rows: Iterable[Any] = (
        Invitation.objects.filter(project_id=scope.project.id)
        .order_by("-created_at", "-id")
        .values(
            "id",
            "invited_name",
            "role",
            "trade",
            "password_of_id",
            "created_at",
            "created_by__full_name",
            "expires_at",
            "used_at",
            "used_by__full_name",
            "withdrawn_at",
        )
    )
    return [
        LinkRow(
            id=row["id"],
            invited_name=row["invited_name"],
            role=row["role"],
            trade=row["trade"],
            is_for_password=row["password_of_id"] is not None,
            state=_state(row, at),
            created_at=row["created_at"],
            created_by=row["created_by__full_name"] or "",
            expires_at=row["expires_at"],
            used_at=row["used_at"],
            used_by=row["used_by__full_name"] or "",
            withdrawn_at=row["withdrawn_at"],
        )
        for row in rows
    ]


def _state(row: dict[str, Any], at: datetime) -> str:
    if row["used_at"]:
        return "used"
    if row["withdrawn_at"]:
        return "withdrawn"
    return "expired" if row["expires_at"] <= at else "open"


def open_links(code: str, *, at: datetime) -> Any:
    """Rows of the one-time link with this code, if it still works at this time."""
    return Invitation.objects.filter(
        digest=digest_of(code), used_at=None, withdrawn_at=None, expires_at__gt=at
    )


def open_link(code: str, *, at: datetime) -> OpenLink:
    """Give what the holder of a one-time link may see.

    Raises
    ------
    NotFound
        The link is unknown, used, withdrawn or expired; which of these is not told.
    """
    found = (
        open_links(code, at=at)
        .select_related("project", "password_of", "created_by")
        .filter(Q(password_of=None) | Q(password_of__is_active=True))
        .first()
    )
    if found is None:
        raise NotFound(
            "This link does not work. It may have been used or withdrawn already, or it is "
            "older than 7 days. Ask the project’s office for a new one."
        )
    return OpenLink(
        invited_name=found.invited_name,
        project_key=found.project.key if found.project else "",
        project_name=found.project.name if found.project else "",
        role=found.role,
        trade=found.trade,
        username=found.password_of.username if found.password_of else "",
        invited_by=found.created_by.full_name if found.created_by else "",
        expires_at=found.expires_at,
    )


def tokens_of(person: Person, *, at: datetime) -> list[TokenRow]:
    """The person's API tokens that work, the newest first."""
    rows = (
        ApiToken.objects.filter(user_id=person.id, revoked_at=None)
        .filter(Q(expires_at=None) | Q(expires_at__gt=at))
        .order_by("-created_at", "-id")
        .values("id", "label", "prefix", "created_at", "expires_at", "last_used_at")
    )
    return [TokenRow(**row) for row in rows]


def account_of(person: Person) -> Account:
    """Give the person's own data."""
    row = User.objects.values(
        "id", "username", "full_name", "reading_system", "may_create_projects"
    ).get(pk=person.id)
    return Account(**row)


def token_holder(plain: str, *, at: datetime) -> tuple[User, ApiToken] | None:
    """Find who a token acts for: a token that works, of a person who may sign in.

    The digest is looked up by its unique index; the comparison is of digests, so its timing
    tells nothing of the token.
    """
    token = (
        ApiToken.objects.select_related("user")
        .filter(digest=digest_of(plain), revoked_at=None, user__is_active=True)
        .filter(Q(expires_at=None) | Q(expires_at__gt=at))
        .first()
    )
    return None if token is None else (token.user, token)


def has_people() -> bool:
    """Tell whether anybody can sign in."""
    return User.objects.filter(is_active=True).exists()
