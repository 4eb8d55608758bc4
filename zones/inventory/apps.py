"""Inventory: air handlers, zones, terminal units, outlets, library, schedule imports."""

from __future__ import annotations

from django.apps import AppConfig


class InventoryConfig(AppConfig):
    """Zone inventory."""

    name = "zones.inventory"
    label = "inventory"
