"""What people type into the inventory."""

from __future__ import annotations

from zones.inventory.forms.records import RecordForm

__all__ = ["RecordForm"]
