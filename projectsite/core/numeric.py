"""Tolerant comparison, rounding for display and the natural sort key."""

from __future__ import annotations

import math
import re
from decimal import ROUND_HALF_UP, Decimal

RELATIVE_TOLERANCE = 1e-9
"""Conversions cost a few units in the last place; 450 cfm must still equal 90 % of 500 cfm."""

_DIGITS = re.compile(r"([0-9]+)")
_KEY_DIGITS = 12


def at_most(value: float, limit: float) -> bool:
    """Tell whether ``value`` is at most ``limit``, ignoring noise of conversion."""
    return value <= limit or math.isclose(value, limit, rel_tol=RELATIVE_TOLERANCE, abs_tol=1e-12)


def at_least(value: float, limit: float) -> bool:
    """Tell whether ``value`` is at least ``limit``, ignoring noise of conversion."""
    return value >= limit or math.isclose(value, limit, rel_tol=RELATIVE_TOLERANCE, abs_tol=1e-12)


def same(a: float | None, b: float | None) -> bool:
    """Tell whether two values are equal but for noise of conversion; unknown equals unknown."""
    if a is None or b is None:
        return a is b
    return math.isclose(a, b, rel_tol=RELATIVE_TOLERANCE, abs_tol=1e-12)


def rounded(value: float, decimals: int) -> str:
    """Round half up on the decimal figures that a person sees, and print them.

    Conversion noise is removed first, so that 449.99999999999994 prints as 450.

    >>> rounded(2.675, 2), rounded(449.99999999999994, 0), rounded(-0.0001, 2)
    ('2.68', '450', '0.00')
    """
    if not math.isfinite(value):
        return "—"
    exact = Decimal(format(value, ".12g"))
    quantum = Decimal(1).scaleb(-decimals)
    text = format(exact.quantize(quantum, rounding=ROUND_HALF_UP), "f")
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def natural_key(text: str) -> str:
    """Give the sort key that puts ``TU-2`` before ``TU-10`` in any database collation.

    Digit runs are padded to 12 places, letters are case-folded.

    >>> sorted(["TU-10", "TU-2", "tu-1"], key=natural_key)
    ['tu-1', 'TU-2', 'TU-10']
    """
    parts = _DIGITS.split(text.strip().casefold())
    # Every second part is a digit run; "²" is a digit to isdigit() but not to a reader.
    return "".join(p.zfill(_KEY_DIGITS) if i % 2 else p for i, p in enumerate(parts))[:200]
