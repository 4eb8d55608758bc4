"""Reports: documents of a project, drafted and issued."""

from __future__ import annotations

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    """The only reader of all concerns."""

    name = "reports"
    label = "reports"

    def ready(self) -> None:
        """Put the documents of a unit on its page."""
        from projectsite.core import panels  # noqa: PLC0415  # registers once the apps are ready

        panels.register(
            "unit",
            panels.Panel(
                "Documents", "reports:unit-documents", action="download-issued", order=900
            ),
        )
