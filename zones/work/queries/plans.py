"""Floor plans, and what stands on each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
from django.db.models import Q
from django.urls import reverse

from projectsite.core import findings, numeric
from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.domain import plan_views
from zones.work.domain.board import State
from zones.work.domain.plan import Place, PlanScale
from zones.work.domain.plan_views import Shown
from zones.work.domain.walking import walking_order
from zones.work.models import FloorPlan, PunchItem
from zones.work.queries.board import whole_board
from zones.work.queries.places import place_of
from zones.work.queries.steps import steps_of

FINDINGS, PUNCH, PROGRESS = "findings", "punch", "progress"
STEP = "step-"
"""Start of the name of a view that shows a step; its key follows."""


@dataclass(frozen=True, slots=True)
class PlanFacts:
    """A stored plan.

    Attributes
    ----------
    file, image
        Names in the storage: as received, and as a picture.
    first_px, second_px, distance_m
        Two points of the picture [px] and how far they are apart [m, > 0]; None while not said.
    origin_px
        Where the floor's origin lies on the picture [px]; None while not said.
    """

    id: int
    floor: str
    name: str
    file: str
    file_name: str
    page_number: int
    image: str
    width_px: int
    height_px: int
    first_px: Place | None
    second_px: Place | None
    distance_m: float | None
    origin_px: Place | None
    entered: Mapping[str, str]
    created_by: str
    created_at: datetime
    archived_at: datetime | None
    version: int

    @property
    def m_per_px(self) -> float | None:
        """Size of a pixel on the floor [m, > 0], or None while the scale is not set."""
        if self.first_px is None or self.second_px is None or self.distance_m is None:
            return None
        return PlanScale.from_points(
            self.first_px, self.second_px, self.distance_m, (0.0, 0.0)
        ).m_per_px

    @property
    def width_m(self) -> float | None:
        """Width of the whole picture on the floor [m, > 0], or None while there is no scale."""
        return None if self.m_per_px is None else self.m_per_px * self.width_px

    @property
    def scale(self) -> PlanScale | None:
        """How the picture maps to positions, or None until scale and origin are set."""
        if self.m_per_px is None or self.origin_px is None:
            return None
        return PlanScale(self.m_per_px, *self.origin_px)


_COLUMNS = (
    "id",
    "floor",
    "name",
    "file",
    "file_name",
    "page_number",
    "image",
    "width_px",
    "height_px",
    "first_x_px",
    "first_y_px",
    "second_x_px",
    "second_y_px",
    "distance_m",
    "origin_x_px",
    "origin_y_px",
    "entered",
    "created_by__full_name",
    "created_at",
    "archived_at",
    "version",
)


def plan_facts(scope: Scope, plan_id: int) -> PlanFacts:
    """Give one plan of the project, archived or not.

    Raises
    ------
    NotFound
        It is not in the project.
    """
    found = _facts(FloorPlan.objects.filter(project_id=scope.project.id, id=plan_id))
    if not found:
        raise NotFound("There is no such floor plan in this project.")
    return found[0]


def list_plans(scope: Scope, *, archived: bool = False) -> list[PlanFacts]:
    """Plans in use (or archived ones), in the order of their floors."""
    rows = FloorPlan.objects.filter(
        project_id=scope.project.id, archived_at__isnull=not archived
    ).order_by("-created_at", "-id")
    return sorted(_facts(rows), key=lambda plan: numeric.natural_key(plan.floor))


def _facts(rows: Any) -> list[PlanFacts]:
    return [
        PlanFacts(
            **{name: row[name] for name in _COLUMNS if "_px" not in name and "__" not in name},
            width_px=row["width_px"],
            height_px=row["height_px"],
            first_px=_pair(row, "first"),
            second_px=_pair(row, "second"),
            origin_px=_pair(row, "origin"),
            created_by=row["created_by__full_name"],
        )
        for row in rows.values(*_COLUMNS)
    ]


def _pair(row: Mapping[str, Any], name: str) -> Place | None:
    x, y = row[f"{name}_x_px"], row[f"{name}_y_px"]
    return None if x is None or y is None else (x, y)


@dataclass(frozen=True, slots=True)
class FloorRow:
    """A floor of the project: its plan in use, if any, and how many units have a place."""

    floor: str
    plan: PlanFacts | None
    units: int
    placed: int

    @property
    def standing(self) -> Shown:
        """How far the floor's plan is."""
        if self.plan is None:
            return Shown("wait", "no plan")
        if self.plan.scale is None:
            return Shown("look", "scale or origin missing")
        if self.placed < self.units:
            return Shown("look", "units to place")
        return Shown("done", "all placed")


def floors(scope: Scope) -> list[FloorRow]:
    """Every floor that has units or a plan, in two queries."""
    plans = {plan.floor: plan for plan in list_plans(scope)}
    units: Counter[str] = Counter()
    placed: Counter[str] = Counter()
    for unit in inventory.outlines(scope):
        units[unit.floor] += 1
        placed[unit.floor] += place_of(unit) is not None
    names = sorted({*plans, *units}, key=lambda name: (name == "", numeric.natural_key(name)))
    return [FloorRow(name, plans.get(name), units[name], placed[name]) for name in names]


