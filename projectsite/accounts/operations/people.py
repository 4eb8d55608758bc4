"""People of a project: invite, change, remove."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.accounts.models import Invitation, Membership, Project, RoleChoice
from projectsite.accounts.operations.validation import refuse_invalid, trade_for
from projectsite.accounts.queries import member_of
from projectsite.core.errors import Conflict, Forbidden, NotFound
from projectsite.core.scope import Scope

LINK_DAYS = 7
"""A one-time link works this long."""


@transaction.atomic
def invite(
    scope: Scope, *, invited_name: str, role: str, trade: str, digest: str, at: datetime
) -> int:
    """Store a one-time link to join the project; only the digest of its code is kept."""
    scope.require(Action.MANAGE_PEOPLE)
    return _store_link(
        scope,
        invited_name=invited_name,
        role=role,
        trade=trade_for(role, trade),
        digest=digest,
        at=at,
    )


@transaction.atomic
def issue_password_link(scope: Scope, *, user_id: int, digest: str, at: datetime) -> int:
    """Store a one-time link with which a member chooses a new password.

    Whoever holds the link becomes that person, so the office of a project may issue one only
    for a person who is in no project of another office and may not create projects.

    Raises
    ------
    NotFound
        The person is not a member of this project.
    Forbidden
        The link would reach further than this project's office does.
    """
    scope.require(Action.MANAGE_PEOPLE)
    member = member_of(scope, user_id=user_id)
    if not member.can_get_link:
        raise Forbidden(
            f"You can’t issue a password link for {member.full_name}: it would also open what "
            "lies outside your projects. Someone who is office everywhere this person works can."
        )
    withdraw_password_links(user_id=user_id, at=at)
    return _store_link(scope, invited_name=member.full_name, user_id=user_id, digest=digest, at=at)


def withdraw_password_links(*, user_id: int, at: datetime) -> None:
    """Withdraw the password links of a person that still work, in whatever project."""
    Invitation.objects.filter(password_of_id=user_id, used_at=None, withdrawn_at=None).update(
        withdrawn_at=at
    )


def _store_link(
    scope: Scope,
    *,
    invited_name: str,
    digest: str,
    at: datetime,
    role: str = "",
    trade: str = "",
    user_id: int | None = None,
) -> int:
    link = Invitation(
        project_id=scope.project.id,
        invited_name=invited_name.strip(),
        role=role,
        trade=trade,
        password_of_id=user_id,
        digest=digest,
        created_by_id=scope.person.id,
        created_at=at,
        expires_at=at + timedelta(days=LINK_DAYS),
    )
    refuse_invalid(link, unchecked={"project", "created_by", "used_by", "used_at", "withdrawn_at"})
    link.save()
    return link.pk


@transaction.atomic
def withdraw_link(scope: Scope, *, link_id: int, at: datetime) -> None:
    """Make a one-time link that was not used yet stop working.

    Raises
    ------
    NotFound
        No such link in this project.
    Conflict
        It was used already.
    """
    scope.require(Action.MANAGE_PEOPLE)
    link = (
        Invitation.objects.select_for_update()
        .filter(pk=link_id, project_id=scope.project.id)
        .first()
    )
    if link is None:
        raise NotFound("There is no such link in this project.")
    if link.used_at is not None:
        raise Conflict("This link was used already. Remove the person instead if that was wrong.")
    if link.withdrawn_at is None:
        link.withdrawn_at = at
        link.save(update_fields=["withdrawn_at"])


@transaction.atomic
def change_member(scope: Scope, *, user_id: int, role: str, trade: str) -> None:
    """Change a member's role and trade.

    Raises
    ------
    NotFound
        The person is not a member.
    Conflict
        It would leave the project without an office.
    """
    scope.require(Action.MANAGE_PEOPLE)
    membership = _locked(scope, user_id)
    if role != RoleChoice.OFFICE:
        _refuse_last_office(membership)
    membership.role, membership.trade = role, trade_for(role, trade)
    refuse_invalid(membership, unchecked={"user", "project"})
    membership.save(update_fields=["role", "trade"])


@transaction.atomic
def remove_member(scope: Scope, *, user_id: int, at: datetime) -> None:
    """Take a person out of the project; what the person recorded stays.

    Password links of the person stop working too.

    Raises
    ------
    NotFound
        The person is not a member.
    Conflict
        It would leave the project without an office.
    """
    scope.require(Action.MANAGE_PEOPLE)
    membership = _locked(scope, user_id)
    _refuse_last_office(membership)
    withdraw_password_links(user_id=user_id, at=at)
    membership.delete()


def _locked(scope: Scope, user_id: int) -> Membership:
    # All changes of people in a project wait for one row: two office people who remove each
    # other at the same moment must not both succeed.
    Project.objects.select_for_update(no_key=True).get(pk=scope.project.id)
    found = Membership.objects.filter(project_id=scope.project.id, user_id=user_id).first()
    if found is None:
        raise NotFound("There is no such person in this project.")
    return found


def _refuse_last_office(membership: Membership) -> None:
    if membership.role != RoleChoice.OFFICE:
        return
    others = Membership.objects.filter(
        project_id=membership.project_id, role=RoleChoice.OFFICE, user__is_active=True
    ).exclude(pk=membership.pk)
    if not others.exists():
        raise Conflict(
            "A project needs at least one person in its office. Give someone else that role first."
        )
