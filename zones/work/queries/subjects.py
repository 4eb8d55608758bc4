"""What a punch item, a file or a mark is about: checked, named and with its page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import cast

from django.urls import reverse

from projectsite.core import groups
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.work.domain.types import SubjectKind, SubjectRef

Pair = tuple[str, int]
"""Kind of subject and its id."""

COLUMNS: Mapping[str, str] = {
    "unit": "unit_id",
    "outlet": "outlet_id",
    "air-handler": "air_handler_id",
    "trunk": "trunk_id",
    "transformer": "transformer_id",
}
NOUNS: Mapping[str, str] = {
    "unit": "terminal unit",
    "outlet": "outlet",
    "air-handler": "air handler",
    "trunk": "trunk",
    "transformer": "control transformer",
}


def column_of(kind: str) -> str:
    """Column in which rows about this kind of subject keep its id.

    Raises
    ------
    InvalidInput
        There is no such kind.
    """
    if kind not in COLUMNS:
        message = f"One of: {', '.join(COLUMNS)}."
        raise InvalidInput(f"There is no subject of kind {kind}.", fields={"kind": message})
    return COLUMNS[kind]


def pair_of(row: Mapping[str, int | None]) -> Pair:
    """Kind and id of the subject of a stored row, given as values by column."""
    for kind, column in COLUMNS.items():
        found = row.get(column)
        if found is not None:
            return kind, found
    raise ValueError("the row is about nothing")


def subject(scope: Scope, kind: str, subject_id: int) -> SubjectRef:
    """Give one subject of the project.

    Raises
    ------
    NotFound
        It is not in the project.
    """
    column_of(kind)
    found = subjects(scope, [(kind, subject_id)]).get((kind, subject_id))
    if found is None:
        raise NotFound(f"There is no such {NOUNS[kind]} in this project.")
    return found


def subject_by_tag(scope: Scope, kind: str, tag: str) -> SubjectRef:
    """Find a subject by its tag, whatever its case; an outlet as "unit, outlet".

    Raises
    ------
    NotFound
        There is none with this tag in the project.
    """
    wanted = " ".join(tag.split()).casefold()
    for subject_id, label in _labels(scope, kind):
        if wanted in {label.casefold(), label.replace(", outlet ", ", ").casefold()}:
            return subject(scope, kind, subject_id)
    raise NotFound(f"There is no {NOUNS[kind]} {tag} in this project.")


def _labels(scope: Scope, kind: str) -> list[tuple[int, str]]:
    column_of(kind)
    if kind == "unit":
        return [(unit.id, unit.tag) for unit in inventory.outlines(scope)]
    if kind == "outlet":
        return [
            (row["id"], f"{row['unit_tag']}, outlet {row['tag']}")
            for row in inventory.outlet_places(scope)
        ]
    return [(group.id, group.label) for group in groups.grouping(scope, kind).groups.values()]


def subjects(scope: Scope, pairs: Iterable[Pair]) -> dict[Pair, SubjectRef]:
    """Name subjects of the project, in two queries for each kind that is asked for.

    Those that are not in the project are left out.
    """
    wanted: dict[str, set[int]] = {}
    for kind, subject_id in pairs:
        wanted.setdefault(kind, set()).add(subject_id)
    found: dict[Pair, SubjectRef] = {}
    for kind, ids in wanted.items():
        refs = _UNITS[kind](scope, ids) if kind in _UNITS else _groups(scope, kind, ids)
        found |= {(kind, ref.id): ref for ref in refs}
    return found


def _units(scope: Scope, ids: set[int]) -> list[SubjectRef]:
    return [
        SubjectRef(
            "unit",
            row["id"],
            row["tag"],
            reverse("inventory:unit", args=[scope.project.key, row["id"]]),
            row["id"],
            row["floor"],
            row["location"],
        )
        for row in inventory.unit_places(scope, ids)
    ]


def _outlets(scope: Scope, ids: set[int]) -> list[SubjectRef]:
    return [
        SubjectRef(
            "outlet",
            row["id"],
            f"{row['unit_tag']}, outlet {row['tag']}",
            reverse("inventory:unit", args=[scope.project.key, row["unit_id"]]) + "#outlets",
            row["unit_id"],
            row["floor"],
            row["location"],
        )
        for row in inventory.outlet_places(scope, ids)
    ]


def _groups(scope: Scope, kind: str, ids: set[int]) -> list[SubjectRef]:
    known = groups.grouping(scope, kind).groups
    return [
        SubjectRef(cast("SubjectKind", kind), group.id, group.label, group.url)
        for group in known.values()
        if group.id in ids
    ]


_UNITS = {"unit": _units, "outlet": _outlets}
