"""The work of all trades: steps, checkout, punch list, files, labels, plans, progress."""

from __future__ import annotations

from django.apps import AppConfig


class WorkConfig(AppConfig):
    """Steps and what proves them, checkout, punch list."""

    name = "zones.work"
    label = "work"

    def ready(self) -> None:
        """Register findings, proofs, waiting work and panels."""
        from projectsite.core import (  # noqa: PLC0415  # apps load before models
            beginnings,
            findings,
            panels,
            waiting,
        )
        from zones.work.domain import rules  # noqa: PLC0415  # apps load before models
        from zones.work.operations import catalogue  # noqa: PLC0415  # apps load before models
        from zones.work.queries import due  # noqa: PLC0415  # apps load before models
        from zones.work.queries import findings as found_work  # noqa: PLC0415  # apps load before models
        from zones.work.queries import waiting as waiting_work  # noqa: PLC0415  # apps load before models

        beginnings.register("work", catalogue.begin_catalogue)
        findings.register("work", found_work.findings, rules.RULES)
        waiting.register("work-steps", waiting_work.ready_steps)
        waiting.register("work-due", due.due)
        panels.register(
            "unit", panels.Panel("Steps", "work:unit-steps-panel", is_wide=True, order=10)
        )
        panels.register(
            "air-handler", panels.Panel("Steps", "work:air-handler-steps-panel", order=10)
        )
        panels.register("project", panels.Panel("Work", "work:project-work-panel", order=10))
        panels.register(
            "project", panels.Panel("Progress", "work:project-progress-panel", order=12)
        )
