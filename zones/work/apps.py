"""The work of all trades: steps, checkout, punch list, files, labels, plans, progress."""

from __future__ import annotations

from django.apps import AppConfig


class WorkConfig(AppConfig):
    """Steps and what proves them, checkout, punch list."""

    name = "zones.work"
    label = "work"

    def ready(self) -> None:
        """Register findings, proofs, waiting work and panels."""
        from projectsite.core import beginnings  # noqa: PLC0415  # apps load before models
        from zones.work.operations import catalogue  # noqa: PLC0415  # apps load before models

        beginnings.register("work", catalogue.begin_catalogue)
