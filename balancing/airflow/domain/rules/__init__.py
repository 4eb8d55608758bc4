"""Airflow rules: from snapshots and evaluated tests to findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.domain.results import TestResult
from balancing.airflow.domain.rules.readings import check_readings
from balancing.airflow.domain.rules.scheduled import check_progress, check_unit
from balancing.airflow.domain.rules.sensors import check_sensor
from balancing.airflow.domain.rules.table import RULES, Spoken, Text
from balancing.airflow.domain.types import PRACTICE, FlowTestSnapshot, Practice, UnitSnapshot
from projectsite.core.findings import Finding
from projectsite.core.scope import Tolerances

__all__ = ["RULES", "Text", "check", "check_progress", "check_test", "check_unit"]


def check_test(
    result: TestResult, text: Text, *, practice: Practice = PRACTICE
) -> Iterator[Finding]:
    """Yield what an evaluated test says; ``text`` prints SI values in the reader's units."""
    said = Spoken(text)
    yield from check_sensor(result, said, practice)
    yield from check_readings(result, said, practice)


def check(
    unit: UnitSnapshot,
    tests: Sequence[FlowTestSnapshot],
    tolerances: Tolerances,
    text: Text,
    *,
    practice: Practice = PRACTICE,
) -> Iterator[Finding]:
    """Yield everything that airflow finds about one unit.

    Parameters
    ----------
    unit
        The unit as scheduled now.
    tests
        Its tests, oldest first; superseded ones are left out.
    tolerances
        Limits of the project.
    text
        Prints an SI value of a kind in the reader's units.
    practice
        Limits of good practice.
    """
    standing = tuple(test for test in tests if test.state != "superseded")
    accepted = next((test for test in standing if test.state == "accepted"), None)
    k = (
        accepted.k_as_left_m3_s_sqrt_pa or accepted.k_as_found_m3_s_sqrt_pa
        if accepted is not None
        else None
    )
    yield from check_unit(unit, tolerances, text, k_m3_s_sqrt_pa=k, practice=practice)
    yield from check_progress(unit, standing, text)
    for test in standing:
        yield from check_test(evaluate(test, tolerances, practice), text, practice=practice)
