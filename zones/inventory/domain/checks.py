"""What may not be entered at all, by field: the same for pages, the API and imports."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from projectsite.core import numeric
from zones.inventory.domain.fields import Field

Show = Callable[[float, str], str]
"""Prints an SI value of a kind with its unit."""

_ORDERED = (
    ("cooling_min_m3_s", "cooling_max_m3_s", "The cooling minimum is above the cooling maximum."),
    ("heating_min_m3_s", "heating_max_m3_s", "The heating minimum is above the heating maximum."),
    (
        "scheduled_low_m3_s",
        "scheduled_high_m3_s",
        "The smallest scheduled airflow is above the largest.",
    ),
)
_PAIRS = (
    ("position_x_m", "position_y_m", "Give both positions or neither."),
    ("scheduled_low_m3_s", "scheduled_high_m3_s", "Give both ends of the range or neither."),
)


def _plain(value: float, kind: str) -> str:
    return f"{value:g} {kind}".strip()


def problems(
    fields: Sequence[Field], values: Mapping[str, Any], *, show: Show = _plain
) -> dict[str, str]:
    """Give a message for each field that can't be taken; empty when all is well.

    Parameters
    ----------
    fields
        Field list of the record.
    values
        Value of every stored field by name, SI; missing ones count as unknown.
    show
        Prints a limit in the reader's unit.
    """
    found = {}
    for field in fields:
        message = _problem(field, values.get(field.name), show) if field.is_stored else ""
        if message:
            found[field.name] = message
    for lower, upper, message in _ORDERED:
        low, high = values.get(lower), values.get(upper)
        if low is None or high is None or lower in found:
            continue
        if not numeric.at_most(low, high):
            found[lower] = message
    names = {field.name for field in fields}
    for first, second, message in _PAIRS:
        if first in names and (values.get(first) is None) != (values.get(second) is None):
            found.setdefault(second if values.get(second) is None else first, message)
    return found


def _problem(field: Field, value: Any, show: Show) -> str:
    if value is None or value == "":
        return "This is needed." if field.required else ""
    if field.is_text:
        return _text_problem(field, value)
    if field.kind == "link":
        return ""
    return _number_problem(field, float(value), show)


def _text_problem(field: Field, value: str) -> str:
    if field.choices and value not in dict(field.choices):
        return f"Choose one of: {', '.join(label for _, label in field.choices)}."
    if field.max_length and len(value) > field.max_length:
        return f"At most {field.max_length} characters; these are {len(value)}."
    if "\x00" in value:
        return "This text holds a character that can't be kept."
    return ""


def _number_problem(field: Field, value: float, show: Show) -> str:
    kind = field.kind if field.is_quantity else ""
    if field.choices and f"{value:g}" not in dict(field.choices):
        return f"Choose one of: {', '.join(label for _, label in field.choices)}."
    if field.is_above_zero and value <= 0:
        return "Must be above zero."
    if field.low is not None and not numeric.at_least(value, field.low):
        return (
            "Can't be negative." if field.low == 0 else f"Must be {show(field.low, kind)} or more."
        )
    if field.high is not None and not numeric.at_most(value, field.high):
        return f"Must be {show(field.high, kind)} or less."
    return ""
