"""Kernel app: no tables."""

from __future__ import annotations

from django.apps import AppConfig


class CoreConfig(AppConfig):
    """Units, registries, jobs, workbooks and the like."""

    name = "projectsite.core"
    label = "core"

    def ready(self) -> None:
        """Register system checks and build the unit registry before any request thread asks."""
        from projectsite.core import checks, units  # noqa: PLC0415  # apps are loading until now

        checks.register_all()
        units.factors()
