"""What every operation on a flow test begins with: the locked row, its state, its version."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import models

from balancing.airflow.models import FlowPoint, FlowTest, FlowTestState
from projectsite.core.errors import Conflict, NotFound
from projectsite.core.numeric import same
from projectsite.core.scope import Scope
from projectsite.core.units import Entered

WRITABLE = (FlowTestState.OPEN, FlowTestState.RETURNED)
"""States in which readings may be entered."""

_WHY_NOT = {
    FlowTestState.SUBMITTED: "It is handed in. Take it back first, or let the office return it.",
    FlowTestState.ACCEPTED: "It is accepted and stays as it is. Begin a new test to replace it.",
    FlowTestState.SUPERSEDED: "A later test has taken its place; it stays as it is.",
    FlowTestState.OPEN: "It has not been handed in.",
    FlowTestState.RETURNED: "It has been returned to the balancer.",
}


def locked_test(
    scope: Scope,
    test_id: int,
    *,
    states: Iterable[str] = WRITABLE,
    version: int | None = None,
) -> FlowTest:
    """Lock a test of the project and check its state and version.

    Raises
    ------
    NotFound
        The test is not in this project.
    Conflict
        It is in another state, or somebody changed it since ``version`` was read.
    """
    test = (
        FlowTest.objects.select_for_update()
        .filter(project_id=scope.project.id, id=test_id)
        .order_by("id")
        .first()
    )
    if test is None:
        raise NotFound("There is no such flow test in this project.")
    if test.state not in tuple(states):
        raise Conflict(f"Flow test {test.number} can't be changed so. {_WHY_NOT[_state(test)]}")
    if version is not None and version != test.version:
        raise Conflict(
            "Somebody changed this test since you opened it. Look at it as it is now, and then "
            "decide again."
        )
    return test


def _state(test: FlowTest) -> FlowTestState:
    return FlowTestState(test.state)


def locked_point(scope: Scope, point_id: int, *, test_id: int | None = None) -> FlowPoint:
    """Lock the test of a point, which must be writable, and give the point.

    The test is locked first, always, so that two operations never wait for each other.
    """
    wanted = FlowPoint.objects.filter(project_id=scope.project.id, id=point_id)
    if test_id is not None:
        wanted = wanted.filter(test_id=test_id)
    found = wanted.values_list("test_id", flat=True).first()
    if found is None:
        raise NotFound("There is no such point in this flow test.")
    locked_test(scope, found)
    return wanted.select_for_update().get()


def put(record: models.Model, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Set fields, quantities with their text as entered, and give what the values were before.

    The record needs an ``entered`` field when a change is an ``Entered``.
    """
    before: dict[str, Any] = {}
    entered: dict[str, str] = dict(getattr(record, "entered", {}))
    for name, given in changes.items():
        old = getattr(record, name)
        value = given.value if isinstance(given, Entered) else given
        if isinstance(given, Entered):
            if given.text and not same(old, value):
                entered[name] = given.text
        elif value is None:
            entered.pop(name, None)
        if old != value:
            before[name] = old
            setattr(record, name, value)
    if hasattr(record, "entered"):
        record.entered = entered
    return before
