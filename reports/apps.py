"""Reports: documents of a project, drafted and issued."""

from __future__ import annotations

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    """The only reader of all concerns."""

    name = "reports"
    label = "reports"

    def ready(self) -> None:
        """Put documents on the pages of the project, its air handlers and its units."""
        from projectsite.core import (  # noqa: PLC0415  # registers once the apps are ready
            evidence,
            panels,
        )
        from reports.queries.evidence import proofs  # noqa: PLC0415  # apps load before models

        evidence.register("reports", proofs)

        panels.register(
            "unit",
            panels.Panel(
                "Documents", "reports:unit-documents", action="download-issued", order=900
            ),
        )
        panels.register(
            "air-handler",
            panels.Panel(
                "Documents",
                "reports:air-handler-documents",
                action="download-issued",
                is_wide=True,
                order=900,
            ),
        )
        panels.register(
            "project",
            panels.Panel("Documents", "reports:project-panel", action="download-issued", order=900),
        )
