"""What airflow finds, proves, reopens, and has waiting for people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Q
from django.urls import reverse

from balancing.airflow.domain import rules
from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.domain.snapshots import unit_snapshot
from balancing.airflow.domain.types import FlowTestSnapshot
from balancing.airflow.models import FlowTest, FlowTestState
from balancing.airflow.queries.snapshots import snapshots
from balancing.airflow.queries.tests import unit_statuses
from projectsite.accounts.queries import projects_of
from projectsite.core.evidence import Proof
from projectsite.core.findings import Finding
from projectsite.core.reading import few
from projectsite.core.reopens import Changes, Reopened
from projectsite.core.scope import Person, Scope
from projectsite.core.units import show
from projectsite.core.waiting import WaitingItem
from zones.inventory.domain.types import UnitFacts
from zones.inventory.queries import unit_facts

STEP = "airflow-verified"
"""The step that an accepted test proves."""

OUT_OF_DATE = "airflow.tested-before-schedule-change"
_PROVEN = {
    "cooling_max_m3_s": "cooling maximum",
    "cooling_min_m3_s": "cooling minimum",
    "heating_max_m3_s": "heating maximum",
    "inlet": "inlet",
}
"""Fields of a unit whose change takes the proof away."""


def text_of(scope: Scope) -> rules.Text:
    """Printer of SI values in the reader's units."""

    def text(value: float, kind: str) -> str:
        return show(value, kind, scope.system, with_unit=True)

    return text


def findings(scope: Scope, unit_ids: Sequence[int]) -> list[Finding]:
    """What airflow finds about these units."""
    standing = snapshots(scope, unit_ids)
    text = text_of(scope)
    return [
        found
        for facts in unit_facts(scope, unit_ids)
        if not facts.is_archived
        for found in rules.check(
            unit_snapshot(facts), standing.get(facts.id, ()), scope.project.tolerances, text
        )
    ]


def findings_of_test(
    scope: Scope, test: FlowTestSnapshot, facts: UnitFacts | None = None
) -> list[Finding]:
    """What one test says, and what its unit's schedule says about reading it; gravest first.

    With ``facts`` it is also said whether the schedule has changed since the test was begun.
    """
    text = text_of(scope)
    limits = test.limits or scope.project.tolerances
    k = test.k_as_left_m3_s_sqrt_pa or test.k_as_found_m3_s_sqrt_pa
    found = [
        *rules.check_unit(test.design, limits, text, k_m3_s_sqrt_pa=k),
        *rules.check_test(evaluate(test, scope.project.tolerances), text),
    ]
    if facts is not None:
        found += outdated(scope, test, facts)
    return sorted(
        found, key=lambda finding: (-finding.severity, finding.subject.label, finding.code)
    )


def outdated(scope: Scope, test: FlowTestSnapshot, facts: UnitFacts) -> list[Finding]:
    """What the schedule has changed since the test was begun; empty when nothing."""
    told = rules.check_progress(unit_snapshot(facts), (test,), text_of(scope))
    return [finding for finding in told if finding.code == OUT_OF_DATE]


@dataclass(frozen=True, slots=True)
class UnitAirflow:
    """How the airflow of a unit stands, for lists.

    ``state`` is that of its last test that counts; "" when it has none.
    """

    unit_id: int
    state: str
    test_id: int | None
    number: int | None
    accepted_at: datetime | None
    is_out_of_date: bool


def unit_airflow(scope: Scope, unit_ids: Sequence[int]) -> dict[int, UnitAirflow]:
    """How the airflow of these units stands, in a fixed number of queries."""
    statuses = unit_statuses(scope, unit_ids)
    changed = set(_outdated_units(scope, unit_ids))
    found = {}
    for unit_id in unit_ids:
        status = statuses.get(unit_id)
        found[unit_id] = UnitAirflow(
            unit_id=unit_id,
            state=status.last_state if status else "",
            test_id=status.last_test_id if status else None,
            number=status.last_number if status else None,
            accepted_at=status.accepted_at if status else None,
            is_out_of_date=unit_id in changed,
        )
    return found


def _outdated_units(scope: Scope, unit_ids: Sequence[int]) -> Iterator[int]:
    """Units whose accepted test was made for another schedule."""
    accepted = snapshots(scope, unit_ids, states=[FlowTestState.ACCEPTED], with_readings=False)
    for facts in unit_facts(scope, list(accepted)):
        if outdated(scope, accepted[facts.id][0], facts):
            yield facts.id


def with_schedule(scope: Scope, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Add to listed tests whether the schedule has changed since: ``is_out_of_date``."""
    accepted = [row["unit_id"] for row in rows if row["state"] == FlowTestState.ACCEPTED]
    changed = set(_outdated_units(scope, accepted)) if accepted else set()
    return [{**row, "is_out_of_date": row["unit_id"] in changed} for row in rows]


def proofs(scope: Scope, unit_ids: Sequence[int]) -> list[Proof]:
    """Accepted tests as proof that the airflow is verified.

    A proof no longer holds when the schedule has changed since.
    """
    wanted = set(unit_ids)
    accepted = {
        unit_id: status
        for unit_id, status in unit_statuses(scope, few(unit_ids)).items()
        if status.accepted_test_id is not None and unit_id in wanted
    }
    changed = set(_outdated_units(scope, list(accepted)))
    found = []
    for unit_id, status in accepted.items():
        holds = unit_id not in changed
        found.append(
            Proof(
                step=STEP,
                unit_id=unit_id,
                holds=holds,
                text="The flow test is accepted."
                if holds
                else "The schedule changed after the flow test was accepted.",
                at=status.accepted_at,
                url=reverse("airflow:test", args=[scope.project.key, status.accepted_test_id]),
            )
        )
    return found


def reopened(scope: Scope, changes: Changes) -> list[Reopened]:
    """Tests that a change of the schedule puts out of date."""
    touched = {unit_id: [n for n in fields if n in _PROVEN] for unit_id, fields in changes.items()}
    statuses = unit_statuses(scope, [unit_id for unit_id, names in touched.items() if names])
    found = []
    for unit_id, status in statuses.items():
        names = " and ".join(_PROVEN[name] for name in touched[unit_id])
        was = "accepted" if status.accepted_test_id else "begun"
        found.append(
            Reopened(
                unit_id,
                f"Flow test {status.last_number} was {was} for another {names}; the unit has to "
                "be tested again.",
                reverse("airflow:test", args=[scope.project.key, status.last_test_id]),
            )
        )
    return found


def _tests(count: int) -> str:
    return "test" if count == 1 else "tests"


def waiting(person: Person) -> list[WaitingItem]:
    """Tests to accept for the office, returned tests for whoever took the readings."""
    roles = {project.key: project.role for project in projects_of(person)}
    rows = (
        FlowTest.objects.filter(project__key__in=list(roles))
        .order_by("project__key")
        .values_list("project__key")
        .annotate(
            submitted=Count("id", filter=Q(state=FlowTestState.SUBMITTED)),
            returned=Count("id", filter=Q(state=FlowTestState.RETURNED, technician_id=person.id)),
        )
    )
    items = []
    for key, submitted, returned in rows:
        if roles[key] == "office":
            url = reverse("airflow:acceptance", args=[key])
            items.append(WaitingItem(key, f"flow {_tests(submitted)} to accept", url, submitted))
        url = reverse("airflow:tests", args=[key]) + "?state=returned"
        items.append(WaitingItem(key, f"returned flow {_tests(returned)} to mend", url, returned))
    return items
