"""Calculators: a registered formula used alone, with what people type and what people read.

Page, API and command share this edge; the formulas themselves see SI only. A key is the
formula's own without its SI suffix: ``flow_m3_s`` is typed and answered as ``flow``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from projectsite.core import formulas, units
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.formulas import Formula, Input, Output, Step, Value
from projectsite.core.quantities import KINDS
from projectsite.core.scope import UnitSystem

SIGNIFICANT = 6
"""Figures in which a calculator prints; JSON gives the full value."""

MAX_LIST = 500
MAX_LIST_TEXT = 20_000

Given = str | float | bool | Sequence[str | float] | None
"""What a caller may give for an input: text as typed, SI numbers, or a list of either."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A value as read: number, word or list, with its unit ("" when it has none)."""

    key: str
    label: str
    value: float | str | bool | list[float] | None
    unit: str

    @property
    def text(self) -> str:
        """The value in print, to six significant figures, with its unit."""
        if isinstance(self.value, list):
            shown = ", ".join(_figures(item) for item in self.value)
        elif isinstance(self.value, bool):
            shown = "yes" if self.value else "no"
        elif isinstance(self.value, float | int):
            shown = _figures(float(self.value))
        else:
            shown = self.value or "—"
        return f"{shown} {self.unit}".strip() if self.value is not None else shown


@dataclass(frozen=True, slots=True)
class Calculation:
    """A computed formula as read in one unit system."""

    formula: Formula
    inputs: tuple[Amount, ...]
    outputs: tuple[Amount, ...]
    working: tuple[str, ...]
    warnings: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Give the answer in the shape of the API and of ``calculate --json``."""
        return {
            "name": self.formula.name,
            "inputs": {a.key: {"value": a.value, "unit": a.unit} for a in self.inputs},
            "outputs": {a.key: {"value": a.value, "unit": a.unit} for a in self.outputs},
            "working": list(self.working),
            "reference": f"{self.formula.reference} ({self.formula.mark})",
            "warnings": [*self.formula.cautions, *self.warnings],
        }


def find(name: str) -> Formula:
    """Find a formula by name; NotFound names the ones there are."""
    try:
        return formulas.get(name)
    except KeyError:
        known = ", ".join(formula.name for formula in formulas.all_formulas())
        raise NotFound(f"There is no calculator “{name}”. There are: {known}.") from None


def public_key(item: Input | Output) -> str:
    """Key of an input or output as typed and answered: without the SI suffix of its kind."""
    suffix = KINDS[item.kind].suffix if item.kind else ""
    return item.key.removesuffix(f"_{suffix}") if suffix else item.key


def describe(formula: Formula) -> dict[str, Any]:
    """Describe a formula with its inputs, outputs, units and reference."""
    return {
        "name": formula.name,
        "title": formula.title,
        "summary": formula.summary,
        "inputs": [_described_input(item) for item in formula.inputs],
        "outputs": [
            {
                "key": public_key(item),
                "label": item.label,
                "kind": item.kind,
                "is_list": item.is_list,
                "units": _shown_units(item.kind),
            }
            for item in formula.outputs
        ],
        "reference": formula.reference,
        "mark": formula.mark,
        "cautions": list(formula.cautions),
    }


def _described_input(item: Input) -> dict[str, Any]:
    kind = KINDS[item.kind] if item.kind else None
    return {
        "key": public_key(item),
        "label": item.label,
        "kind": item.kind,
        "is_list": item.is_list,
        "required": item.required and item.default is None,
        "choices": list(item.choices),
        "default": _plain(item.default),
        "default_unit": units.symbol(kind.si_unit, kind.name)
        if kind and item.default is not None
        else "",
        "units": _shown_units(item.kind),
        "accepted_units": sorted({units.symbol(u, kind.name) for u in kind.units} - {""})
        if kind
        else [],
        "help": item.help,
    }


def _shown_units(kind: str) -> dict[str, str]:
    return {system: units.unit_symbol(kind, system) for system in ("ip", "si")} if kind else {}


def _plain(value: Value) -> float | str | bool | list[float] | None:
    return (
        list(value) if isinstance(value, list | tuple) else cast("float | str | bool | None", value)
    )


def calculate(name: str, given: Mapping[str, Given], *, system: UnitSystem) -> Calculation:
    """Compute a formula from what was typed.

    Parameters
    ----------
    name
        Name of the formula.
    given
        Inputs by key. Text is read with its unit, or in the unit of ``system`` when it has
        none; a number (not text) is SI.
    system
        Units to read the answer in.

    Raises
    ------
    NotFound
        No such formula.
    InvalidInput
        An input that is unknown, missing, unreadable or out of range; ``fields`` names it.
    """
    formula = find(name)
    values = read_inputs(formula, given, system=system)
    try:
        result = formulas.compute(formula, values)
    except ValueError as refusal:
        raise InvalidInput(_sentence(str(refusal))) from refusal
    except ArithmeticError as refusal:
        raise InvalidInput("These values are too large or too small to compute with.") from refusal
    used = {item.key: values.get(item.key, item.default) for item in formula.inputs}
    return Calculation(
        formula=formula,
        inputs=tuple(_amount(item, used[item.key], system) for item in formula.inputs),
        outputs=tuple(
            _amount(item, result.outputs.get(item.key), system) for item in formula.outputs
        ),
        working=tuple(working_line(step, system) for step in result.working),
        warnings=result.warnings,
    )


def read_inputs(
    formula: Formula, given: Mapping[str, Given], *, system: UnitSystem
) -> dict[str, Value]:
    """Read inputs to SI by the formula's own keys, collecting every complaint at once."""
    known = {public_key(item): item for item in formula.inputs}
    known.update({item.key: item for item in formula.inputs})
    values: dict[str, Value] = {}
    problems: dict[str, str] = {}
    for key, raw in given.items():
        item = known.get(key)
        if item is None:
            takes = ", ".join(public_key(i) for i in formula.inputs)
            problems[key] = f"{formula.name} has no input “{key}”; it takes {takes}."
            continue
        try:
            value = _read(item, raw, system)
        except InvalidInput as refusal:
            problems[public_key(item)] = refusal.message
            continue
        if value is not None:
            values[item.key] = value
    for item in formula.inputs:
        key = public_key(item)
        if (
            item.required
            and item.default is None
            and item.key not in values
            and key not in problems
        ):
            problems[key] = f"{item.label} is missing."
    if problems:
        listed = " ".join(f"{key}: {text}" for key, text in problems.items())
        raise InvalidInput(listed, fields=problems)
    return values


