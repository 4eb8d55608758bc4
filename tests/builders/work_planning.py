"""Promises and planned periods for tests."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from projectsite.accounts.models import Project, User
from tests.builders.accounts import AT
from zones.inventory.models import TerminalUnit
from zones.work.models import Assignment, PlannedPeriod, Step


def promise(unit: TerminalUnit, step: Step, by: User | None = None, **overrides: Any) -> Assignment:
    """Store a promise of a step of a unit for two days after ``AT``."""
    values: dict[str, Any] = {
        "person": by,
        "due_date": AT.date() + timedelta(days=2),
        "made_at": AT,
    }
    values |= overrides
    if "made_by" not in values:
        values["made_by"] = by or User.objects.get(username="office")
    return Assignment.objects.create(project_id=unit.project_id, unit=unit, step=step, **values)


def make_period(project: Project, floor: str = "", **overrides: Any) -> PlannedPeriod:
    """Store a period of the mechanical trade in December 2026."""
    values: dict[str, Any] = {
        "trade": "mechanical",
        "start_date": date(2026, 12, 1),
        "finish_date": date(2026, 12, 18),
    }
    return PlannedPeriod.objects.create(project=project, floor=floor, **(values | overrides))
