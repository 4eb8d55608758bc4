"""Changing the catalogue of steps: what is done, by which trade, and after what."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import TypedDict

from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.saving import checked_save
from projectsite.core.scope import Scope
from zones.work.domain.board import MOST_STEPS, in_order
from zones.work.domain.catalogue import STARTER_STEPS
from zones.work.domain.keys import new_key
from zones.work.domain.types import StepFacts
from zones.work.models import Step, StepBefore, StepMark

TAKEN = {"name already": "name"}
"""A name that is taken is told by the constraint for the whole record."""


class StepValues(TypedDict, total=False):
    """Values of a step; what is left out stays as it is.

    ``before`` holds the ids of the steps that have to be done first.
    """

    name: str
    trade: str
    per: str
    budget_h: float
    heats: Sequence[str]
    fans: Sequence[str]
    needs: Sequence[str]
    before: Sequence[int]


@transaction.atomic
def load_starter_catalogue(scope: Scope) -> int:
    """Give a project without steps the catalogue that the trades usually work by.

    Returns
    -------
    int
        How many steps it has now.

    Raises
    ------
    Conflict
        The project has steps already, in use or archived.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    if Step.objects.filter(project_id=scope.project.id).exists():
        raise Conflict("This project has steps already. Change them one by one.")
    made = Step.objects.bulk_create(
        Step(
            project_id=scope.project.id,
            key=starter.key,
            name=starter.name,
            trade=starter.trade,
            per=starter.per,
            position=position,
            budget_h=starter.budget_h,
            heats=list(starter.heats),
            fans=list(starter.fans),
            needs=list(starter.needs),
        )
        for position, starter in enumerate(STARTER_STEPS, 1)
    )
    ids = {step.key: step.pk for step in made}
    StepBefore.objects.bulk_create(
        StepBefore(project_id=scope.project.id, step_id=ids[starter.key], before_id=ids[key])
        for starter in STARTER_STEPS
        for key in starter.before
    )
    return len(made)


def begin_catalogue(scope: Scope, at: datetime) -> None:
    """Let a new project begin with the usual steps."""
    del at  # told to everything that a project begins with; nothing of a catalogue is dated
    load_starter_catalogue(scope)


@transaction.atomic
def add_step(scope: Scope, *, values: StepValues) -> int:
    """Add a step at the end of the catalogue and give its id.

    Raises
    ------
    Conflict
        The catalogue has 60 steps.
    InvalidInput
        A value that can't be taken, or steps that would wait for each other.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    _refuse_too_many(scope)
    step = Step(project_id=scope.project.id, position=_last_position(scope) + 1)
    _put(step, values)
    keys = Step.objects.filter(project_id=scope.project.id).values_list("key", flat=True)
    step.key = new_key(step.name, set(keys), otherwise="step")
    checked_save(step, of_field=TAKEN)
    _set_before(scope, step, values.get("before", ()))
    return step.pk


@transaction.atomic
def change_step(scope: Scope, *, step_id: int, version: int, values: StepValues) -> int:
    """Change the given values of a step and give its version afterwards.

    Raises
    ------
    NotFound
        No such step in the project.
    Conflict
        Somebody changed it since ``version``, it is archived, or it is marked somewhere and
        would be done once for something else.
    InvalidInput
        A value that can't be taken, or steps that would wait for each other.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    step = _locked(scope, step_id, version)
    if step.archived_at is not None:
        raise Conflict(f"{step.name} is archived. Take it into use again before you change it.")
    is_marked = StepMark.objects.filter(step_id=step.pk).exclude(state="open").exists()
    if is_marked and values.get("per", step.per) != step.per:
        message = (
            "This step is marked already, and the marks can't move to something else. Archive "
            "it and add another."
        )
        raise Conflict(message, fields={"per": message})
    _put(step, values)
    step.version += 1
    checked_save(step, of_field=TAKEN)
    if "before" in values:
        _set_before(scope, step, values["before"])
    return step.version


@transaction.atomic
def archive_step(scope: Scope, *, step_id: int, version: int | None = None, at: datetime) -> None:
    """Take a step out of use; what was said of it stays, and nothing waits for it any longer."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    step = _locked(scope, step_id, version)
    if step.archived_at is None:
        step.archived_at = at
        step.version += 1
        step.save(update_fields=["archived_at", "version"])


@transaction.atomic
def restore_step(scope: Scope, *, step_id: int, version: int | None = None) -> None:
    """Take an archived step into use again, with what was said of it.

    Raises
    ------
    Conflict
        The catalogue has 60 steps, or another step has the name meanwhile.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    step = _locked(scope, step_id, version)
    if step.archived_at is None:
        return
    _refuse_too_many(scope)
    taken = Step.objects.filter(
        project_id=scope.project.id, archived_at=None, name__iexact=step.name
    )
    if taken.exists():
        raise Conflict(f"Another step is named {step.name} now. Rename that one first.")
    step.archived_at = None
    step.version += 1
    step.save(update_fields=["archived_at", "version"])


