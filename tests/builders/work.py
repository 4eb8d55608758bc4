"""Steps, marks and punch items for tests."""

from __future__ import annotations

from typing import Any

from projectsite.accounts.models import Project, User
from tests.builders.accounts import AT
from zones.inventory.models import TerminalUnit
from zones.work.domain.catalogue import STARTER_STEPS
from zones.work.models import Step, StepBefore, StepMark


def make_step(project: Project, key: str = "box-hung", **overrides: Any) -> Step:
    """Store a step of the mechanical trade, an hour long."""
    values: dict[str, Any] = {
        "name": key.replace("-", " ").capitalize(),
        "trade": "mechanical",
        "position": Step.objects.filter(project=project).count() + 1,
        "budget_h": 1.0,
    }
    before = overrides.pop("before", ())
    step = Step.objects.create(project=project, key=key, **(values | overrides))
    for earlier in before:
        StepBefore.objects.create(project=project, step=step, before=earlier)
    return step


def make_catalogue(project: Project) -> dict[str, Step]:
    """Store the steps that a project begins with, by key."""
    made: dict[str, Step] = {}
    for starter in STARTER_STEPS:
        made[starter.key] = make_step(
            project,
            starter.key,
            name=starter.name,
            trade=starter.trade,
            per=starter.per,
            budget_h=starter.budget_h,
            heats=list(starter.heats),
            fans=list(starter.fans),
            needs=list(starter.needs),
            before=[made[key] for key in starter.before],
        )
    return made


def mark(
    unit: TerminalUnit, step: Step, by: User, state: str = "done", **overrides: Any
) -> StepMark:
    """Store what a person said of a step of a unit."""
    values: dict[str, Any] = {"state": state, "by": by, "at": AT}
    return StepMark.objects.create(
        project_id=unit.project_id, unit=unit, step=step, **(values | overrides)
    )
