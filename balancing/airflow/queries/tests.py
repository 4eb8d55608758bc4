"""Flow tests: lists by state, one test, and how the units stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, F, Max, Q, QuerySet

from balancing.airflow.models import FlowPoint, FlowTest, FlowTestState, HoodReading
from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope

TEST_SORTS: Mapping[str, str] = {
    "tag": "unit__sort_key",
    "number": "number",
    "state": "state",
    "air_handler": "unit__air_handler__sort_key",
    "floor": "unit__floor",
    "instrument": "instrument__name",
    "technician": "technician__full_name",
    "tested": "tested_date",
    "handed_in": "submitted_at",
    "decided": "decided_at",
    "k_as_left": "k_as_left_m3_s_sqrt_pa",
}
"""What a list of tests can be ordered by, and the column that it means."""

_LISTED: Mapping[str, Any] = {
    "tag": F("unit__tag"),
    "location": F("unit__location"),
    "floor": F("unit__floor"),
    "air_handler": F("unit__air_handler__tag"),
    "instrument_name": F("instrument__name"),
    "technician_name": F("technician__full_name"),
    "entered_by_name": F("entered_by__full_name"),
    "decided_by_name": F("decided_by__full_name"),
}
_COLUMNS = (
    "id",
    "number",
    "state",
    "unit_id",
    "instrument_id",
    "technician_id",
    "entered_by_id",
    "tested_date",
    "k_as_found_m3_s_sqrt_pa",
    "k_as_left_m3_s_sqrt_pa",
    "k_method",
    "submitted_at",
    "decided_at",
    "decision_note",
    "created_at",
    "version",
)
_DETAIL = (
    *_COLUMNS,
    "client_key",
    "air_degc",
    "humidity_fraction",
    "elevation_m",
    "hood_reads_actual",
    "zero_reading_pa",
    "k_reason",
    "entered",
    "design",
    "note",
)


@dataclass(frozen=True, slots=True)
class TestFilter:
    """Which tests are wanted; an empty value leaves the filter out."""

    text: str = ""
    states: tuple[str, ...] = ()
    air_handler: int | None = None
    floor: str | None = None
    instrument: int | None = None
    technician: int | None = None
    unit: int | None = None


def _matching(scope: Scope, wanted: TestFilter) -> QuerySet[FlowTest]:
    tests = FlowTest.objects.filter(project_id=scope.project.id)
    if wanted.text:
        tests = tests.filter(
            Q(unit__tag__icontains=wanted.text)
            | Q(unit__location__icontains=wanted.text)
            | Q(instrument__name__icontains=wanted.text)
            | Q(technician__full_name__icontains=wanted.text)
        )
    plain = {
        "state__in": wanted.states or None,
        "unit__air_handler_id": wanted.air_handler,
        "unit__floor": wanted.floor,
        "instrument_id": wanted.instrument,
        "technician_id": wanted.technician,
        "unit_id": wanted.unit,
    }
    return tests.filter(**{key: value for key, value in plain.items() if value is not None})


def count_tests(scope: Scope, wanted: TestFilter) -> int:
    """Count the tests that match."""
    return _matching(scope, wanted).count()


def count_by_state(scope: Scope) -> dict[str, int]:
    """Count the project's tests in each state; every state is there."""
    rows = (
        FlowTest.objects.filter(project_id=scope.project.id)
        .order_by("state")
        .values_list("state")
        .annotate(number=Count("id"))
    )
    return dict.fromkeys(FlowTestState.values, 0) | dict(rows)


def list_tests(
    scope: Scope,
    wanted: TestFilter,
    *,
    sort: str = "tag",
    offset: int = 0,
    limit: int | None = None,
) -> list[dict[str, Any]]:
    """Read one page of tests as plain values.

    ``sort`` is a key of ``TEST_SORTS`` with ``-`` in front for downwards. Unknown values come
    last either way.
    """
    key = TEST_SORTS[sort.removeprefix("-")]
    order = F(key).desc(nulls_last=True) if sort.startswith("-") else F(key).asc(nulls_last=True)
    rows = (
        _matching(scope, wanted)
        .order_by(order, "unit__sort_key", "number", "id")
        .values(*_COLUMNS, **_LISTED)
    )
    return list(rows[offset:] if limit is None else rows[offset : offset + limit])


