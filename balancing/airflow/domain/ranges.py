"""Numbers or arrays in, the same out: range checks that name the argument and its value."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
Numbers = TypeVar("Numbers", float, Array)
"""A number or an array; a formula gives back what it was given."""


def power(base: Numbers, exponent: float) -> Numbers:
    """Raise to a power; the base is at least 0 [any unit]. Typed, unlike the operator."""
    result: Numbers = base**exponent
    return result


def root(value: Numbers) -> Numbers:
    """Square root of what is at least 0 [any unit]."""
    return power(value, 0.5)


def require(
    name: str,
    value: float | Array,
    unit: str,
    *,
    low: float = -math.inf,
    high: float = math.inf,
    above: bool = False,
) -> None:
    """Refuse what is not finite or lies outside a range.

    Parameters
    ----------
    name
        Name of the argument, for the message.
    value
        Value or values to check [``unit``].
    unit
        Unit, for the message; "" for a plain number.
    low, high
        Ends of the allowed range [``unit``].
    above
        Leave out the lower end itself.

    Raises
    ------
    ValueError
        A value is not finite or outside the range; the message names argument and value.
    """
    # The usual case first: thousands of tests are evaluated for one page.
    if type(value) is float and low <= value <= high and -math.inf < value < math.inf:
        if value > low or not above:
            return
        good, wrong = False, value
    elif isinstance(value, (int, float)):
        good = math.isfinite(value) and (value > low if above else value >= low) and value <= high
        wrong = float(value)
    else:
        bad = ~(np.isfinite(value) & ((value > low) if above else (value >= low)) & (value <= high))
        good = not bool(np.any(bad))
        wrong = 0.0 if good else float(np.asarray(value)[bad].flat[0])
    if good:
        return
    suffix = f" {unit}" if unit else ""
    if not math.isfinite(wrong):
        raise ValueError(f"{name} must be a finite number, got {wrong}")
    bounds = [f"above {low:g}{suffix}" if above else f"at least {low:g}{suffix}"] * (
        low > -math.inf
    ) + [f"at most {high:g}{suffix}"] * (high < math.inf)
    raise ValueError(f"{name} must be {' and '.join(bounds)}, got {wrong:g}{suffix}")


def require_same_length(**lists: Sequence[float] | Array) -> int:
    """Refuse lists of different length; give the length they share.

    Raises
    ------
    ValueError
        The lengths differ; the message names the arguments.
    """
    lengths = {name: len(values) for name, values in lists.items()}
    if len(set(lengths.values())) > 1:
        told = " and ".join(f"{count} of {name}" for name, count in lengths.items())
        raise ValueError(f"the lists must be equally long, got {told}")
    return next(iter(lengths.values()), 0)
