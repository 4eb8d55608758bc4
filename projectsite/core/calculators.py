"""The edge of every field calculator: typed text to SI, results to the reader's units.

Page, API and command share it, so that one formula is described, read and shown in one way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from projectsite.core import formulas, units
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.formulas import Formula, Input, Result, Step, Value
from projectsite.core.quantities import KINDS
from projectsite.core.scope import UnitSystem

MAX_LIST_LENGTH = 1000
MAX_LIST_TEXT = 20_000


def find(name: str) -> Formula:
    """The formula of this name.

    Raises
    ------
    NotFound
        There is none; the message lists the names.
    """
    try:
        return formulas.get(name)
    except KeyError:
        known = ", ".join(formula.name for formula in formulas.all_formulas())
        raise NotFound(f"There is no calculator “{name}”. Known: {known}.") from None


def read(formula: Formula, given: Mapping[str, object], system: UnitSystem) -> dict[str, Value]:
    """Read typed inputs into SI.

    Parameters
    ----------
    formula
        The calculator.
    given
        By key: text with or without a unit; a number, or a list, is taken as SI. Empty text and
        None leave an input out.
    system
        Unit system that a bare number in text is taken in.

    Raises
    ------
    InvalidInput
        Inputs that are unknown, missing or unreadable; ``fields`` has a message for each.
    """
    known = {item.key: item for item in formula.inputs}
    problems: dict[str, str] = {}
    values: dict[str, Value] = {}
    for key, typed in given.items():
        if key not in known:
            problems[key] = f"There is no such input; there are {', '.join(known)}."
        elif not _is_empty(typed):
            try:
                values[key] = _read_one(known[key], typed, system)
            except InvalidInput as error:
                problems[key] = error.message
    for key, item in known.items():
        if item.required and item.default is None and key not in values and key not in problems:
            problems[key] = f"Missing: {item.label}."
    if problems:
        raise InvalidInput(
            " ".join(f"{key}: {problem}" for key, problem in problems.items()), fields=problems
        )
    return values


def _is_empty(typed: object) -> bool:
    return typed is None or (isinstance(typed, str) and not typed.strip())


def _read_one(item: Input, typed: object, system: UnitSystem) -> Value:
    if item.choices:
        word = str(typed).strip()
        if word not in item.choices:
            raise InvalidInput(f"“{word[:40]}” is not one of {', '.join(item.choices)}.")
        return word
    if not item.is_list:
        return _quantity(item, typed, system)
    if isinstance(typed, str):
        if len(typed) > MAX_LIST_TEXT:
            raise InvalidInput("The list is too long.")
        entries: Sequence[object] = units.split_list(typed)
    elif isinstance(typed, Sequence):
        entries = typed
    else:
        entries = [typed]
    if not entries:
        raise InvalidInput("The list is empty.")
    if len(entries) > MAX_LIST_LENGTH:
        raise InvalidInput(f"At most {MAX_LIST_LENGTH} numbers are taken.")
    read_entries = []
    for position, entry in enumerate(entries, start=1):
        try:
            read_entries.append(_quantity(item, entry, system))
        except InvalidInput as error:
            raise InvalidInput(f"Number {position}: {error.message}") from error
    return read_entries


def _quantity(item: Input, typed: object, system: UnitSystem) -> float:
    if isinstance(typed, str):
        default = units.default_unit(item.kind, system)
        return units.parse(typed, item.kind, default_unit=default).value
    if isinstance(typed, bool) or not isinstance(typed, (int, float)):
        raise InvalidInput("Give a number, or text with its unit.")
    try:
        value = float(typed)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise InvalidInput("Give a finite number.")
    return value


def compute(
    formula: Formula, given: Mapping[str, object], system: UnitSystem
) -> tuple[dict[str, Value], Result]:
    """Read typed inputs and compute; gives inputs in SI, with those left out, and the result.

    Raises
    ------
    InvalidInput
        An input that can't be read, or that the formula refuses; the message names it.
    """
    values = read(formula, given, system)
    try:
        result = formulas.compute(formula, values)
    except ValueError as error:
        raise InvalidInput(_sentence(str(error))) from error
    except (OverflowError, ZeroDivisionError) as error:
        raise InvalidInput("The numbers are too large or too small to compute with.") from error
    defaults = {item.key: item.default for item in formula.inputs if item.default is not None}
    return defaults | values, result


def _sentence(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def calculate(name: str, given: Mapping[str, object], system: UnitSystem) -> dict[str, Any]:
    """Compute and show: what the API answers and the command prints as JSON.

    Raises
    ------
    NotFound
        There is no formula of this name.
    InvalidInput
        An input that can't be read or is refused.
    """
    formula = find(name)
    values, result = compute(formula, given, system)
    return shown(formula, values, result, system)


def shown(
    formula: Formula, values: Mapping[str, Value], result: Result, system: UnitSystem
) -> dict[str, Any]:
    """Show inputs, outputs and working in the reader's units, as plain data."""
    inputs = {item.key: item.kind for item in formula.inputs}
    outputs = {item.key: item.kind for item in formula.outputs}
    return {
        "name": formula.name,
        "inputs": {
            key: _pair(values[key], kind, system) for key, kind in inputs.items() if key in values
        },
        "outputs": {
            key: _pair(result.outputs.get(key), kind, system) for key, kind in outputs.items()
        },
        "working": [step_text(step, system) for step in result.working],
        "reference": f"{formula.reference} ({formula.mark})",
        "warnings": list(result.warnings),
    }


