"""Answers to htmx: a part of a page alone, the same part that the whole page includes."""

from __future__ import annotations

from django.http import HttpRequest


def wants_fragment(request: HttpRequest) -> bool:
    """Tell whether htmx asks, which swaps a part of the page."""
    return bool(request.htmx)  # type: ignore[attr-defined]  # set by the middleware


def part_of(request: HttpRequest, template: str, part: str = "panel") -> str:
    """Name the part of a template for htmx, and the whole template for everyone else."""
    return f"{template}#{part}" if wants_fragment(request) else template
