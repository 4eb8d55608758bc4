"""Middleware of the kernel: refusals as pages, and compression that is cheap."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from django.http import HttpRequest, HttpResponse
from django.middleware.gzip import GZipMiddleware
from django.shortcuts import render

from projectsite.core.errors import ApplicationError, Conflict, Forbidden, NotFound


class CompressionMiddleware(GZipMiddleware):
    """Gzip level 1 in effect: the last third of size costs four times the time.

    Breach-style attacks need a secret in the page beside reflected text; Django masks its
    CSRF token per response and this middleware adds random bytes to the header.
    """

    max_random_bytes: ClassVar[int] = 100


class ApplicationErrorMiddleware:
    """Turn a refusal that a page did not handle into a page with the right status."""

    statuses: ClassVar[dict[type[ApplicationError], int]] = {
        NotFound: 404,
        Forbidden: 403,
        Conflict: 409,
    }

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Serve the request."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Render the refusal; other exceptions are bugs and go on."""
        if not isinstance(exception, ApplicationError):
            return None
        status = self.statuses.get(type(exception), 400)
        return render(
            request, "refused.html", {"error": exception, "status": status}, status=status
        )
