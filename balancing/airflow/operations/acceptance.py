"""The way of a test: handed in, taken back, returned, accepted, superseded."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime

from django.db import transaction

from balancing.airflow.domain.completeness import missing
from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.models import FlowTest, FlowTestState
from balancing.airflow.operations.locking import locked_test
from balancing.airflow.queries.snapshots import test_snapshot
from balancing.airflow.queries.standing import findings_of_test
from projectsite.accounts.access import Action
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.findings import Severity
from projectsite.core.scope import Scope


def what_is_missing(scope: Scope, test_id: int) -> list[str]:
    """What a test lacks before it can be handed in, in plain words."""
    return list(missing(evaluate(test_snapshot(scope, test_id), scope.project.tolerances)))


@transaction.atomic
def submit(scope: Scope, *, test_id: int, version: int, at: datetime) -> int:
    """Hand in a test; it then waits for the office and keeps the instrument as it is now.

    Raises
    ------
    InvalidInput
        Something is missing; the message lists it.
    """
    scope.require(Action.ENTER_READINGS)
    test = locked_test(scope, test_id, version=version)
    snapshot = test_snapshot(scope, test_id)
    lacking = list(missing(evaluate(snapshot, scope.project.tolerances)))
    if lacking:
        raise InvalidInput(f"This can't be handed in yet. Missing: {'; '.join(lacking)}.")
    kept = None
    if snapshot.instrument is not None:
        kept = asdict(snapshot.instrument)
        for name in ("calibrated_on", "due_on"):
            kept[name] = kept[name].isoformat() if kept[name] else None
    test.design = {**test.design, "instrument": kept}
    test.state, test.submitted_at = FlowTestState.SUBMITTED, at
    test.version += 1
    test.save(update_fields=["design", "state", "submitted_at", "version"])
    return test.version


@transaction.atomic
def withdraw(scope: Scope, *, test_id: int, version: int) -> int:
    """Take a handed-in test back to go on with it."""
    scope.require(Action.ENTER_READINGS)
    test = locked_test(scope, test_id, states=[FlowTestState.SUBMITTED], version=version)
    _reopen(test, FlowTestState.OPEN)
    test.save(update_fields=["design", "state", "submitted_at", "version"])
    return test.version


@transaction.atomic
def return_to_balancer(scope: Scope, *, test_id: int, version: int, note: str, at: datetime) -> int:
    """Return a handed-in test with what is to be done."""
    scope.require(Action.ACCEPT_TEST)
    test = locked_test(scope, test_id, states=[FlowTestState.SUBMITTED], version=version)
    if not note.strip():
        message = "Say what the balancer is to do."
        raise InvalidInput(message, fields={"note": message})
    _reopen(test, FlowTestState.RETURNED)
    test.decided_by_id, test.decided_at, test.decision_note = scope.person.id, at, note.strip()
    test.save()
    return test.version


def _reopen(test: FlowTest, state: FlowTestState) -> None:
    # An open test follows its instrument again.
    test.design = {name: kept for name, kept in test.design.items() if name != "instrument"}
    test.state, test.submitted_at = state, None
    test.version += 1


@transaction.atomic
def accept(scope: Scope, *, test_id: int, version: int, at: datetime, note: str = "") -> int:
    """Accept a handed-in test; the one that was accepted before is superseded.

    Raises
    ------
    InvalidInput
        Something is missing, or findings that hold or disagree are accepted without a reason.
    """
    scope.require(Action.ACCEPT_TEST)
    unit_id = FlowTest.objects.filter(project_id=scope.project.id, id=test_id).values("unit_id")
    # Both tests of the unit are locked at once, in the order of their keys, so that two
    # acceptances wait for each other and never in a ring.
    locked = list(
        FlowTest.objects.select_for_update()
        .filter(project_id=scope.project.id, unit_id__in=unit_id)
        .exclude(state=FlowTestState.SUPERSEDED)
        .order_by("id")
    )
    test = next((found for found in locked if found.pk == test_id), None)
    if test is None or test.state != FlowTestState.SUBMITTED or test.version != version:
        _refuse(scope, test_id, version)
    assert test is not None
    snapshot = test_snapshot(scope, test_id)
    lacking = list(missing(evaluate(snapshot, scope.project.tolerances)))
    if lacking:
        raise InvalidInput(f"This can't be accepted. Missing: {'; '.join(lacking)}.")
    grave = [
        found for found in findings_of_test(scope, snapshot) if found.severity >= Severity.DISAGREES
    ]
    if grave and not note.strip():
        message = (
            f"{len(grave)} finding{'s' if len(grave) > 1 else ''} disagree or hold turnover. "
            "Give the reason why the test is accepted with them, or return it."
        )
        raise InvalidInput(message, fields={"note": message})
    for other in locked:
        if other.state == FlowTestState.ACCEPTED:
            other.state = FlowTestState.SUPERSEDED
            other.version += 1
            other.save(update_fields=["state", "version"])
    test.state = FlowTestState.ACCEPTED
    test.decided_by_id, test.decided_at, test.decision_note = scope.person.id, at, note.strip()
    test.version += 1
    test.save()
    return test.version


def _refuse(scope: Scope, test_id: int, version: int) -> None:
    """Tell why a test can't be accepted: gone, in another state, or changed."""
    locked_test(scope, test_id, states=[FlowTestState.SUBMITTED], version=version)
    raise NotFound("There is no such flow test in this project.")
