"""When a query is narrowed to ids, and when it is faster to read a whole project."""

from __future__ import annotations

from collections.abc import Collection

FEW = 200
"""Ids by which a query is narrowed. Each is a parameter of its own: two thousand of them take
longer to send and to plan than the rows of a large project take to read."""


def few(ids: Collection[int]) -> list[int] | None:
    """Give the ids to narrow a query by, or None when all rows are to be read and left out.

    >>> few([3, 1]), few(range(1000))
    ([3, 1], None)
    """
    return list(ids) if len(ids) <= FEW else None