@transaction.atomic
def move_step(scope: Scope, *, step_id: int, to: int) -> None:
    """Put a step at another place of the catalogue.

    Parameters
    ----------
    to
        Place among the steps in use, from 1; a place behind the last is the last.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    if to < 1:
        message = "Places are counted from 1."
        raise InvalidInput(message, fields={"to": message})
    steps = list(
        Step.objects.select_for_update()
        .filter(project_id=scope.project.id, archived_at=None)
        .order_by("position", "id")
    )
    moved = next((step for step in steps if step.pk == step_id), None)
    if moved is None:
        raise NotFound("There is no such step in use in this project.")
    steps.remove(moved)
    steps.insert(to - 1, moved)
    changed = []
    for position, step in enumerate(steps, 1):
        if step.position != position:
            step.position = position
            changed.append(step)
    Step.objects.bulk_update(changed, ["position"])


def _lock(scope: Scope) -> None:
    """Let one person at a time change the catalogue: two could close a circle together."""
    take_turn(Turn.CHANGE_CATALOGUE, scope.project.id)


def _locked(scope: Scope, step_id: int, version: int | None) -> Step:
    step = Step.objects.select_for_update().filter(project_id=scope.project.id, id=step_id).first()
    if step is None:
        raise NotFound("There is no such step in this project.")
    if version is not None and version != step.version:
        raise Conflict(
            f"Somebody changed {step.name} since you opened it. Look at it as it is now, and "
            "then save again."
        )
    return step


def _refuse_too_many(scope: Scope) -> None:
    if Step.objects.filter(project_id=scope.project.id, archived_at=None).count() >= MOST_STEPS:
        raise Conflict(f"A catalogue has up to {MOST_STEPS} steps. Archive one first.")


def _last_position(scope: Scope) -> int:
    positions = Step.objects.filter(project_id=scope.project.id).order_by("-position")
    return positions.values_list("position", flat=True).first() or 0


def _put(step: Step, values: StepValues) -> None:
    for name, value in values.items():
        if name == "name":
            step.name = str(value).strip()
        elif name in {"heats", "fans", "needs"}:
            setattr(step, name, sorted(set(value)))  # type: ignore[call-overload]  # lists of words
        elif name != "before":
            setattr(step, name, value)


def _set_before(scope: Scope, step: Step, before: Iterable[int]) -> None:
    """Say what has to be done before a step; a circle is refused with the names on it."""
    wanted = set(before)
    rows = Step.objects.filter(project_id=scope.project.id).values_list("id", "name", "archived_at")
    names = {step_id: name for step_id, name, _ in rows}
    in_use = {step_id for step_id, _, archived_at in rows if archived_at is None}
    if unknown := wanted - in_use:
        message = f"There is no step {min(unknown)} in use in this project."
        raise InvalidInput(message, fields={"before": message})
    if step.pk in wanted:
        message = f"{step.name} can't wait for itself."
        raise InvalidInput(message, fields={"before": message})
    pairs = StepBefore.objects.filter(project_id=scope.project.id)
    of_step: dict[int, set[int]] = {}
    for later, earlier in pairs.values_list("step_id", "before_id"):
        of_step.setdefault(later, set()).add(earlier)
    had = of_step.get(step.pk, set())
    # An archived step keeps its place before others for the day it is taken into use again.
    of_step[step.pk] = wanted | (had - in_use)
    _refuse_circle(names.items(), of_step)
    pairs.filter(step_id=step.pk, before_id__in=(had & in_use) - wanted).delete()
    StepBefore.objects.bulk_create(
        StepBefore(project_id=scope.project.id, step_id=step.pk, before_id=earlier)
        for earlier in sorted(wanted - had)
    )


def _refuse_circle(names: Iterable[tuple[int, str]], of_step: dict[int, set[int]]) -> None:
    facts = [
        StepFacts(step_id, "", name, "", before=tuple(sorted(of_step.get(step_id, ()))))
        for step_id, name in names
    ]
    try:
        in_order(facts)
    except ValueError as error:
        message = f"{str(error)[:1].upper()}{str(error)[1:]}. Take one of them out."
        raise InvalidInput(message, fields={"before": message}) from error
