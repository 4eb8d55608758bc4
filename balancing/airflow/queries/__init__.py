"""Reading flow tests and instruments: lists, details, snapshots, findings."""

from __future__ import annotations

from balancing.airflow.queries.snapshots import snapshots, test_snapshot
from balancing.airflow.queries.standing import (
    UnitAirflow,
    findings,
    findings_of_test,
    proofs,
    reopened,
    unit_airflow,
    waiting,
)
from balancing.airflow.queries.tests import tests_of_unit, unit_statuses

__all__ = [
    "UnitAirflow",
    "findings",
    "findings_of_test",
    "proofs",
    "reopened",
    "snapshots",
    "test_snapshot",
    "tests_of_unit",
    "unit_airflow",
    "unit_statuses",
    "waiting",
]