def _pair(value: Value, kind: str, system: UnitSystem) -> dict[str, Any]:
    if not kind:
        return {"value": value, "unit": ""}
    unit = units.unit_symbol(kind, system)
    if isinstance(value, (str, bool)) or value is None:
        return {"value": value, "unit": unit}
    if isinstance(value, (int, float)):
        return {"value": units.display_values([value], kind, system)[0], "unit": unit}
    return {"value": units.display_values(list(value), kind, system), "unit": unit}


def step_text(step: Step, system: UnitSystem) -> str:
    """Print one line of working: the formula, then what was put in and came out."""
    terms = [
        f"{name} = {_term(value, kind, system)}"
        for name, value, kind in step.terms
        if value is not None
    ]
    return f"{step.text}: {'; '.join(terms)}" if terms else step.text


def _term(value: float | str | None, kind: str, system: UnitSystem) -> str:
    if isinstance(value, str) or value is None:
        return str(value or "—")
    # Working shows the figures that were computed with, not the rounding of a table.
    if not kind:
        return f"{value:.6g}"
    number = f"{units.display_value(value, kind, system):.6g}"
    return f"{number} {units.unit_symbol(kind, system)}".rstrip()


def describe(formula: Formula) -> dict[str, Any]:
    """Describe a formula with its inputs, outputs and units, as plain data."""
    return {
        "name": formula.name,
        "title": formula.title,
        "summary": formula.summary,
        "inputs": [
            {
                "key": item.key,
                "label": item.label,
                "kind": item.kind,
                **_units(item.kind),
                "required": item.required and item.default is None,
                "list": item.is_list,
                "choices": list(item.choices),
                "default": item.default,
                "help": item.help,
            }
            for item in formula.inputs
        ],
        "outputs": [
            {
                "key": item.key,
                "label": item.label,
                "kind": item.kind,
                **_units(item.kind),
                "list": item.is_list,
            }
            for item in formula.outputs
        ],
        "reference": formula.reference,
        "mark": formula.mark,
        "cautions": list(formula.cautions),
    }


def _units(kind: str) -> dict[str, str]:
    if not kind:
        return {"unit_si_base": "", "unit_ip": "", "unit_si": ""}
    return {
        "unit_si_base": units.symbol(KINDS[kind].si_unit, kind),
        "unit_ip": units.unit_symbol(kind, "ip"),
        "unit_si": units.unit_symbol(kind, "si"),
    }
