"""Inventory: air handlers, zones, terminal units, outlets, library, schedule imports."""

from __future__ import annotations

from django.apps import AppConfig


class InventoryConfig(AppConfig):
    """Zone inventory."""

    name = "zones.inventory"
    label = "inventory"

    def ready(self) -> None:
        """Register what the inventory finds about units."""
        from projectsite.core import findings, groups  # noqa: PLC0415  # apps load before models
        from zones.inventory import queries  # noqa: PLC0415  # apps load before models
        from zones.inventory.domain import rules  # noqa: PLC0415  # apps load before models

        findings.register("inventory", queries.findings, rules.RULES)
        groups.register("air-handler", queries.by_air_handler)
