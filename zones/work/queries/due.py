"""Steps that wait for a person because they are due, for the person's home."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.db import connection
from django.urls import reverse
from django.utils import timezone

from projectsite.accounts.access import scope_by_id
from projectsite.core import evidence
from projectsite.core.scope import Person
from projectsite.core.waiting import WaitingItem
from zones.work.domain.planning import monday_of

_DUE = """
SELECT p.id, p.key, p.time_zone, a.due_date, s.key, a.unit_id
FROM work_assignment a
JOIN work_step s ON s.id = a.step_id AND s.archived_at IS NULL
JOIN accounts_project p ON p.id = a.project_id
JOIN accounts_membership m ON m.project_id = p.id AND m.user_id = a.person_id
LEFT JOIN inventory_terminalunit u ON u.id = a.unit_id
WHERE a.person_id = %s AND a.ended_at IS NULL AND a.due_date <= %s
    AND (a.unit_id IS NULL OR u.archived_at IS NULL)
    AND NOT EXISTS (
        SELECT 1 FROM work_stepmark k
        WHERE k.step_id = a.step_id AND k.state IN ('done', 'not-applicable')
            AND (k.unit_id = a.unit_id OR k.air_handler_id = a.air_handler_id
                OR k.trunk_id = a.trunk_id OR k.transformer_id = a.transformer_id)
    )
ORDER BY a.due_date, a.id
"""
_DAYS_AHEAD = 8
"""Every day of this week, wherever on earth the project is."""


def due(person: Person) -> list[WaitingItem]:
    """Steps that the person promised for this week or earlier and that are not done.

    Steps that the record completes are asked of the record, in a fixed number of queries for
    each project in which such a step is due.
    """
    # The registry hands no time over: this is the edge at which the clock is read.
    now = timezone.now()
    with connection.cursor() as cursor:
        cursor.execute(_DUE, [person.id, now.date() + timedelta(days=_DAYS_AHEAD)])
        rows = cursor.fetchall()
    found: Counter[str] = Counter()
    by_record: dict[tuple[int, str], list[tuple[str, int]]] = {}
    for project_id, key, zone, day, step, unit_id in rows:
        today = now.astimezone(ZoneInfo(zone)).date()
        if day > monday_of(today) + timedelta(days=6):
            continue
        found[key] += 1
        if step in evidence.decided_steps() and unit_id is not None:
            by_record.setdefault((project_id, key), []).append((step, unit_id))
    for (project_id, key), cells in by_record.items():
        scope = scope_by_id(person.id, project_id)
        proofs = evidence.collect(scope, sorted({unit_id for _, unit_id in cells}))
        proven = {(proof.step, proof.unit_id) for proof in proofs if proof.holds}
        found[key] -= sum(cell in proven for cell in cells)
    return [_item(key, count, person) for key, count in sorted(found.items())]


def _item(key: str, count: int, person: Person) -> WaitingItem:
    noun = "step" if count == 1 else "steps"
    query = urlencode({"person": person.id, "weeks": 1})
    url = f"{reverse('work:look-ahead', args=[key])}?{query}"
    return WaitingItem(key, f"{noun} of yours due this week or overdue", url, count)
