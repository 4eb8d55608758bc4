"""A record that is stored only when its own rules hold, and what it says when they don't."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models

from projectsite.core.errors import InvalidInput


def checked_save(
    record: models.Model,
    *,
    labels: Mapping[str, str] | None = None,
    of_field: Mapping[str, str] | None = None,
    unchecked: Collection[str] = (),
) -> None:
    """Check a record against its fields and constraints and store it.

    Parameters
    ----------
    labels
        What people call a field, said before its message; without one the message stands alone.
    of_field
        Words of a constraint's message and the field that it belongs to: the database tells of a
        tag that is taken for the whole record.
    unchecked
        Fields that the caller has checked.

    Raises
    ------
    InvalidInput
        With the messages by field.
    """
    try:
        record.full_clean(exclude=set(unchecked))
    except ValidationError as error:
        raise refusal(error, labels=labels or {}, of_field=of_field or {}) from error
    record.save()


def refusal(
    error: ValidationError, *, labels: Mapping[str, str], of_field: Mapping[str, str]
) -> InvalidInput:
    """Turn a record's own complaints into one refusal with a message for each field."""
    fields = {name: " ".join(told) for name, told in error.message_dict.items()}
    general = []
    for message in error.message_dict.get(NON_FIELD_ERRORS, ()):
        name = next((name for words, name in of_field.items() if words in message), "")
        if name:
            fields[name] = message
        else:
            general.append(message)
    fields.pop(NON_FIELD_ERRORS, None)
    said = [f"{labels[n]}: {text}" if n in labels else text for n, text in fields.items()]
    return InvalidInput(" ".join([*general, *said]), fields=fields)
