"""Errors whose message is fit for the person who caused them."""

from __future__ import annotations

from collections.abc import Mapping


class ApplicationError(Exception):
    """An anticipated refusal: the message says what, where and what to do.

    Parameters
    ----------
    message
        One or two plain sentences.
    fields
        Messages by field name, for errors that belong beside a form field.
    """

    code = "refused"

    def __init__(self, message: str, *, fields: Mapping[str, str] | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.fields: dict[str, str] = dict(fields or {})


class InvalidInput(ApplicationError):
    """What was typed or sent cannot be taken as it is."""

    code = "invalid"


class Forbidden(ApplicationError):
    """The person is a member of the project but may not do this (HTTP 403)."""

    code = "forbidden"


class NotFound(ApplicationError):
    """The thing does not exist, or the person may not know of it (HTTP 404)."""

    code = "not-found"


class Conflict(ApplicationError):
    """The record changed, or is in a state that does not allow the change (HTTP 409)."""

    code = "conflict"
