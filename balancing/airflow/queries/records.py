"""Who measured, with what, and who accepted: what documents say besides the figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from balancing.airflow.models import FlowPoint, FlowTest
from projectsite.core.scope import Scope


@dataclass(frozen=True, slots=True)
class TestRecord:
    """Names, words and dates of a test; texts are empty when there is nothing to say."""

    test_id: int
    technician: str
    entered_by: str
    decided_by: str
    decided_at: datetime | None
    note: str
    decision_note: str
    instrument_serial: str
    instrument_kind: str

    __test__ = False  # its name begins like a test's


def test_records(scope: Scope, test_ids: Sequence[int]) -> dict[int, TestRecord]:
    """Records of these tests of the project by id, in one query."""
    rows = FlowTest.objects.filter(project_id=scope.project.id, id__in=test_ids).select_related(
        "technician", "entered_by", "decided_by", "instrument"
    )
    return {
        row.pk: TestRecord(
            test_id=row.pk,
            technician=row.technician.full_name,
            entered_by=row.entered_by.full_name,
            decided_by=row.decided_by.full_name if row.decided_by else "",
            decided_at=row.decided_at,
            note=row.note,
            decision_note=row.decision_note,
            instrument_serial=row.instrument.serial if row.instrument else "",
            instrument_kind=row.instrument.get_kind_display() if row.instrument else "",
        )
        for row in rows
    }


def point_notes(scope: Scope, test_ids: Sequence[int]) -> dict[int, str]:
    """Notes of the points of these tests by point, where there are any, in one query."""
    rows = FlowPoint.objects.filter(project_id=scope.project.id, test_id__in=test_ids)
    return dict(rows.exclude(note="").values_list("id", "note"))
