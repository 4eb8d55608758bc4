"""Registry of formulas: the same function serves calculators, API, command and working.

A formula is registered with its inputs and outputs by kind of quantity; everything is SI.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

Mark = Literal["published", "common practice, no source", "from memory", "derived"]
Value = float | str | bool | None | Sequence[float]
"""A number in SI, a word of ``choices``, a yes/no, unknown, or a list of numbers."""


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a formula.

    ``key`` is a plain word: the unit of the value is that of ``kind``, SI inside. ``kind``
    names a kind of quantity, or is "" for a word out of ``choices``. A list input takes several
    numbers of one kind. ``default`` stands in SI; None with ``required`` False means unknown.
    """

    key: str
    kind: str
    label: str
    required: bool = True
    is_list: bool = False
    choices: tuple[str, ...] = ()
    default: Value = None
    help: str = ""


@dataclass(frozen=True, slots=True)
class Output:
    """One output of a formula: a number of ``kind`` in SI, or a word when ``kind`` is ""."""

    key: str
    kind: str
    label: str
    is_list: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One line of working: the formula in symbols and what is put in.

    ``terms`` pairs a printed name with its SI value and kind, so that any page can show the
    line in the reader's units.
    """

    text: str
    terms: tuple[tuple[str, float | str | None, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Result:
    """What a formula gave: outputs in SI by key, the working, and warnings in plain words."""

    outputs: Mapping[str, Value]
    working: tuple[Step, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Formula:
    """A registered formula.

    ``compute`` takes the inputs by key, in SI, and gives a ``Result``; it raises ValueError
    with a message that names the input when a value is out of range.
    """

    name: str
    title: str
    summary: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    compute: Callable[..., Result]
    reference: str
    mark: Mark
    cautions: tuple[str, ...] = field(default=())


_formulas: dict[str, Formula] = {}


def register(*formulas: Formula) -> None:
    """Add formulas; a second registration under a taken name is refused with ValueError."""
    for formula in formulas:
        if _formulas.get(formula.name, formula) != formula:
            raise ValueError(f"formula {formula.name!r} is registered twice")
        _formulas[formula.name] = formula


def all_formulas() -> list[Formula]:
    """Every registered formula, by name."""
    return [_formulas[name] for name in sorted(_formulas)]


def get(name: str) -> Formula:
    """The formula of this name; KeyError when there is none."""
    return _formulas[name]


def compute(formula: Formula, given: Mapping[str, Value]) -> Result:
    """Fill in defaults, check that nothing is missing or of the wrong shape, and compute.

    Raises
    ------
    ValueError
        An input that is missing, unknown, of the wrong shape, or out of range; the message
        names it.
    """
    known = {item.key: item for item in formula.inputs}
    for key in given:
        if key not in known:
            raise ValueError(f"{formula.name} has no input {key!r}; it takes {', '.join(known)}")
    values = {key: _checked(item, given.get(key)) for key, item in known.items()}
    return formula.compute(**values)


def _checked(item: Input, given: Value) -> Value:
    value = item.default if given is None else given
    if value is None:
        if item.required:
            raise ValueError(f"{item.key} is missing")
        return None
    if item.choices:
        if value not in item.choices:
            raise ValueError(f"{item.key} is one of {', '.join(item.choices)}, not {value!r}")
        return value
    if not item.is_list:
        return _number(item.key, value)
    if isinstance(value, (str, bool, int, float)):
        # Every bad input is a ValueError here: the caller shows its message to a person.
        raise ValueError(f"{item.key} takes a list of numbers")  # noqa: TRY004  # see above
    if not len(value):
        raise ValueError(f"{item.key} has no numbers")
    return [_number(item.key, entry) for entry in value]


def _number(key: str, value: Value) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError(f"{key} takes one number, not {value!r}")  # noqa: TRY004  # as above
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ValueError(f"{key} must be a finite number")
    return number
