"""Changing checkout lists: what is looked at on a unit, and how it is judged."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, TypedDict

from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.quantities import KINDS
from projectsite.core.saving import checked_save
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.work.domain.checkout_lists import STARTER_NAME, STARTER_POINTS
from zones.work.domain.keys import new_key
from zones.work.models import CheckTemplate, CheckTemplatePoint

MOST_POINTS = 60
OF_FIELD = {"name already": "name", "lowest": "low_si"}
"""What a constraint says of the whole record belongs to a field here."""


class ListValues(TypedDict, total=False):
    """Values of a list; what is left out stays as it is."""

    name: str
    controller_model_id: int | None
    heats: Sequence[str]
    fans: Sequence[str]


class PointValues(TypedDict, total=False):
    """Values of a point, quantities in SI; what is left out stays as it is."""

    name: str
    kind: str
    quantity: str
    tolerance_si: float | None
    low_si: float | None
    high_si: float | None
    expected: str
    source: str
    owes: str
    is_required: bool
    heats: Sequence[str]
    fans: Sequence[str]
    needs: Sequence[str]


@transaction.atomic
def load_starter(scope: Scope) -> int:
    """Give a project without checkout lists the usual one, and give its id.

    Raises
    ------
    Conflict
        The project has a list already, in use or archived.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    if CheckTemplate.objects.filter(project_id=scope.project.id).exists():
        raise Conflict("This project has checkout lists already. Change them one by one.")
    made = CheckTemplate.objects.create(project_id=scope.project.id, name=STARTER_NAME)
    CheckTemplatePoint.objects.bulk_create(
        CheckTemplatePoint(
            project_id=scope.project.id,
            template=made,
            position=position,
            key=point.key,
            name=point.name,
            kind=point.kind,
            quantity=point.quantity,
            tolerance_si=point.tolerance_si,
            low_si=point.low_si,
            high_si=point.high_si,
            source=point.source,
            owes=point.owes,
            is_required=point.is_required,
            heats=list(point.heats),
            fans=list(point.fans),
            needs=list(point.needs),
        )
        for position, point in enumerate(STARTER_POINTS, 1)
    )
    return made.pk


def begin_lists(scope: Scope, at: datetime) -> None:
    """Let a new project begin with the usual checkout list."""
    del at  # told to everything that a project begins with; nothing of a list is dated
    load_starter(scope)


@transaction.atomic
def add_list(scope: Scope, *, values: ListValues) -> int:
    """Add a list without points and give its id."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    made = CheckTemplate(project_id=scope.project.id)
    _check_model(scope, values)
    _put(made, values)
    checked_save(made, of_field=OF_FIELD)
    return made.pk


@transaction.atomic
def change_list(scope: Scope, *, list_id: int, version: int, values: ListValues) -> int:
    """Change the given values of a list and give its version afterwards."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    found = _locked(scope, list_id, version)
    _check_model(scope, values)
    _put(found, values)
    return _next(found)


@transaction.atomic
def archive_list(scope: Scope, *, list_id: int, version: int | None = None, at: datetime) -> None:
    """Take a list out of use; checkouts that were begun from it stay as they are."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    found = _locked(scope, list_id, version, may_be_archived=True)
    if found.archived_at is None:
        found.archived_at = at
        _next(found)


@transaction.atomic
def restore_list(scope: Scope, *, list_id: int, version: int | None = None) -> None:
    """Take an archived list into use again.

    Raises
    ------
    Conflict
        Another list has the name meanwhile.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    found = _locked(scope, list_id, version, may_be_archived=True)
    if found.archived_at is None:
        return
    taken = CheckTemplate.objects.filter(
        project_id=scope.project.id, archived_at=None, name__iexact=found.name
    )
    if taken.exists():
        raise Conflict(f"Another checkout list is named {found.name} now. Rename that one first.")
    found.archived_at = None
    _next(found)


