"""Conversion at the edge: what people type to SI, and SI to what people read.

The only importer of pint. The registry is closed (``units.txt``): a unit that is not
listed there is an error, never a guess.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pint

from projectsite.core.errors import InvalidInput
from projectsite.core.numeric import rounded
from projectsite.core.quantities import KINDS, Kind
from projectsite.core.scope import UnitSystem

_DEFINITIONS = Path(__file__).with_name("units.txt")
# Thousands are separated in exact groups of three, so that "6'2" or "10 5" is no number.
_GROUP = r"[ '’\u00a0\u2009\u202f]"
_NUMBER = re.compile(
    rf"""^\s*(?P<sign>[+\-\u2212]?)
    (?:
        (?P<comma_groups>[1-9][0-9]{{0,2}}(?:,[0-9]{{3}})+(?:\.[0-9]*)?)
      | (?P<dot_groups>[1-9][0-9]{{0,2}}(?:\.[0-9]{{3}})+,[0-9]+)
      | (?P<space_groups>[1-9][0-9]{{0,2}}(?:{_GROUP}[0-9]{{3}})+(?:[.,][0-9]+)?)
      | (?P<plain>[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)
    )
    (?P<exponent>[eE][+\-\u2212]?[0-9]+)?
    (?![0-9.,/½¼¾'’][0-9]|[0-9½¼¾])
    (?P<unit>.*)$""",
    re.DOTALL | re.VERBOSE,
)
MAX_ENTRY_LENGTH = 80


@dataclass(frozen=True, slots=True)
class Entered:
    """A quantity as typed: its value in the kind's SI unit, and the text as entered."""

    value: float
    text: str


@dataclass(frozen=True, slots=True)
class _Linear:
    """si = factor * value + offset."""

    factor: float
    offset: float


def _normalised(spelling: str) -> str:
    text = spelling.casefold().replace("³", "3").replace("²", "2").replace("º", "°")
    text = text.replace("”", '"').replace("″", '"').replace("′", "'").replace("·", "*")
    return re.sub(r"[\s.^_\u00a0]", "", text)


@cache
def _registry() -> pint.UnitRegistry[Any]:
    # Built once, before any request thread asks: a lazily built registry is not thread-safe.
    return pint.UnitRegistry(str(_DEFINITIONS), autoconvert_offset_to_baseunit=True)


@cache
def spellings() -> Mapping[str, str]:
    """Every accepted spelling (normalised) with the name of its unit."""
    found: dict[str, str] = {}
    for line in _DEFINITIONS.read_text(encoding="utf-8").splitlines():
        if not line.startswith("#~"):
            continue
        unit, _, names = line[2:].partition(":")
        for name in names.split(","):
            key = _normalised(name)
            if found.setdefault(key, unit.strip()) != unit.strip():
                raise ValueError(f"units.txt gives {name.strip()!r} two meanings")
    return found


@cache
def _linear(unit: str, si_unit: str) -> _Linear:
    registry = _registry()
    offset = float(registry.Quantity(0.0, unit).to(si_unit).magnitude)
    if offset == 0.0:
        return _Linear(float(registry.Quantity(1.0, unit).to(si_unit).magnitude), 0.0)
    # Two far points, so that the difference keeps its figures.
    far = float(registry.Quantity(1000.0, unit).to(si_unit).magnitude)
    return _Linear((far - offset) / 1000.0, offset)


def unit_named(spelling: str, kind: str) -> str:
    """Find the unit that a person means for this kind of quantity.

    Raises
    ------
    InvalidInput
        When the spelling is unknown or names a unit of another kind.
    """
    wanted = KINDS[kind]
    written = _normalised(spelling)
    name = wanted.aliases.get(written) or spellings().get(written)
    if name is None or name not in wanted.units:
        accepted = ", ".join(dict.fromkeys(filter(None, (symbol(u, kind) for u in wanted.units))))
        problem = "is not a unit known here" if name is None else f"is not a unit of {wanted.label}"
        ending = f"Use one of: {accepted}." if accepted else "Give the number without a unit."
        raise InvalidInput(f"“{spelling.strip()}” {problem}. {ending}")
    return name


@cache
def symbol(unit: str, kind: str = "") -> str:
    """Printed symbol of a unit of ``units.txt``; with a kind, as it is printed for that kind."""
    if kind:
        for shown in (KINDS[kind].ip, KINDS[kind].si):
            if shown.unit == unit:
                return shown.symbol
    for known in KINDS.values():
        for shown in (known.ip, known.si):
            if shown.unit == unit and shown.symbol:
                return shown.symbol
    return next((s for s, n in _first_spellings().items() if n == unit), unit)


@cache
def _first_spellings() -> Mapping[str, str]:
    first: dict[str, str] = {}
    for line in _DEFINITIONS.read_text(encoding="utf-8").splitlines():
        if line.startswith("#~"):
            unit, _, names = line[2:].partition(":")
            first[names.split(",")[0].strip()] = unit.strip()
    return first


def to_si(value: float, unit: str, kind: str) -> float:
    """Convert a number in ``unit`` (a name of ``units.txt``) to the SI unit of ``kind``."""
    linear = _linear(unit, KINDS[kind].si_unit)
    return value * linear.factor + linear.offset


def from_si(value: float, unit: str, kind: str) -> float:
    """Convert a number in the SI unit of ``kind`` to ``unit`` (a name of ``units.txt``)."""
    linear = _linear(unit, KINDS[kind].si_unit)
    return (value - linear.offset) / linear.factor


def split_number(text: str) -> tuple[float | None, str]:
    """Split what was typed into a number and the unit that follows it.

    Thousands separators (comma, space, apostrophe) and a decimal comma are read; a comma
    followed by exactly three digits is a thousands separator unless the number begins with 0.
    What can be read in two ways or is no decimal number ("1/2", "6'2", "½") is refused.

    >>> split_number("1,250 cfm"), split_number("0,5 L/s"), split_number("N/A")
    ((1250.0, 'cfm'), (0.5, 'L/s'), (None, 'N/A'))
    >>> split_number("1.234,5 Pa"), split_number("0,035"), split_number("−5 °C")
    ((1234.5, 'Pa'), (0.035, ''), (-5.0, '°C'))
    """
    match = _NUMBER.match(text)
    if not match:
        return None, text.strip()
    if match["comma_groups"]:
        digits = match["comma_groups"].replace(",", "")
    elif match["dot_groups"]:
        digits = match["dot_groups"].replace(".", "").replace(",", ".")
    elif match["space_groups"]:
        digits = re.sub(_GROUP, "", match["space_groups"]).replace(",", ".")
    else:
        digits = match["plain"].replace(",", ".")
    written = match["sign"] + digits + (match["exponent"] or "")
    number = float(written.replace("\u2212", "-"))
    return (number, match["unit"].strip()) if math.isfinite(number) else (None, text.strip())


def split_list(text: str) -> list[str]:
    """Split a typed list; the unit after the last number holds for all that have none.

    A comma separates, so numbers have a decimal point; with semicolons between them the
    numbers may have decimal commas and thousands.

    >>> split_list("0.010,0.040 inH2O"), split_list("0,5; 0,75 Pa")
    (['0.010 inH2O', '0.040 inH2O'], ['0,5 Pa', '0,75 Pa'])
    """
    items = [item.strip() for item in text.split(";" if ";" in text else ",")]
    last = split_number(items[-1])[1] if items[-1] else ""
    # What is not a number stays as it is: reading it will say so.
    return [
        f"{item} {last}"
        if last and split_number(item)[0] is not None and not split_number(item)[1]
        else item
        for item in items
    ]


def parse(text: str, kind: str, *, default_unit: str) -> Entered:
    """Read a typed quantity such as ``450 cfm``, ``1,250`` or ``0.35 in. w.c.``.

    Parameters
    ----------
    text
        What was typed; a bare number is taken in ``default_unit``.
    kind
        Name of the kind of quantity.
    default_unit
        Name in ``units.txt`` of the unit that stands beside the field.

    Raises
    ------
    InvalidInput
        Not a number, an unknown unit, or a unit of another kind.
    """
    entry = text.strip()
    if len(entry) > MAX_ENTRY_LENGTH:
        raise InvalidInput(f"“{entry[:20]}…” is too long for a quantity.")
    number, rest = split_number(entry)
    if number is None:
        if not entry:
            raise InvalidInput("Nothing was entered.")
        raise InvalidInput(f"“{entry}” is not a number.")
    unit = unit_named(rest, kind) if rest else default_unit
    shown = entry if rest else f"{entry} {symbol(unit, kind)}".strip()
    return Entered(to_si(number, unit, kind), shown)


def display_value(value: float, kind: str, system: UnitSystem) -> float:
    """Convert an SI value to the unit in which the kind is read."""
    return from_si(value, KINDS[kind].display(system).unit, kind)


def show(
    value: float | None,
    kind: str,
    system: UnitSystem,
    *,
    with_unit: bool = False,
    missing: str = "—",
) -> str:
    """Print an SI value as it is read in this unit system.

    >>> show(0.1651814, "airflow", "ip", with_unit=True)
    '350 cfm'
    """
    if value is None:
        return missing
    shown = KINDS[kind].display(system)
    text = rounded(from_si(value, shown.unit, kind), shown.decimals)
    return f"{text} {shown.symbol}" if with_unit and shown.symbol else text


def display_values(
    values: Sequence[float | None], kind: str, system: UnitSystem
) -> list[float | None]:
    """Convert a column of SI values to the unit it is read in, free of conversion noise."""
    shown = KINDS[kind].display(system)
    linear = _linear(shown.unit, KINDS[kind].si_unit)
    read = (np.array(values, dtype=float) - linear.offset) / linear.factor
    return [
        float(format(value, ".12g")) if math.isfinite(value) else None for value in read.tolist()
    ]


def show_all(
    values: Sequence[float | None], kind: str, system: UnitSystem, *, missing: str = "—"
) -> list[str]:
    """Print a column of SI values; the same text as ``show`` gives one by one, but fast.

    >>> show_all([0.1651814, None], "airflow", "ip")
    ['350', '—']
    """
    shown = KINDS[kind].display(system)
    linear = _linear(shown.unit, KINDS[kind].si_unit)
    read = (np.array(values, dtype=float) - linear.offset) / linear.factor
    scaled = np.abs(read) * 10.0**shown.decimals
    # Only near a tie (or in extreme cases) can plain formatting and exact rounding differ.
    tie = np.abs(scaled - np.floor(scaled) - 0.5) < 1e-6 + scaled * 6e-12
    doubtful = ~(scaled < 1e9) | tie | (np.signbit(read) & (scaled < 0.5))
    plain = f"%.{shown.decimals}f"
    texts = [plain % value for value in read.tolist()]
    for i in np.flatnonzero(doubtful).tolist():
        value = float(read[i])
        texts[i] = rounded(value, shown.decimals) if math.isfinite(value) else missing
    return texts


def unit_symbol(kind: str, system: UnitSystem) -> str:
    """Printed symbol of the unit in which the kind is read."""
    return KINDS[kind].display(system).symbol


def default_unit(kind: str, system: UnitSystem) -> str:
    """Name of the unit that a bare number is taken in."""
    return KINDS[kind].display(system).unit


def factors(kinds: tuple[str, ...] | None = None) -> dict[str, dict[str, Any]]:
    """Conversion data for a browser: per kind and unit system the symbol, decimals and line."""
    chosen: list[Kind] = [KINDS[name] for name in kinds or tuple(KINDS)]
    return {
        kind.name: {
            system: {
                "symbol": shown.symbol,
                "decimals": shown.decimals,
                "factor": _linear(shown.unit, kind.si_unit).factor,
                "offset": _linear(shown.unit, kind.si_unit).offset,
            }
            for system, shown in (("ip", kind.ip), ("si", kind.si))
        }
        for kind in chosen
    }
