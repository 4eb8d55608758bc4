"""What the holder of a one-time link can do with it, once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction

from projectsite.accounts.models import Invitation, Membership, User
from projectsite.accounts.operations.people import LINK_DAYS
from projectsite.accounts.operations.validation import refuse_invalid, refuse_weak_password
from projectsite.accounts.queries import has_people, is_within_reach, open_link, open_links
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.scope import Person

OUT_OF_REACH = "This link does not work any more. Ask your project’s office for a new one."
PURPOSE = "This link is not for that."


@dataclass(frozen=True, slots=True)
class Joined:
    """Who used the link, and the project it led to ("" when none)."""

    user_id: int
    project_key: str


@transaction.atomic
def join_as_new_person(
    *, code: str, username: str, full_name: str, password: str, at: datetime
) -> Joined:
    """Use a link to become a person of the site and, if it names a project, its member.

    Raises
    ------
    NotFound
        The link does not work (any more).
    InvalidInput
        The sign-in name is taken or the password too weak; the link stays usable.
    """
    link = _taken(code, at=at)
    if link.password_of_id is not None:
        raise InvalidInput(PURPOSE)
    if link.project_id is None and has_people():
        raise NotFound("This site has people already. Ask one of them for a link.")
    user = User(
        username=username.strip(),
        full_name=full_name.strip(),
        may_create_projects=link.project_id is None,
    )
    refuse_weak_password(password, user, field="password")
    user.set_password(password)
    refuse_invalid(user)
    try:
        with transaction.atomic():
            user.save()
    except IntegrityError as error:  # someone took the name since it was checked
        message = "This sign-in name is taken."
        raise InvalidInput(message, fields={"username": message}) from error
    return _use(link, user_id=user.pk, at=at)


@transaction.atomic
def join_as(person: Person, *, code: str, at: datetime) -> Joined:
    """Use a link to join its project as the person who is signed in.

    Raises
    ------
    NotFound
        The link does not work (any more).
    Conflict
        The person is a member already; the link stays usable.
    """
    link = _taken(code, at=at)
    if link.password_of_id is not None or link.project_id is None:
        raise InvalidInput(PURPOSE)
    return _use(link, user_id=person.id, at=at)


@transaction.atomic
def choose_password(*, code: str, password: str, at: datetime) -> Joined:
    """Use a password link: the new password holds, and older sessions end.

    Raises
    ------
    NotFound
        The link does not work (any more), or would reach further than its issuer may.
    InvalidInput
        The password is too weak; the link stays usable.
    """
    link = _taken(code, at=at)
    if link.password_of_id is None:
        raise InvalidInput(PURPOSE)
    user = User.objects.select_for_update().get(pk=link.password_of_id)
    # The person may have joined another office's project since, or the issuer left this one.
    if not is_within_reach(office_user_id=link.created_by_id or 0, user_id=user.pk):
        raise NotFound(OUT_OF_REACH)
    refuse_weak_password(password, user, field="password")
    user.set_password(password)
    user.save(update_fields=["password"])
    return _mark_used(link, user_id=user.pk, at=at)


def _taken(code: str, *, at: datetime) -> Invitation:
    """Lock the link's row, so that a second user of it waits and then finds it used."""
    open_link(code, at=at)
    found: Invitation | None = open_links(code, at=at).select_for_update(of=("self",)).first()
    if found is None:
        open_link(code, at=at)
        raise NotFound("This link does not work any more.")
    return found


def _use(link: Invitation, *, user_id: int, at: datetime) -> Joined:
    if link.project_id is not None:
        if Membership.objects.filter(user_id=user_id, project_id=link.project_id).exists():
            raise Conflict("You are a member of this project already.")
        membership = Membership(
            user_id=user_id, project_id=link.project_id, role=link.role, trade=link.trade
        )
        refuse_invalid(membership, unchecked={"user", "project"})
        membership.save()
    return _mark_used(link, user_id=user_id, at=at)


def _mark_used(link: Invitation, *, user_id: int, at: datetime) -> Joined:
    link.used_at, link.used_by_id = at, user_id
    link.save(update_fields=["used_at", "used_by"])
    return Joined(user_id, link.project.key if link.project else "")


@transaction.atomic
def issue_first_link(*, digest: str, at: datetime) -> None:
    """Store the link for the first person of a site; an earlier one stops working.

    Raises
    ------
    Conflict
        Somebody can sign in already.
    """
    if has_people():
        raise Conflict("This site has people already; they can invite others.")
    Invitation.objects.filter(project=None, used_at=None, withdrawn_at=None).update(withdrawn_at=at)
    Invitation.objects.create(
        invited_name="first person",
        digest=digest,
        created_at=at,
        expires_at=at + timedelta(days=LINK_DAYS),
    )
