"""Words and numbers of a document's title block."""

from __future__ import annotations

PREFIX = {
    "unit-balance": "AB",
    "balance-report": "AR",
    "point-list": "PL",
    "progress-report": "PR",
    "punch-list": "PU",
    "checkout-sheets": "CO",
    "floor-plan": "FP",
    "label-sheet": "LB",
}
"""Letters of a document's number by its kind."""


def number_text(kind: str, number: int | None) -> str:
    """Print a document's number as ``AB-0007``; "" for a draft, which has none.

    >>> number_text("unit-balance", 7), number_text("point-list", None)
    ('AB-0007', '')
    """
    return "" if number is None else f"{PREFIX[kind]}-{number:04d}"
