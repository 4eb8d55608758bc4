"""What is answered when something breaks that nobody handled."""

from __future__ import annotations

import sys

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.views.decorators.csrf import requires_csrf_token

RETRY_AFTER_S = "2"
AWAY = "The database is starting again. Nothing was lost; try again in a moment."


def is_database_away(error: BaseException | None) -> bool:
    """Tell whether the error says that the database can't be reached just now."""
    return isinstance(error, OperationalError | InterfaceError)


@requires_csrf_token
def fault(request: HttpRequest) -> HttpResponse:
    """Answer 503 while the database is away, else 500; JSON below ``/api/``.

    A client that gets 503 may send the same again: nothing of its request was kept.
    """
    away = is_database_away(sys.exc_info()[1])
    status = 503 if away else 500
    response: HttpResponse
    if request.path.startswith("/api/"):
        code = "away" if away else "fault"
        message = AWAY if away else "Something went wrong on our side; it was recorded."
        response = JsonResponse({"code": code, "message": message, "fields": {}}, status=status)
    else:
        response = HttpResponse(render_to_string(f"{status}.html"), status=status)
    if away:
        response["Retry-After"] = RETRY_AFTER_S
    return response
