"""The catalogue of a project."""

from __future__ import annotations

from projectsite.core.scope import Scope
from zones.work.domain.types import StepFacts
from zones.work.models import Step, StepBefore


def steps_of(scope: Scope) -> list[StepFacts]:
    """Steps in use, in their order, in two queries."""
    rows = (
        Step.objects.filter(project_id=scope.project.id, archived_at=None)
        .order_by("position", "id")
        .values_list(
            "id",
            "key",
            "name",
            "trade",
            "per",
            "position",
            "budget_h",
            "heats",
            "fans",
            "needs",
            "version",
        )
    )
    before: dict[int, list[int]] = {}
    pairs = StepBefore.objects.filter(
        project_id=scope.project.id, before__archived_at=None, step__archived_at=None
    ).order_by("step_id", "before__position", "before_id")
    for step_id, before_id in pairs.values_list("step_id", "before_id"):
        before.setdefault(step_id, []).append(before_id)
    return [
        StepFacts(
            id=row[0],
            key=row[1],
            name=row[2],
            trade=row[3],
            per=row[4],
            position=row[5],
            budget_h=row[6],
            heats=tuple(row[7]),
            fans=tuple(row[8]),
            needs=tuple(row[9]),
            before=tuple(before.get(row[0], ())),
            version=row[10],
        )
        for row in rows
    ]
