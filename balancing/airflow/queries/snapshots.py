"""From tables to snapshots of flow tests, in bulk and in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from balancing.airflow.domain.snapshots import limits_from_record, unit_from_record
from balancing.airflow.domain.types import (
    Conditions,
    FlowTestSnapshot,
    InstrumentSnapshot,
    OutletReading,
    PointSnapshot,
)
from balancing.airflow.models import FlowPoint, FlowTest, FlowTestState, HoodReading
from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope

STANDING = tuple(state for state in FlowTestState.values if state != FlowTestState.SUPERSEDED)
"""States of tests that say something about the unit as it is."""

_SETPOINT_ORDER = {"cooling-max": 0, "middle": 1, "cooling-min": 2, "heating-max": 3}
_COLUMNS = (
    "id",
    "number",
    "state",
    "unit_id",
    "unit__tag",
    "tested_date",
    "air_degc",
    "humidity_fraction",
    "elevation_m",
    "hood_reads_actual",
    "zero_reading_pa",
    "k_as_found_m3_s_sqrt_pa",
    "k_as_left_m3_s_sqrt_pa",
    "k_method",
    "k_reason",
    "design",
    "instrument_id",
    "instrument__kind",
    "instrument__name",
    "instrument__accuracy_fraction",
    "instrument__accuracy_floor_si",
    "instrument__minimum_m3_s",
    "instrument__calibrated_date",
    "instrument__due_date",
)
_POINT_COLUMNS = (
    "id",
    "test_id",
    "round",
    "setpoint",
    "target_m3_s",
    "reported_m3_s",
    "sensed_pressure_pa",
    "damper_fraction",
    "measured_m3_s",
    "is_traverse",
)


def test_snapshot(scope: Scope, test_id: int) -> FlowTestSnapshot:
    """Snapshot of one test of the project; NotFound when there is none."""
    found = _snapshots(
        FlowTest.objects.filter(project_id=scope.project.id, id=test_id).values(*_COLUMNS)
    )
    if not found:
        raise NotFound("There is no such flow test in this project.")
    return found[0][1]


def snapshots(
    scope: Scope,
    unit_ids: Sequence[int],
    *,
    states: Iterable[str] = STANDING,
    with_readings: bool = True,
) -> dict[int, list[FlowTestSnapshot]]:
    """Snapshots of the units' tests by unit, oldest first, in three queries.

    Units without a test in one of ``states`` are left out; a unit has at most one accepted
    test and one that runs. Without readings it is one query, and the tests have no points.
    """
    rows = FlowTest.objects.filter(
        project_id=scope.project.id, unit_id__in=unit_ids, state__in=tuple(states)
    )
    by_unit: dict[int, list[FlowTestSnapshot]] = {}
    ordered = rows.order_by("unit_id", "number", "id").values(*_COLUMNS)
    for unit_id, snapshot in _snapshots(ordered, with_readings=with_readings):
        by_unit.setdefault(unit_id, []).append(snapshot)
    return by_unit


def _snapshots(
    rows: Iterable[Mapping[str, Any]], *, with_readings: bool = True
) -> list[tuple[int, FlowTestSnapshot]]:
    listed = list(rows)
    points = _points([row["id"] for row in listed]) if listed and with_readings else {}
    return [(row["unit_id"], _snapshot(row, tuple(points.get(row["id"], ())))) for row in listed]


def _points(test_ids: Sequence[int]) -> dict[int, list[PointSnapshot]]:
    rows = list(FlowPoint.objects.filter(test_id__in=test_ids).values(*_POINT_COLUMNS))
    rows.sort(key=lambda r: (r["test_id"], r["round"], _SETPOINT_ORDER[r["setpoint"]], r["id"]))
    readings = _readings(test_ids)
    found: dict[int, list[PointSnapshot]] = {}
    for row in rows:
        found.setdefault(row["test_id"], []).append(
            PointSnapshot(
                id=row["id"],
                round=row["round"],
                setpoint=row["setpoint"],
                target_m3_s=row["target_m3_s"],
                reported_m3_s=row["reported_m3_s"],
                sensed_pressure_pa=row["sensed_pressure_pa"],
                damper_fraction=row["damper_fraction"],
                measured_single_m3_s=row["measured_m3_s"],
                is_traverse=row["is_traverse"],
                outlets=tuple(readings.get(row["id"], ())),
            )
        )
    return found


def _readings(test_ids: Sequence[int]) -> dict[int, list[OutletReading]]:
    """Readings by point, one entry an outlet with its repeats in order."""
    rows = (
        HoodReading.objects.filter(point__test_id__in=test_ids)
        .order_by("point_id", "outlet__sort_key", "outlet_id", "repeat", "id")
        .values_list(
            "point_id", "outlet_id", "outlet__tag", "flow_m3_s", "design_m3_s", "hood_factor"
        )
    )
    gathered: dict[tuple[int, int], tuple[str, list[float], float | None, float]] = {}
    for point_id, outlet_id, tag, flow, design, factor in rows:
        entry = gathered.setdefault((point_id, outlet_id), (tag, [], design, factor))
        entry[1].append(flow)
    found: dict[int, list[OutletReading]] = {}
    for (point_id, outlet_id), (tag, flows, design, factor) in gathered.items():
        found.setdefault(point_id, []).append(
            OutletReading(outlet_id, tag, tuple(flows), design, factor)
        )
    return found


def _snapshot(row: Mapping[str, Any], points: tuple[PointSnapshot, ...]) -> FlowTestSnapshot:
    design = row["design"]
    return FlowTestSnapshot(
        id=row["id"],
        number=row["number"],
        state=row["state"],
        design=unit_from_record(design, unit_id=row["unit_id"], tag=row["unit__tag"]),
        points=points,
        instrument=_instrument(row),
        conditions=Conditions(
            air_degc=row["air_degc"],
            humidity_fraction=row["humidity_fraction"],
            elevation_m=row["elevation_m"],
            reads_actual=row["hood_reads_actual"],
        ),
        tested_on=row["tested_date"],
        zero_reading_pa=row["zero_reading_pa"],
        k_as_found_m3_s_sqrt_pa=row["k_as_found_m3_s_sqrt_pa"],
        k_as_left_m3_s_sqrt_pa=row["k_as_left_m3_s_sqrt_pa"],
        k_method=row["k_method"],
        k_reason=row["k_reason"],
        limits=limits_from_record(design),
        expected_outlets=tuple(outlet["id"] for outlet in design.get("outlets", ())),
    )


def _instrument(row: Mapping[str, Any]) -> InstrumentSnapshot | None:
    """The instrument as it stood when the test was handed in; before that, as it is."""
    kept = row["design"].get("instrument")
    if kept is not None:
        return InstrumentSnapshot(
            **{
                **kept,
                "calibrated_on": _date(kept["calibrated_on"]),
                "due_on": _date(kept["due_on"]),
            }
        )
    if row["instrument_id"] is None:
        return None
    return InstrumentSnapshot(
        kind=row["instrument__kind"],
        name=row["instrument__name"],
        accuracy_fraction=row["instrument__accuracy_fraction"],
        accuracy_floor_si=row["instrument__accuracy_floor_si"],
        minimum_m3_s=row["instrument__minimum_m3_s"],
        calibrated_on=row["instrument__calibrated_date"],
        due_on=row["instrument__due_date"],
    )


def _date(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
