"""Adding, scaling, archiving and restoring floor plans."""

from __future__ import annotations

import hashlib
import math
from datetime import datetime
from typing import TypeAlias

from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction

from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.pictures import PagePicture, PictureError, plan_picture
from projectsite.core.scope import Scope
from projectsite.core.units import Entered
from zones.work.domain.plan import Place, PlanScale
from zones.work.models import FloorPlan

MAX_PLAN_BYTES = 30 * 1024**2
"""Largest file of a plan."""
LONGEST_M = 10_000.0
"""No floor is longer; a scale that makes one so is a slip of the hand or of the unit."""
_SAME_SHAPE = 0.01
"""How much the sides of two pictures may differ in ratio for one scale to fit both."""
_SCALE = ("first_x_px", "first_y_px", "second_x_px", "second_y_px")
_ORIGIN = ("origin_x_px", "origin_y_px")


@transaction.atomic
def add_plan(
    scope: Scope,
    *,
    floor: str,
    name: str,
    content: bytes,
    file_name: str,
    page_number: int = 1,
    keep_scale: bool = False,
    at: datetime,
) -> int:
    """Store the plan of a floor and give its id; the plan that the floor had is archived.

    Parameters
    ----------
    content
        A PDF or a picture, up to 30 MB.
    page_number
        Page of a PDF, from 1.
    keep_scale
        Take scale and origin from the plan that the floor had.

    Raises
    ------
    InvalidInput
        No floor, a file that can't be read, or a scale that does not fit the new picture.
    Conflict
        Somebody stored a plan of the floor at the same moment.
    """
    scope.require(Action.PLAN_WORK)
    plan = _new(scope, floor, name, file_name, at)
    if len(content) > MAX_PLAN_BYTES:
        message = f"At most {MAX_PLAN_BYTES // 1024**2} MB are accepted."
        raise InvalidInput(message, fields={"file": message})
    picture = _picture(content, page_number)
    plan.page_number, plan.sha256 = page_number, hashlib.sha256(content).hexdigest()
    plan.width_px, plan.height_px = picture.width_px, picture.height_px
    before = _in_use(scope, plan.floor)
    if keep_scale:
        _take_scale(plan, before)
    if before is not None:
        _put_away(before, at)
    try:
        with transaction.atomic():
            plan.save()
    except IntegrityError as error:
        raise Conflict(
            f"Somebody added a plan of floor {plan.floor} at the same moment. Look at it first."
        ) from error
    # The row comes first: a refused one must not leave files behind.
    plan.file.save(f"received-{plan.pk}", ContentFile(content), save=False)
    plan.image.save(f"plan-{plan.pk}.png", ContentFile(picture.content), save=False)
    plan.save(update_fields=["file", "image"])
    return plan.pk


def _picture(content: bytes, page_number: int) -> PagePicture:
    try:
        return plan_picture(content, page_number)
    except PictureError as error:
        fields = error.fields or {"file": error.message}
        raise InvalidInput(error.message, fields=fields) from error


def _new(scope: Scope, floor: str, name: str, file_name: str, at: datetime) -> FloorPlan:
    floor, name = floor.strip(), name.strip()
    wrong = {}
    if not floor:
        wrong["floor"] = "Say which floor it is, as the schedule writes it."
    for field, text, most in (("floor", floor, 40), ("name", name, 100)):
        if len(text) > most:
            wrong[field] = f"At most {most} characters."
    if wrong:
        raise InvalidInput(" ".join(wrong.values()), fields=wrong)
    return FloorPlan(
        project_id=scope.project.id,
        floor=floor,
        name=name,
        file_name=file_name[-200:],
        created_by_id=scope.person.id,
        created_at=at,
    )


def _in_use(scope: Scope, floor: str) -> FloorPlan | None:
    rows = FloorPlan.objects.select_for_update()
    return rows.filter(project_id=scope.project.id, floor=floor, archived_at=None).first()


def _take_scale(plan: FloorPlan, before: FloorPlan | None) -> None:
    """Take the scale of the plan before, stretched to the new picture."""
    if before is None or before.distance_m is None:
        message = "There is no scale to keep: the floor has no plan with one."
        raise InvalidInput(message, fields={"keep_scale": message})
    stretch = plan.width_px / before.width_px
    if abs(plan.height_px / before.height_px / stretch - 1) > _SAME_SHAPE:
        message = "The new picture has another shape, so the scale must be set again."
        raise InvalidInput(message, fields={"keep_scale": message})
    for column in (*_SCALE, *_ORIGIN):
        old = getattr(before, column)
        setattr(plan, column, None if old is None else old * stretch)
    plan.distance_m, plan.entered = before.distance_m, dict(before.entered)


