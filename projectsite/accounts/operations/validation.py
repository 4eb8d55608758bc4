"""The database's own rules, told to people before they break one."""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db.models import Model

from projectsite.accounts.models import TradeChoice, User
from projectsite.core.errors import InvalidInput

LOOK_AGAIN = "Some fields need another look."


def refuse_invalid(record: Model, *, unchecked: Iterable[str] = ()) -> None:
    """Check a record against its fields and constraints.

    Raises
    ------
    InvalidInput
        With the messages by field name.
    """
    try:
        record.full_clean(exclude=set(unchecked))
    except ValidationError as error:
        messages = {name: " ".join(texts) for name, texts in error.message_dict.items()}
        general = messages.pop("__all__", "")
        raise InvalidInput(general or LOOK_AGAIN, fields=messages) from error


def refuse_weak_password(password: str, user: User, *, field: str) -> None:
    """Refuse a password that is short, common, or like the person's name."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise InvalidInput(LOOK_AGAIN, fields={field: " ".join(error.messages)}) from error


def trade_for(role: str, trade: str) -> str:
    """Give the trade that goes with a role: an installer must have one, nobody else has."""
    if role != "installer":
        return ""
    if trade not in TradeChoice.values:
        raise InvalidInput(LOOK_AGAIN, fields={"trade": "Say the installer’s trade."})
    return trade
