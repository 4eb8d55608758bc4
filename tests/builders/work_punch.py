"""Punch items for tests."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from projectsite.core.scope import Scope
from tests.builders.accounts import AT
from zones.inventory.models import TerminalUnit
from zones.work.models import PunchItem
from zones.work.operations import punch


def make_punch_item(scope: Scope, unit: TerminalUnit, **overrides: Any) -> PunchItem:
    """Open an item that the mechanical trade owes, by the operation."""
    values: dict[str, Any] = {
        "kind": "unit",
        "subject_id": unit.pk,
        "trade": "mechanical",
        "text": "The branch damper is half shut.",
        "severity": "holds",
        "due_date": None,
        "person_id": None,
        "client_key": uuid4(),
        "at": AT,
    }
    return PunchItem.objects.get(pk=punch.open_item(scope, **(values | overrides)))
