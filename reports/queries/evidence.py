"""Issued air balance documents as proof that a unit's documents are issued."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import Max
from django.urls import reverse

from balancing.airflow.queries import unit_airflow
from projectsite.core.evidence import Proof
from projectsite.core.scope import Scope
from reports.models import Document, DocumentKind, DocumentState
from zones.inventory.queries import unit_handlers

STEP = "documents-issued"
"""The step that an issued sheet or report proves."""


def proofs(scope: Scope, unit_ids: Sequence[int]) -> list[Proof]:
    """Issued air balance sheets and reports as proof, in a fixed number of queries.

    A proof no longer holds when another test was accepted, or the schedule changed, since the
    document was issued.
    """
    issued = _issued(scope, unit_ids)
    if not issued:
        return []
    airflow = unit_airflow(scope, list(issued))
    found = []
    for unit_id, at in issued.items():
        standing = airflow[unit_id]
        is_older = standing.accepted_at is not None and standing.accepted_at > at
        text = "An air balance document with this unit is issued."
        if is_older:
            text = "Another flow test was accepted after the document was issued."
        elif standing.is_out_of_date:
            text = "The schedule changed after the document was issued."
        found.append(
            Proof(
                step=STEP,
                unit_id=unit_id,
                holds=not is_older and not standing.is_out_of_date,
                text=text,
                at=at,
                url=reverse("reports:unit-documents", args=[scope.project.key, unit_id]),
            )
        )
    return found


def _issued(scope: Scope, unit_ids: Sequence[int]) -> dict[int, datetime]:
    """When a sheet or report that holds the unit was issued last."""
    rows = (
        Document.objects.filter(
            project_id=scope.project.id,
            state=DocumentState.ISSUED,
            kind__in=[DocumentKind.UNIT_BALANCE, DocumentKind.BALANCE_REPORT],
            options={},
        )
        .order_by("kind", "unit_id", "air_handler_id")
        .values_list("unit_id", "air_handler_id")
        .annotate(at=Max("issued_at"))
    )
    of_unit: dict[int | None, datetime] = {}
    of_handler: dict[int | None, datetime] = {}
    for unit_id, handler_id, at in rows:
        if unit_id is not None:
            of_unit[unit_id] = at
        else:
            of_handler[handler_id] = at
    if not of_unit and not of_handler:
        return {}
    found = {}
    for unit_id, handler_id in unit_handlers(scope, unit_ids).items():
        times = [
            at
            for at in (of_unit.get(unit_id), of_handler.get(None), of_handler.get(handler_id or -1))
            if at is not None
        ]
        if times:
            found[unit_id] = max(times)
    return found
