"""How a program or a signed-in browser proves to the API who it acts for."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from rest_framework import authentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from projectsite.accounts.models import ApiToken, User
from projectsite.accounts.operations.own import note_use
from projectsite.accounts.queries import token_holder

MAX_TOKEN_LENGTH = 100


class ApiTokenAuthentication(authentication.BaseAuthentication):
    """``Authorization: Bearer <token>``. It stands first, so that a refusal is a 401."""

    keyword = "Bearer"

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        """Find whom the token acts for; None when the request carries none."""
        words = authentication.get_authorization_header(request).split()
        if not words or words[0].lower() != self.keyword.lower().encode():
            return None
        if len(words) != 2 or len(words[1]) > MAX_TOKEN_LENGTH:
            raise AuthenticationFailed("Send the token as “Authorization: Bearer <token>”.")
        at = timezone.now()
        found = token_holder(words[1].decode("latin-1"), at=at)
        if found is None:
            raise AuthenticationFailed("This token is unknown, revoked or expired.")
        note_use(found[1], at=at)
        return found

    def authenticate_header(self, request: Request) -> str:
        """Challenge that goes with a 401."""
        del request
        return f'{self.keyword} realm="api"'


class SessionAuthentication(authentication.SessionAuthentication):
    """A browser that is signed in, with the CSRF check on what changes something."""


class ApiTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # registers itself
    """Describes the token in the API's description."""

    target_class = ApiTokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """A bearer token of one's own account page."""
        del auto_schema
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token that a person makes on the own account page.",
        }


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # registers itself
    """Describes the session cookie in the API's description."""

    target_class = SessionAuthentication
    name = "session"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """The cookie of a signed-in browser."""
        del auto_schema
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