@transaction.atomic
def set_scale(
    scope: Scope,
    *,
    plan_id: int,
    version: int,
    first_px: Place,
    second_px: Place,
    distance: Entered,
) -> int:
    """Set a plan's scale by two points and the distance between them; give the new version.

    Units keep their positions, so their marks move on the picture.

    Raises
    ------
    InvalidInput
        Points beside the picture or on one spot, or a distance that makes the floor endless.
    Conflict
        Somebody changed the plan since ``version``, or it is archived.
    """
    plan = _open(scope, plan_id, version)
    for x, y in (first_px, second_px):
        if not (0 <= x <= plan.width_px and 0 <= y <= plan.height_px):
            raise InvalidInput(
                "Both points of the scale must lie on the picture.",
                fields={"first_x_px": "Choose two points on the picture."},
            )
    try:
        scale = PlanScale.from_points(first_px, second_px, distance.value, (0.0, 0.0))
    except ValueError as error:
        raise InvalidInput(
            "The scale needs two different points and a distance above 0.",
            fields={"distance_m": "Give the distance between two different points."},
        ) from error
    if scale.m_per_px * max(plan.width_px, plan.height_px) > LONGEST_M:
        raise InvalidInput(
            f"With this distance the picture would be over {LONGEST_M:,.0f} m long.",
            fields={"distance_m": "Look at the two points, the number and its unit."},
        )
    plan.first_x_px, plan.first_y_px = first_px
    plan.second_x_px, plan.second_y_px = second_px
    plan.distance_m = distance.value
    plan.entered = {**plan.entered, "distance_m": distance.text}
    return _saved(plan)


@transaction.atomic
def set_origin(scope: Scope, *, plan_id: int, version: int, origin_px: Place) -> int:
    """Say where the origin of the floor's positions lies on the picture; give the new version.

    It may lie a little beside the picture, when the plan shows a part of the floor.

    Raises
    ------
    InvalidInput
        A point that is far from the picture.
    Conflict
        Somebody changed the plan since ``version``, or it is archived.
    """
    plan = _open(scope, plan_id, version)
    far = 10 * max(plan.width_px, plan.height_px)
    if not all(math.isfinite(value) and abs(value) <= far for value in origin_px):
        message = "The origin lies far from the picture."
        raise InvalidInput(message, fields={"origin_x_px": message})
    plan.origin_x_px, plan.origin_y_px = origin_px
    return _saved(plan)


Scale: TypeAlias = tuple[Place, Place, Entered]
"""Two points of the picture [px] and the distance between them [m, > 0], as typed."""


@transaction.atomic
def fit_plan(
    scope: Scope,
    *,
    plan_id: int,
    version: int,
    scale: Scale | None = None,
    origin_px: Place | None = None,
) -> int:
    """Set scale, origin or both at once, and give the new version; see ``set_scale``."""
    if scale is not None:
        first_px, second_px, distance = scale
        version = set_scale(
            scope,
            plan_id=plan_id,
            version=version,
            first_px=first_px,
            second_px=second_px,
            distance=distance,
        )
    if origin_px is not None:
        version = set_origin(scope, plan_id=plan_id, version=version, origin_px=origin_px)
    return version


@transaction.atomic
def archive_plan(scope: Scope, *, plan_id: int, version: int | None = None, at: datetime) -> None:
    """Take a plan out of use; the positions of the units stay."""
    plan = _locked(scope, plan_id, version)
    if plan.archived_at is None:
        _put_away(plan, at)


@transaction.atomic
def restore_plan(scope: Scope, *, plan_id: int) -> None:
    """Take an archived plan into use again.

    Raises
    ------
    Conflict
        The floor has another plan in use.
    """
    plan = _locked(scope, plan_id, None)
    if plan.archived_at is None:
        return
    taken = f"Floor {plan.floor} has another plan in use. Archive that one first."
    if _in_use(scope, plan.floor) is not None:
        raise Conflict(taken)
    plan.archived_at = None
    try:
        with transaction.atomic():
            _saved(plan)
    except IntegrityError as error:
        raise Conflict(taken) from error


def _locked(scope: Scope, plan_id: int, version: int | None) -> FloorPlan:
    scope.require(Action.PLAN_WORK)
    rows = FloorPlan.objects.select_for_update()
    plan = rows.filter(project_id=scope.project.id, id=plan_id).first()
    if plan is None:
        raise NotFound("There is no such floor plan in this project.")
    if version is not None and plan.version != version:
        raise Conflict(
            "Somebody changed this plan since you opened it. Look at it as it is now, then go on."
        )
    return plan


def _open(scope: Scope, plan_id: int, version: int) -> FloorPlan:
    plan = _locked(scope, plan_id, version)
    if plan.archived_at is not None:
        raise Conflict("This plan is archived. Restore it before you change it.")
    return plan


def _put_away(plan: FloorPlan, at: datetime) -> None:
    plan.archived_at = at
    _saved(plan)


def _saved(plan: FloorPlan) -> int:
    plan.version += 1
    plan.save()
    return plan.version