def test_row(scope: Scope, test_id: int) -> dict[str, Any]:
    """Read one test as plain values, with its design record; NotFound when there is none."""
    row: dict[str, Any] | None = (
        FlowTest.objects.filter(project_id=scope.project.id, id=test_id)
        .values(*_DETAIL, **_LISTED)
        .first()
    )
    if row is None:
        raise NotFound("There is no such flow test in this project.")
    return row


def tests_of_unit(scope: Scope, unit_id: int) -> list[dict[str, Any]]:
    """Every test of a unit, the newest first."""
    return list_tests(scope, TestFilter(unit=unit_id), sort="-number")


@dataclass(frozen=True, slots=True)
class UnitStatus:
    """How a unit stands: its last test that counts, and the accepted one."""

    unit_id: int
    last_test_id: int
    last_number: int
    last_state: str
    last_tested: date
    accepted_test_id: int | None
    accepted_at: datetime | None


def unit_statuses(scope: Scope, unit_ids: Sequence[int] | None = None) -> dict[int, UnitStatus]:
    """How the units stand, in one query; units without a test are left out."""
    tests = FlowTest.objects.filter(project_id=scope.project.id).exclude(
        state=FlowTestState.SUPERSEDED
    )
    if unit_ids is not None:
        tests = tests.filter(unit_id__in=unit_ids)
    found: dict[int, UnitStatus] = {}
    for row in tests.order_by("unit_id", "number", "id").values(
        "id", "unit_id", "number", "state", "tested_date", "decided_at"
    ):
        before = found.get(row["unit_id"])
        is_accepted = row["state"] == FlowTestState.ACCEPTED
        found[row["unit_id"]] = UnitStatus(
            unit_id=row["unit_id"],
            last_test_id=row["id"],
            last_number=row["number"],
            last_state=row["state"],
            last_tested=row["tested_date"],
            accepted_test_id=row["id"]
            if is_accepted
            else (before.accepted_test_id if before else None),
            accepted_at=row["decided_at"]
            if is_accepted
            else (before.accepted_at if before else None),
        )
    return found


def point_rows(scope: Scope, test_id: int) -> list[dict[str, Any]]:
    """Points of a test with their texts as entered and their versions."""
    rows: Iterable[Any] = (
        FlowPoint.objects.filter(project_id=scope.project.id, test_id=test_id)
        .order_by("round", "id")
        .values(
            "id",
            "round",
            "setpoint",
            "target_m3_s",
            "reported_m3_s",
            "sensed_pressure_pa",
            "damper_fraction",
            "measured_m3_s",
            "is_traverse",
            "entered",
            "note",
            "taken_at",
            "version",
        )
    )
    return list(rows)


def reading_rows(
    scope: Scope, *, test_id: int | None = None, reading_id: int | None = None
) -> list[dict[str, Any]]:
    """Hood readings of a test, or one of them, as plain values."""
    rows = HoodReading.objects.filter(project_id=scope.project.id)
    if test_id is not None:
        rows = rows.filter(point__test_id=test_id)
    if reading_id is not None:
        rows = rows.filter(id=reading_id)
    read: Iterable[Any] = rows.order_by("point_id", "outlet_id", "repeat", "id").values(
        "id",
        "point_id",
        "outlet_id",
        "repeat",
        "flow_m3_s",
        "flow_as_entered",
        "design_m3_s",
        "hood_factor",
        "client_key",
        "taken_at",
        outlet_tag=F("outlet__tag"),
    )
    return list(read)


def filter_choices(scope: Scope) -> dict[str, list[tuple[Any, str]]]:
    """What the tests of the project can be filtered by: air handlers, floors, technicians."""
    tests = FlowTest.objects.filter(project_id=scope.project.id)
    handlers = (
        tests.exclude(unit__air_handler=None)
        .order_by("unit__air_handler__sort_key", "unit__air_handler_id")
        .values_list("unit__air_handler_id", "unit__air_handler__tag")
        .distinct()
    )
    floors = (
        tests.exclude(unit__floor="").order_by("unit__floor").values_list("unit__floor").distinct()
    )
    people = (
        tests.order_by("technician__full_name", "technician_id")
        .values_list("technician_id", "technician__full_name")
        .distinct()
    )
    return {
        "air_handler": list(handlers),
        "floor": [(floor, floor) for (floor,) in floors],
        "technician": list(people),
    }


def last_accepted_at(scope: Scope) -> datetime | None:
    """When the last test of the project was accepted."""
    found: datetime | None = FlowTest.objects.filter(
        project_id=scope.project.id, state=FlowTestState.ACCEPTED
    ).aggregate(last=Max("decided_at"))["last"]
    return found
