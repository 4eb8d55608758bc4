"""What the tables of the work share: choices, subjects, history by statement."""

from __future__ import annotations

import pghistory
from django.db import models
from django.db.models import Q

PROJECT = "accounts.Project"
UNIT = "inventory.TerminalUnit"
AIR_HANDLER = "inventory.AirHandler"
OUTLET = "inventory.Outlet"


def values(choices: tuple[tuple[str, str], ...]) -> list[str]:
    """Give the stored values of a choice."""
    return [value for value, _ in choices]


def bulk_history() -> tuple[pghistory.Tracker, ...]:
    """Events by statement, for tables that are written hundreds of rows at a time."""
    return (
        pghistory.InsertEvent(level=pghistory.Statement),
        pghistory.UpdateEvent(level=pghistory.Statement),
        pghistory.DeleteEvent(level=pghistory.Statement),
    )


def exactly_one(*columns: str) -> Q:
    """Exactly one of these columns is filled."""
    found = Q()
    for filled in columns:
        found |= Q(**{f"{column}__isnull": column != filled for column in columns})
    return found


SUBJECTS = ("unit", "air_handler", "trunk_id", "transformer_id")
"""Columns of which a row fills one. Trunks and transformers have no tables here yet, so the
database keeps their numbers as they are given."""
SUBJECTS_WITH_OUTLET = ("unit", "outlet", "air_handler", "trunk_id", "transformer_id")
KINDS_OF_COLUMN = {
    "unit": "unit_id",
    "outlet": "outlet_id",
    "air-handler": "air_handler_id",
    "trunk": "trunk_id",
    "transformer": "transformer_id",
}
"""Column of each kind of subject."""


class OnSubject(models.Model):
    """A row about one terminal unit, air handler, trunk or control transformer."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    unit = models.ForeignKey(
        UNIT, on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    air_handler = models.ForeignKey(
        AIR_HANDLER, on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    trunk_id = models.BigIntegerField(null=True, blank=True)
    transformer_id = models.BigIntegerField(null=True, blank=True)

    class Meta:
        abstract = True
