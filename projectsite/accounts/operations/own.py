"""A person's own account: name, units for reading, password, API tokens."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from projectsite.accounts.domain.codes import Code
from projectsite.accounts.models import ApiToken, User
from projectsite.accounts.operations.validation import (
    LOOK_AGAIN,
    refuse_invalid,
    refuse_weak_password,
)
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.scope import Person

MAX_TOKEN_DAYS = 3650
USE_NOTED_EVERY = timedelta(minutes=1)
"""The time of last use is written at most this often: a program may call every second."""


@transaction.atomic
def change_account(person: Person, *, full_name: str, reading_system: str) -> None:
    """Change the person's name and the units for reading ("" reads each project as kept)."""
    user = User.objects.select_for_update().get(pk=person.id)
    user.full_name, user.reading_system = full_name.strip(), reading_system
    refuse_invalid(user, unchecked={"username", "password", "last_login"})
    user.save(update_fields=["full_name", "reading_system"])


@transaction.atomic
def change_password(person: Person, *, old_password: str, new_password: str) -> None:
    """Change the password; every other session of the person ends.

    Raises
    ------
    InvalidInput
        The old password is wrong or the new one too weak.
    """
    user = User.objects.select_for_update().get(pk=person.id)
    if not user.check_password(old_password):
        raise InvalidInput(LOOK_AGAIN, fields={"old_password": "This is not your password."})
    refuse_weak_password(new_password, user, field="new_password")
    user.set_password(new_password)
    user.save(update_fields=["password"])


@transaction.atomic
def create_token(
    person: Person,
    *,
    label: str,
    code: Code,
    days: int | None,
    at: datetime,
    made_with: int | None = None,
) -> int:
    """Store an API token of the person; only its digest is kept.

    Parameters
    ----------
    days
        How long it works [days, 1 to 3650], or None for no end.
    made_with
        Id of the token that asks for it; the new one does not outlive that.
    """
    if days is not None and not 1 <= days <= MAX_TOKEN_DAYS:
        raise InvalidInput(LOOK_AGAIN, fields={"days": f"Use 1 to {MAX_TOKEN_DAYS} days."})
    ends = [at + timedelta(days=days)] if days is not None else []
    if made_with is not None:
        asking = ApiToken.objects.select_for_update().get(pk=made_with, user_id=person.id)
        ends += [asking.expires_at] if asking.expires_at else []
    token = ApiToken(
        user_id=person.id,
        label=label.strip(),
        prefix=code.prefix,
        digest=code.digest,
        created_at=at,
        expires_at=min(ends, default=None),
    )
    refuse_invalid(token, unchecked={"user", "expires_at", "last_used_at", "revoked_at"})
    token.save()
    return token.pk


@transaction.atomic
def revoke_token(person: Person, *, token_id: int, at: datetime) -> None:
    """Make a token stop working; NotFound when the person has no such token."""
    changed = ApiToken.objects.filter(pk=token_id, user_id=person.id, revoked_at=None).update(
        revoked_at=at
    )
    if not changed:
        raise NotFound("You have no such token, or it was revoked already.")


def note_use(token: ApiToken, *, at: datetime) -> None:
    """Note that a token was used, at most once a minute."""
    if token.last_used_at is not None and at - token.last_used_at < USE_NOTED_EVERY:
        return
    ApiToken.objects.filter(
        Q(last_used_at=None) | Q(last_used_at__lte=at - USE_NOTED_EVERY), pk=token.pk
    ).update(last_used_at=at)
