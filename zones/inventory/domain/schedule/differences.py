"""What differs: a row against the record, and one revision against another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from projectsite.core import numeric
from zones.inventory.domain.fields import Field
from zones.inventory.domain.schedule.types import tag_key

Difference = Literal["added", "missing", "changed"]


@dataclass(frozen=True, slots=True)
class Line:
    """One difference between two revisions; values in SI, ``note`` says what is odd about it."""

    tag: str
    what: Difference
    field: str = ""
    old: Any = None
    new: Any = None
    note: str = ""


def same_value(field: Field, old: Any, new: Any) -> bool:
    """Tell whether two values of a field are equal but for noise of conversion."""
    if old == new:
        return True
    if field.kind == "link" and isinstance(old, str) and isinstance(new, str):
        return tag_key(old) == tag_key(new)
    if field.is_text or isinstance(old, str) or isinstance(new, str):
        return (old or "") == (new or "")
    return numeric.same(old, new)


def diff(
    fields: Sequence[Field], old: Mapping[str, Any], new: Mapping[str, Any]
) -> dict[str, tuple[Any, Any]]:
    """Old and new value of each field that a row changes; fields it does not name are left out.

    The spelling of a tag (small or capital letters) is no change.
    """
    found = {}
    for field in fields:
        name = field.name
        if name not in new or not field.is_stored:
            continue
        before, after = old.get(name), new[name]
        if before == after or name == "tag" or same_value(field, before, after):
            continue
        found[name] = (before, after)
    return found


def compare(
    fields: Sequence[Field],
    first: Mapping[str, tuple[str, Mapping[str, Any]]],
    second: Mapping[str, tuple[str, Mapping[str, Any]]],
    *,
    refused_first: Mapping[str, str],
    refused_second: Mapping[str, str],
) -> list[Line]:
    """Compare two revisions: units by their key with tag and values.

    Only fields that both revisions give are compared. A unit that one of them lists in a
    refused row is said so.
    """
    lines = []
    for key in sorted({*first, *second}, key=numeric.natural_key):
        if key not in first:
            note = "refused in the first" if key in refused_first else ""
            lines.append(Line(second[key][0], "added", note=note))
        elif key not in second:
            note = "refused in the second" if key in refused_second else ""
            lines.append(Line(first[key][0], "missing", note=note))
        else:
            tag, old = first[key]
            both = {name: value for name, value in second[key][1].items() if name in old}
            lines += [
                Line(tag, "changed", name, before, after)
                for name, (before, after) in diff(fields, old, both).items()
            ]
    return lines
