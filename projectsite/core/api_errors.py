"""The one shape in which the API refuses: ``{"code", "message", "fields"}``."""

from __future__ import annotations

from typing import Any

from rest_framework import status
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.response import Response
from rest_framework.views import exception_handler

from projectsite.core.errors import ApplicationError, Conflict, Forbidden, NotFound
from projectsite.core.faults import AWAY, RETRY_AFTER_S, is_database_away

_STATUSES: dict[type[ApplicationError], int] = {
    NotFound: status.HTTP_404_NOT_FOUND,
    Forbidden: status.HTTP_403_FORBIDDEN,
    Conflict: status.HTTP_409_CONFLICT,
}


def _flat(detail: Any, prefix: str = "") -> dict[str, str]:
    """Flatten DRF's nested messages to ``{"points.0.flow": "message"}``."""
    if isinstance(detail, dict):
        found: dict[str, str] = {}
        for key, value in detail.items():
            found.update(_flat(value, f"{prefix}.{key}" if prefix else str(key)))
        return found
    if isinstance(detail, list):
        if all(not isinstance(item, dict | list) for item in detail):
            return {prefix or "non_field_errors": " ".join(str(item) for item in detail)}
        found = {}
        for index, item in enumerate(detail):
            found.update(_flat(item, f"{prefix}.{index}" if prefix else str(index)))
        return found
    return {prefix or "non_field_errors": str(detail)}


def handle(exc: Exception, context: dict[str, Any]) -> Response | None:
    """Translate refusals of the domain and of DRF into the one shape."""
    if isinstance(exc, ApplicationError):
        return Response(
            {"code": exc.code, "message": exc.message, "fields": exc.fields},
            status=_STATUSES.get(type(exc), status.HTTP_400_BAD_REQUEST),
        )
    if is_database_away(exc):
        return Response(
            {"code": "away", "message": AWAY, "fields": {}},
            status=status.HTTP_503_SERVICE_UNAVAILABLE,
            headers={"Retry-After": RETRY_AFTER_S},
        )
    response = exception_handler(exc, context)
    if response is None:
        return None
    if isinstance(exc, ValidationError):
        response.data = {
            "code": "invalid",
            "message": "Some fields need another look.",
            "fields": _flat(exc.detail),
        }
    else:
        code = str(exc.default_code) if isinstance(exc, APIException) else "not-found"
        message = str(getattr(exc, "detail", "")) or "There is nothing here."
        response.data = {"code": code.replace("_", "-"), "message": message, "fields": {}}
    return response
