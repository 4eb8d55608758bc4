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
            evidence,
            findings,
            panels,
            reopens,
            waiting,
        )
        from zones.work.domain import punch_rules, rules  # noqa: PLC0415  # apps load before models
        from zones.work.operations import (  # noqa: PLC0415  # apps load before models
            catalogue,
            checkout_lists,
        )
        from zones.work.queries import (  # noqa: PLC0415  # apps load before models
            checkout_proofs,  # apps load before models
            due,
            punch_told,
        )
        from zones.work.queries import findings as found_work  # noqa: PLC0415  # apps load before models
        from zones.work.queries import waiting as waiting_work  # noqa: PLC0415  # apps load before models

        beginnings.register("work", catalogue.begin_catalogue)
        beginnings.register("work-checkout-lists", checkout_lists.begin_lists)
        evidence.register(
            "work-checkouts", checkout_proofs.proofs, decides=[checkout_proofs.CHECKED_OUT]
        )
        reopens.register("work-checkouts", checkout_proofs.reopened)
        findings.register("work", found_work.findings, rules.RULES)
        waiting.register("work-steps", waiting_work.ready_steps)
        waiting.register("work-due", due.due)
        findings.register("work-punch", punch_told.findings, punch_rules.RULES)
        evidence.register("work-punch", punch_told.proofs)
        waiting.register("work-punch", punch_told.waiting)
        panels.register("unit", panels.Panel("Checkout", "work:unit-checkout-panel", order=20))
        panels.register("unit", panels.Panel("Punch items", "work:unit-punch-panel", order=30))
        panels.register(
            "air-handler", panels.Panel("Punch items", "work:air-handler-punch-panel", order=30)
        )
        panels.register("project", panels.Panel("Punch list", "work:project-punch-panel", order=14))
        panels.register(
            "unit", panels.Panel("Steps", "work:unit-steps-panel", is_wide=True, order=10)
        )
        panels.register(
            "air-handler", panels.Panel("Steps", "work:air-handler-steps-panel", order=10)
        )
        panels.register(
            "unit",
            panels.Panel("Photos and files", "work:unit-files-panel", is_wide=True, order=60),
        )
        panels.register(
            "air-handler",
            panels.Panel("Photos and files", "work:air-handler-files-panel", order=60),
        )
        panels.register("project", panels.Panel("Work", "work:project-work-panel", order=10))
        panels.register(
            "project", panels.Panel("Progress", "work:project-progress-panel", order=12)
        )