@transaction.atomic
def add_point(scope: Scope, *, list_id: int, version: int, values: PointValues) -> int:
    """Add a point at the end of a list and give its id."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    found = _locked(scope, list_id, version)
    points = list(found.points.order_by("position", "id"))
    if len(points) >= MOST_POINTS:
        raise Conflict(f"A checkout list has up to {MOST_POINTS} points. Remove one first.")
    point = CheckTemplatePoint(
        project_id=scope.project.id,
        template=found,
        position=points[-1].position + 1 if points else 1,
    )
    _put(point, values)
    point.key = new_key(point.name, {known.key for known in points}, otherwise="point")
    _check_point(point)
    checked_save(point, of_field=OF_FIELD)
    _next(found)
    return point.pk


@transaction.atomic
def change_point(
    scope: Scope, *, list_id: int, point_id: int, version: int, values: PointValues
) -> int:
    """Change the given values of a point and give the list's version afterwards."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    found = _locked(scope, list_id, version)
    point = _point(found, point_id)
    _put(point, values)
    _check_point(point)
    checked_save(point, of_field=OF_FIELD)
    return _next(found)


@transaction.atomic
def remove_point(scope: Scope, *, list_id: int, point_id: int, version: int) -> int:
    """Remove a point from a list and give the list's version; begun checkouts keep theirs."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    found = _locked(scope, list_id, version)
    _point(found, point_id).delete()
    return _next(found)


@transaction.atomic
def move_point(scope: Scope, *, list_id: int, point_id: int, version: int, to: int) -> int:
    """Put a point at another place of its list, from 1, and give the list's version."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    if to < 1:
        message = "Places are counted from 1."
        raise InvalidInput(message, fields={"to": message})
    found = _locked(scope, list_id, version)
    points = list(found.points.order_by("position", "id"))
    moved = next((point for point in points if point.pk == point_id), None)
    if moved is None:
        raise NotFound("There is no such point in this checkout list.")
    points.remove(moved)
    points.insert(to - 1, moved)
    for position, point in enumerate(points, 1):
        point.position = position
    CheckTemplatePoint.objects.bulk_update(points, ["position"])
    return _next(found)


def _lock(scope: Scope) -> None:
    take_turn(Turn.CHANGE_CHECKOUT_LISTS, scope.project.id)


def _locked(
    scope: Scope, list_id: int, version: int | None, *, may_be_archived: bool = False
) -> CheckTemplate:
    found = (
        CheckTemplate.objects.select_for_update()
        .filter(project_id=scope.project.id, id=list_id)
        .first()
    )
    if found is None:
        raise NotFound("There is no such checkout list in this project.")
    if version is not None and version != found.version:
        raise Conflict(
            f"Somebody changed {found.name} since you opened it. Look at it as it is now, and "
            "then save again."
        )
    if found.archived_at is not None and not may_be_archived:
        raise Conflict(f"{found.name} is archived. Take it into use again before you change it.")
    return found


def _point(found: CheckTemplate, point_id: int) -> CheckTemplatePoint:
    point = found.points.filter(id=point_id).first()
    if point is None:
        raise NotFound("There is no such point in this checkout list.")
    return point


def _put(record: CheckTemplate | CheckTemplatePoint, values: Any) -> None:
    for name, value in values.items():
        if name in {"heats", "fans", "needs"}:
            setattr(record, name, sorted(set(value)))
        elif name in {"name", "expected"}:
            setattr(record, name, str(value).strip())
        else:
            setattr(record, name, value)


def _check_model(scope: Scope, values: ListValues) -> None:
    model_id = values.get("controller_model_id")
    if model_id is not None and not inventory.controller_models(scope, ids=[model_id]):
        message = "There is no such controller model in the library."
        raise InvalidInput(message, fields={"controller_model_id": message})


def _check_point(point: CheckTemplatePoint) -> None:
    """Refuse a point that nobody could judge."""
    problems: dict[str, str] = {}
    if point.kind in {"sensor", "range"} and point.quantity not in KINDS:
        problems["quantity"] = "Choose the quantity that is read."
    if point.kind == "sensor" and point.tolerance_si is None:
        problems["tolerance_si"] = "Say how far the reading may be from the reference."
    if point.kind == "range" and point.low_si is None and point.high_si is None:
        problems["low_si"] = "Give the lowest value, the highest, or both."
    if point.kind == "match" and not point.expected and not point.source:
        problems["expected"] = "Say what is expected, or where it comes from."
    if problems:
        raise InvalidInput(" ".join(problems.values()), fields=problems)


def _next(found: CheckTemplate) -> int:
    found.version += 1
    checked_save(found, of_field=OF_FIELD)
    return found.version