def _read(item: Input, raw: Given, system: UnitSystem) -> Value:
    if raw is None or (isinstance(raw, str) and not raw.strip()):
        return None
    if not item.kind:
        return _word(item, raw)
    if item.is_list:
        return _many(item, raw, system)
    if isinstance(raw, list | tuple):
        raise InvalidInput("One value is wanted here, not a list.")
    return _one(item, cast("str | float | bool", raw), system)


def _word(item: Input, raw: Given) -> str | bool:
    if isinstance(raw, bool):
        return raw
    word = str(raw).strip().casefold()
    if not item.choices and word in {"yes", "true", "1", "no", "false", "0"}:
        return word in {"yes", "true", "1"}
    if word not in item.choices:
        raise InvalidInput(f"Use one of: {', '.join(item.choices) or 'yes, no'}.")
    return word


def _one(item: Input, raw: str | float | bool, system: UnitSystem) -> float:  # noqa: FBT001  # refused below
    if isinstance(raw, str):
        return units.parse(raw, item.kind, default_unit=units.default_unit(item.kind, system)).value
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        raise InvalidInput("A number is wanted here.")
    try:
        value = float(raw)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise InvalidInput("A finite number is wanted here.")
    return value


def _many(item: Input, raw: Given, system: UnitSystem) -> list[float]:
    """Read a list: "0.010,0.040 inH2O", where a unit at the end holds for all before it."""
    if isinstance(raw, str):
        if len(raw) > MAX_LIST_TEXT:
            raise InvalidInput(f"The list is too long; {MAX_LIST} values are taken.")
        parts: list[str | float] = [*units.split_list(raw)]
    elif isinstance(raw, list | tuple):
        parts = list(raw)
    else:
        parts = [cast("float", raw)]
    if not parts:
        raise InvalidInput("The list is empty.")
    if len(parts) > MAX_LIST:
        raise InvalidInput(f"{len(parts)} values are too many; {MAX_LIST} are taken.")
    read: list[float] = []
    for place, part in enumerate(parts, start=1):
        try:
            read.append(_one(item, part, system))
        except InvalidInput as refusal:
            raise InvalidInput(f"Value {place}: {refusal.message}") from refusal
    return read


def _amount(item: Input | Output, value: Value, system: UnitSystem) -> Amount:
    key, label = public_key(item), item.label
    if value is None or not item.kind or isinstance(value, str | bool):
        return Amount(key, label, _plain(value), "")
    unit = units.unit_symbol(item.kind, system)
    if isinstance(value, float | int):
        return Amount(key, label, _converted(float(value), item.kind, system), unit)
    return Amount(key, label, [_converted(float(v), item.kind, system) for v in value], unit)


def _converted(value: float, kind: str, system: UnitSystem) -> float:
    # Twelve figures: what was typed comes back as typed, free of conversion noise.
    if not math.isfinite(value):
        raise InvalidInput("These values are too large or too small to compute with.")
    return float(format(units.display_value(value, kind, system), ".12g"))


def working_line(step: Step, system: UnitSystem) -> str:
    """Print a line of working with its terms in the reader's units."""
    terms = [
        f"{name} = {_term(value, kind, system)}"
        for name, value, kind in step.terms
        if value is not None
    ]
    return f"{step.text}: {', '.join(terms)}" if terms else step.text


def _term(value: float | str, kind: str, system: UnitSystem) -> str:
    if isinstance(value, str) or not kind:
        return value if isinstance(value, str) else _figures(value)
    shown = _figures(units.display_value(value, kind, system))
    return f"{shown} {units.unit_symbol(kind, system)}".strip()


def _figures(value: float) -> str:
    return format(value, f".{SIGNIFICANT}g")


def _sentence(text: str) -> str:
    return text if text.endswith(".") else f"{text}."
