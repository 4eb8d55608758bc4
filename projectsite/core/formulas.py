"""Registry of formulas: the same function serves calculators, API, command and working.

A formula is registered with its inputs and outputs by kind of quantity; everything is SI.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

Mark = Literal["published", "common practice, no source", "from memory", "derived"]
Value = float | str | bool | None | Sequence[float]
"""A number in SI, a word of ``choices``, a yes/no, unknown, or a list of numbers."""


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a formula.

    ``kind`` names a kind of quantity, or is "" for a word out of ``choices``. A list input
    takes several numbers of one kind. ``default`` stands in SI; None with ``required`` False
    means unknown.
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
    """One output of a formula; ``key`` ends in the SI suffix of its kind where it has one."""

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
    """Fill in defaults, check that nothing is missing or unknown, and compute.

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
    values: dict[str, Value] = {}
    for key, item in known.items():
        value = given.get(key, item.default)
        if value is None and item.required:
            raise ValueError(f"{key} is missing")
        if item.choices and value is not None and value not in item.choices:
            raise ValueError(f"{key} is one of {', '.join(item.choices)}, not {value!r}")
        values[key] = value
    return formula.compute(**values)
