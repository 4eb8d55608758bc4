"""What the address of an API list asks for: words, numbers, an order. Anything else is refused."""

from __future__ import annotations

from collections.abc import Sequence

from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from projectsite.core.errors import InvalidInput


def wrong(name: str, message: str) -> InvalidInput:
    """Give the refusal of one parameter."""
    return InvalidInput(message, fields={name: message})


def number_asked(request: Request, name: str) -> int | None:
    """Whole number in the address, or None; anything else is refused."""
    given = request.query_params.get(name, "")
    if not given:
        return None
    if not (given.isascii() and given.isdecimal() and len(given) < 19):
        raise wrong(name, "Send a whole number.")
    return int(given)


def choice_asked(request: Request, name: str, choices: Sequence[str], default: str = "") -> str:
    """Word of ``choices`` in the address, or ``default`` when it is not asked for."""
    given = request.query_params.get(name, "")
    if given and given not in choices:
        raise wrong(name, f"One of: {', '.join(choices)}.")
    return given or default


def orders(sorts: Sequence[str]) -> tuple[str, ...]:
    """Both orders of each column, ``-`` in front for downwards."""
    return tuple(order for key in sorts for order in (key, f"-{key}"))


def sorted_by(request: Request, sorts: Sequence[str], default: str) -> str:
    """Order that the address asks for, ``-`` in front for downwards."""
    asked = request.query_params.get("sort", default)
    if asked.removeprefix("-") not in sorts:
        raise wrong("sort", f"Sort by one of: {', '.join(sorts)}.")
    return asked


def sort_parameter(sorts: Sequence[str]) -> OpenApiParameter:
    """Description of the order of a list."""
    return OpenApiParameter(
        "sort", str, description="Order; - for downwards.", enum=list(orders(sorts))
    )
