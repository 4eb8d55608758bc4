"""How the API's description names the ways to sign in."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema


class ApiTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # registers itself
    """Describes the token in the API's description."""

    target_class = "projectsite.accounts.authentication.ApiTokenAuthentication"
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

    target_class = "projectsite.accounts.authentication.SessionAuthentication"
    name = "session"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """The cookie of a signed-in browser."""
        del auto_schema
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
