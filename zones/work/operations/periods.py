"""When a trade is to work on a floor: the plan that progress is held against."""

from __future__ import annotations

from datetime import date
from typing import TypedDict

from django.core.exceptions import ValidationError
from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.work.models import PlannedPeriod


class PeriodValues(TypedDict, total=False):
    """Values of a planned period; what is left out stays as it is.

    ``floor`` and ``trade`` "" stand for every floor and every trade; the more exact row counts.
    """

    floor: str
    trade: str
    start_date: date
    finish_date: date


@transaction.atomic
def add_period(scope: Scope, *, values: PeriodValues) -> int:
    """Plan when a trade is to work on a floor.

    Raises
    ------
    InvalidInput
        The floor has no unit, the floor and trade are planned already, or the period ends
        before it begins.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    period = PlannedPeriod(project_id=scope.project.id, **values)
    _check_floor(scope, period.floor)
    _save(period)
    return period.pk


@transaction.atomic
def change_period(scope: Scope, *, period_id: int, version: int, values: PeriodValues) -> int:
    """Change a planned period and give its new version.

    Raises
    ------
    NotFound
        It is not in the project.
    Conflict
        Somebody changed it since ``version`` was read.
    InvalidInput
        As for ``add_period``.
    """
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    period = _locked(scope, period_id, version)
    if values.get("floor", period.floor) != period.floor:
        _check_floor(scope, values["floor"])
    for name, value in values.items():
        setattr(period, name, value)
    period.version += 1
    _save(period)
    return period.version


@transaction.atomic
def remove_period(scope: Scope, *, period_id: int, version: int) -> None:
    """Take a planned period out of the plan; the change log keeps it."""
    scope.require(Action.PLAN_WORK)
    _lock(scope)
    _locked(scope, period_id, version).delete()


def _lock(scope: Scope) -> None:
    """Two people who plan the same floor follow one another, so that the second is told."""
    take_turn(Turn.PLAN_PERIODS, scope.project.id)


def _check_floor(scope: Scope, floor: str) -> None:
    if floor and floor not in {unit.floor for unit in inventory.outlines(scope)}:
        message = f"There is no terminal unit on floor {floor}."
        raise InvalidInput(message, fields={"floor": message})


def _locked(scope: Scope, period_id: int, version: int) -> PlannedPeriod:
    period = (
        PlannedPeriod.objects.select_for_update()
        .filter(project_id=scope.project.id, id=period_id)
        .first()
    )
    if period is None:
        raise NotFound("There is no such planned period in this project.")
    if version != period.version:
        raise Conflict(
            f"Somebody changed this period since you opened it: it is now {period}. Look at it as "
            "it is now, and then save again."
        )
    return period


def _save(period: PlannedPeriod) -> None:
    try:
        period.full_clean()
    except ValidationError as error:
        found = {
            "" if name == "__all__" else name: " ".join(messages)
            for name, messages in error.message_dict.items()
        }
        general = found.pop("", "")
        message = general or "; ".join(found.values())
        raise InvalidInput(message, fields=found) from error
    period.save()
