"""Instruments of a project: lists and one instrument."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.fields.files import FieldFile
from django.db.models.functions import Coalesce

from balancing.airflow.models import FlowTest, Instrument
from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope

INSTRUMENT_SORTS: Mapping[str, str] = {
    "name": "name",
    "kind": "kind",
    "serial": "serial",
    "calibrated": "calibrated_date",
    "due": "due_date",
}
_COLUMNS = (
    "id",
    "kind",
    "name",
    "serial",
    "accuracy_fraction",
    "accuracy_floor_si",
    "minimum_m3_s",
    "calibrated_date",
    "due_date",
    "certificate",
    "archived_at",
    "version",
)
DUE_SOON_DAYS = 30
"""A month before it is due there is still time to send an instrument away."""


def list_instruments(
    scope: Scope,
    *,
    text: str = "",
    kind: str = "",
    archived: bool = False,
    sort: str = "name",
    offset: int = 0,
    limit: int | None = None,
) -> list[dict[str, Any]]:
    """Read instruments as plain values with the number of tests made with each."""
    key = INSTRUMENT_SORTS[sort.removeprefix("-")]
    order = F(key).desc(nulls_last=True) if sort.startswith("-") else F(key).asc(nulls_last=True)
    rows = (
        _matching(scope, text=text, kind=kind, archived=archived)
        .annotate(tests=Coalesce(Subquery(_tests_made()), 0))
        .order_by(order, "name", "id")
        .values(*_COLUMNS, "tests")
    )
    return list(rows[offset:] if limit is None else rows[offset : offset + limit])


def count_instruments(
    scope: Scope, *, text: str = "", kind: str = "", archived: bool = False
) -> int:
    """Count the instruments that match."""
    return _matching(scope, text=text, kind=kind, archived=archived).count()


def _matching(scope: Scope, *, text: str, kind: str, archived: bool) -> QuerySet[Instrument]:
    rows = Instrument.objects.filter(project_id=scope.project.id, archived_at__isnull=not archived)
    if text:
        rows = rows.filter(Q(name__icontains=text) | Q(serial__icontains=text))
    return rows.filter(kind=kind) if kind else rows


def _tests_made() -> Any:
    return (
        FlowTest.objects.filter(instrument_id=OuterRef("pk"))
        .order_by()
        .values("instrument_id")
        .annotate(number=Count("id"))
        .values("number")
    )


def instrument_row(scope: Scope, instrument_id: int) -> dict[str, Any]:
    """Read one instrument; NotFound when it is not in the project."""
    row: dict[str, Any] | None = (
        Instrument.objects.filter(project_id=scope.project.id, id=instrument_id)
        .values(*_COLUMNS)
        .first()
    )
    if row is None:
        raise NotFound("There is no such instrument in this project.")
    return row


def instrument_choices(scope: Scope, *, with_id: int | None = None) -> list[tuple[int, str]]:
    """Instruments in use, and the one already chosen, by id with name and serial number."""
    rows = (
        Instrument.objects.filter(project_id=scope.project.id)
        .filter(Q(archived_at=None) | Q(id=with_id))
        .order_by("name", "id")
        .values_list("id", "name", "serial")
    )
    return [(key, f"{name} · {serial}") for key, name, serial in rows]


def calibration_state(row: Mapping[str, Any], *, on: date) -> tuple[str, str]:
    """Mark and word of an instrument's calibration on a day."""
    due: date | None = row["due_date"]
    if row["calibrated_date"] is None or due is None:
        return "look", "not recorded"
    if due < on:
        return "hold", f"overdue by {_days((on - due).days)}"
    if (due - on).days <= DUE_SOON_DAYS:
        return "look", f"due in {_days((due - on).days)}"
    return "done", "in date"


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


def certificate_file(scope: Scope, instrument_id: int) -> FieldFile:
    """Give the stored certificate; NotFound when there is none."""
    found = Instrument.objects.filter(project_id=scope.project.id, id=instrument_id).first()
    if found is None or not found.certificate:
        raise NotFound("There is no certificate of this instrument.")
    return found.certificate


def last_used(scope: Scope) -> int | None:
    """Instrument of the person's own last test, while it is in use: the likely one today."""
    found: int | None = (
        FlowTest.objects.filter(
            project_id=scope.project.id,
            technician_id=scope.person.id,
            instrument__archived_at=None,
            instrument__isnull=False,
        )
        .order_by("-created_at", "-id")
        .values_list("instrument_id", flat=True)
        .first()
    )
    return found
