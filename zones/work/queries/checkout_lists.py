"""Checkout lists of a project with their points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Value
from django.db.models.functions import Coalesce

from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.work.domain.checkout import PointFacts
from zones.work.models import CheckTemplate, CheckTemplatePoint

LIST_SORTS = ("name", "points")


@dataclass(frozen=True, slots=True)
class ListPoint:
    """A point of a checkout list; limits in SI."""

    id: int
    key: str
    name: str
    place: int
    facts: PointFacts
    owes: str
    is_required: bool
    heats: tuple[str, ...]
    fans: tuple[str, ...]
    needs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CheckoutList:
    """A checkout list, and which units it is meant for."""

    id: int
    name: str
    controller_model_id: int | None
    controller_model: str
    heats: tuple[str, ...]
    fans: tuple[str, ...]
    archived_at: datetime | None
    version: int
    points: tuple[ListPoint, ...]


def checkout_lists(scope: Scope) -> list[CheckoutList]:
    """All lists of the project by name, archived ones included, in two queries."""
    points: dict[int, list[ListPoint]] = {}
    mine = CheckTemplatePoint.objects.filter(project_id=scope.project.id)
    for row in mine.order_by("template_id", "position", "id"):
        found = points.setdefault(row.template_id, [])
        facts = PointFacts(
            row.kind,
            row.quantity,
            row.tolerance_si,
            row.low_si,
            row.high_si,
            row.expected,
            row.source,
        )
        found.append(
            ListPoint(
                row.pk,
                row.key,
                row.name,
                len(found) + 1,
                facts,
                row.owes,
                row.is_required,
                tuple(row.heats),
                tuple(row.fans),
                tuple(row.needs),
            )
        )
    lists = CheckTemplate.objects.filter(project_id=scope.project.id).annotate(
        model=Coalesce("controller_model__name", Value(""))
    )
    return [
        CheckoutList(
            row.pk,
            row.name,
            row.controller_model_id,
            row.model,
            tuple(row.heats),
            tuple(row.fans),
            row.archived_at,
            row.version,
            tuple(points.get(row.pk, ())),
        )
        for row in lists.order_by("name", "id")
    ]


def checkout_list(scope: Scope, list_id: int) -> CheckoutList:
    """Give one list, archived or not.

    Raises
    ------
    NotFound
        No such list in the project.
    """
    return list_in(checkout_lists(scope), list_id)


def list_in(every: Sequence[CheckoutList], list_id: int) -> CheckoutList:
    """Give one of these lists."""
    for found in every:
        if found.id == list_id:
            return found
    raise NotFound("There is no such checkout list in this project.")


def list_choices(scope: Scope) -> list[tuple[int, str]]:
    """Ids and names of the lists in use, by name."""
    lists = CheckTemplate.objects.filter(project_id=scope.project.id, archived_at=None)
    return list(lists.order_by("name", "id").values_list("id", "name"))