@dataclass(frozen=True, slots=True)
class PlanPoint:
    """A unit of the floor and what the plan shows of it.

    Attributes
    ----------
    x_px, y_px
        On the picture; None while the unit has no position or the plan no scale.
    place_m
        Position to the east and north [m], or None.
    state, word
        Mark ("wait", "look", "done", "hold", "") and the word beside it.
    is_outside
        The position lies beside the picture.
    """

    unit_id: int
    tag: str
    url: str
    location: str
    x_px: float | None
    y_px: float | None
    place_m: Place | None
    state: str
    word: str
    version: int
    is_outside: bool = False


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """A plan with its units, as pages, the API and documents show it.

    Attributes
    ----------
    view, view_label
        What the marks show: "findings", "punch", "progress" or "step-" and a step's key.
    views
        Every view with its words.
    points
        Units of the floor in the order of their tags, also those without a place.
    legend
        State, word and number of units, in the order of the states.
    walk
        Ids of the placed units in the order of a walk.
    """

    plan: PlanFacts
    view: str
    view_label: str
    views: tuple[tuple[str, str], ...]
    points: tuple[PlanPoint, ...]
    legend: tuple[tuple[str, str, int], ...]
    walk: tuple[int, ...] = field(default=())

    @property
    def placed(self) -> tuple[PlanPoint, ...]:
        """Units that the plan shows."""
        return tuple(point for point in self.points if point.x_px is not None)

    @property
    def unplaced(self) -> tuple[PlanPoint, ...]:
        """Units of the floor without a position."""
        return tuple(point for point in self.points if point.place_m is None)

    @property
    def walk_px(self) -> tuple[Place, ...]:
        """The walk on the picture [px]."""
        at = {p.unit_id: (p.x_px, p.y_px) for p in self.points}
        return tuple(
            (x, y) for x, y in (at[i] for i in self.walk) if x is not None and y is not None
        )


def plan_sheet(scope: Scope, plan_id: int, view: str = "") -> PlanSheet:
    """Give a plan with its units; an unknown view shows progress. A fixed number of queries.

    Raises
    ------
    NotFound
        The plan is not in the project.
    """
    plan = plan_facts(scope, plan_id)
    steps = steps_of(scope)
    views = (
        (PROGRESS, "Progress"),
        (FINDINGS, "Findings"),
        (PUNCH, "Punch items"),
        *((f"{STEP}{step.key}", step.name) for step in steps),
    )
    labels = dict(views)
    view = view if view in labels else PROGRESS
    units = [unit for unit in inventory.outlines(scope) if unit.floor == plan.floor]
    show = _show(scope, units, view)
    points = tuple(_point(scope, plan, unit, show(unit.id)) for unit in units)
    return PlanSheet(plan, view, labels[view], views, points, _legend(points), _walk(points))


def _point(scope: Scope, plan: PlanFacts, unit: UnitOutline, shown: Shown) -> PlanPoint:
    place = place_of(unit)
    at = None if place is None or plan.scale is None else plan.scale.to_px(place)
    return PlanPoint(
        unit.id,
        unit.tag,
        reverse("inventory:unit", args=[scope.project.key, unit.id]),
        unit.location,
        None if at is None else at[0],
        None if at is None else at[1],
        place,
        shown.state,
        shown.word,
        unit.version,
        is_outside=at is not None
        and not (0 <= at[0] <= plan.width_px and 0 <= at[1] <= plan.height_px),
    )


def _walk(points: tuple[PlanPoint, ...]) -> tuple[int, ...]:
    placed = [(point.unit_id, point.place_m) for point in points if point.x_px is not None]
    known = [(unit_id, place) for unit_id, place in placed if place is not None]
    order = walking_order(tuple(p[0] for _, p in known), tuple(p[1] for _, p in known))
    return tuple(known[i][0] for i in order)


_ORDER = ("hold", "look", "wait", "done", "")


def _legend(points: tuple[PlanPoint, ...]) -> tuple[tuple[str, str, int], ...]:
    counted = Counter((p.state, plan_views.share_word(Shown(p.state, p.word))) for p in points)
    rows = [(state, word, count) for (state, word), count in counted.items()]
    return tuple(sorted(rows, key=lambda row: (_ORDER.index(row[0]), row[1])))


def _show(scope: Scope, units: list[UnitOutline], view: str) -> Callable[[int], Shown]:
    """Read what a view needs, and give what it shows of a unit."""
    ids = [unit.id for unit in units]
    if view == FINDINGS:
        severities = _severities(scope, ids)
        return lambda unit_id: plan_views.of_findings(severities.get(unit_id, ()))
    if view == PUNCH:
        items = _punch_items(scope, ids)
        return lambda unit_id: plan_views.of_punch(items.get(unit_id, ()))
    board = whole_board(scope).board
    at = board.row_of
    if view == PROGRESS:
        done = np.count_nonzero(board.states == State.DONE, axis=1)
        applicable = np.count_nonzero(board.states != State.NOT_APPLICABLE, axis=1)
        return lambda i: plan_views.of_progress(int(done[at[i]]), int(applicable[at[i]]))
    step = next(step for step in board.steps if f"{STEP}{step.key}" == view)
    return lambda unit_id: plan_views.of_step(board.state(unit_id, step.id))


def _severities(scope: Scope, ids: list[int]) -> dict[int, list[findings.Severity]]:
    severities: dict[int, list[findings.Severity]] = {}
    found = findings.collect(scope, ids) if ids else []
    for unit_id, finding in findings.by_unit(found):
        severities.setdefault(unit_id, []).append(finding.severity)
    return severities


def _punch_items(scope: Scope, ids: list[int]) -> dict[int, list[tuple[str, str]]]:
    """Severity and state of the items of each unit and its outlets that are not verified."""
    rows = PunchItem.objects.filter(
        Q(unit_id__in=ids) | Q(outlet__unit_id__in=ids), project_id=scope.project.id
    ).exclude(state="verified")
    items: dict[int, list[tuple[str, str]]] = {}
    for of_unit, of_outlet, severity, state in rows.order_by("id").values_list(
        "unit_id", "outlet__unit_id", "severity", "state"
    ):
        items.setdefault(of_unit or of_outlet, []).append((severity, state))
    return items
