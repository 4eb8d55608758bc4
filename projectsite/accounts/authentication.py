"""How a program or a signed-in browser proves to the API who it acts for."""

from __future__ import annotations

from django.utils import timezone
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
