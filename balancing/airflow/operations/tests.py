"""Flow tests: begin one, say under which conditions, take over a changed schedule, discard."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypedDict
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Max

from balancing.airflow.domain.snapshots import design_record, unit_snapshot
from balancing.airflow.models import FlowPoint, FlowTest, FlowTestState, Instrument
from balancing.airflow.operations.locking import WRITABLE, locked_test, put
from projectsite.accounts.access import Action, scope_by_id
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.saving import checked_save
from projectsite.core.scope import Scope
from projectsite.core.units import Entered
from zones.inventory.domain.types import UnitFacts
from zones.inventory.queries import unit_facts

RUNNING = (FlowTestState.OPEN, FlowTestState.SUBMITTED, FlowTestState.RETURNED)
_LABELS = {
    "air_degc": "Air temperature",
    "humidity_fraction": "Relative humidity",
    "elevation_m": "Elevation",
    "zero_reading_pa": "Zero reading",
    "k_as_found_m3_s_sqrt_pa": "K as found",
}
_RANGES = {
    "air_degc": (-40.0, 80.0),
    "humidity_fraction": (0.0, 1.0),
    "elevation_m": (-500.0, 6000.0),
    "zero_reading_pa": (-500.0, 500.0),
    "k_as_found_m3_s_sqrt_pa": (1e-5, 10.0),
}
"""What can be meant at all; outside of it a unit was confused."""


class TestConditions(TypedDict, total=False):
    """Conditions of a test; what is left out stays as it is."""

    instrument_id: int | None
    technician_id: int
    tested_date: date
    air_degc: Entered | None
    humidity_fraction: Entered | None
    elevation_m: Entered
    hood_reads_actual: bool
    zero_reading_pa: Entered | None
    k_as_found_m3_s_sqrt_pa: Entered | None
    note: str


@dataclass(frozen=True, slots=True)
class Begun:
    """A test that was begun; ``is_new`` is False when the same request came before."""

    test_id: int
    is_new: bool


def start_test(
    scope: Scope,
    *,
    unit_id: int,
    client_key: UUID,
    tested_date: date,
    at: datetime,
    technician_id: int | None = None,
    instrument_id: int | None = None,
) -> Begun:
    """Begin a flow test of a unit, with a point for every scheduled airflow in both rounds.

    The test keeps the unit's schedule, its inlet and the project's limits as they stand now.
    The same ``client_key`` again gives the test that it began.

    Raises
    ------
    Conflict
        The unit has a test in hand already, or the unit is archived.
    """
    scope.require(Action.ENTER_READINGS)
    known = _begun(scope, client_key, unit_id)
    if known is not None:
        return known
    facts = unit_facts(scope, [unit_id])
    if not facts:
        raise NotFound("There is no such terminal unit in this project.")
    unit = facts[0]
    if unit.is_archived:
        raise Conflict(f"{unit.tag} is archived. Restore it before it is tested.")
    technician = technician_of(scope, technician_id)
    instrument = instrument_of(scope, instrument_id)
    running = FlowTest.objects.filter(unit_id=unit_id, state__in=RUNNING).values_list("number")
    if found := running.first():
        raise Conflict(f"{unit.tag} has a test in hand already: flow test {found[0]}.")
    try:
        with transaction.atomic():
            test = _add(
                scope,
                unit,
                client_key=client_key,
                technician_id=technician,
                instrument=instrument,
                tested_date=tested_date,
                created_at=at,
            )
    except IntegrityError as error:
        # Somebody began a test at the same moment; the same request twice is harmless.
        known = _begun(scope, client_key, unit_id)
        if known is not None:
            return known
        raise Conflict(f"{unit.tag} has a test in hand already; it was begun just now.") from error
    return Begun(test.pk, is_new=True)


def _begun(scope: Scope, client_key: UUID, unit_id: int) -> Begun | None:
    found = (
        FlowTest.objects.filter(client_key=client_key)
        .values_list("id", "unit_id", "project_id")
        .first()
    )
    if found is None:
        return None
    test_id, known_unit, project_id = found
    if project_id != scope.project.id or known_unit != unit_id:
        raise Conflict("This client_key was used for another test. Send a new one.")
    return Begun(test_id, is_new=False)


def _add(
    scope: Scope,
    unit: UnitFacts,
    *,
    client_key: UUID,
    technician_id: int,
    instrument: Instrument | None,
    tested_date: date,
    created_at: datetime,
) -> FlowTest:
    last = FlowTest.objects.filter(unit_id=unit.id).aggregate(last=Max("number"))["last"]
    test = FlowTest(
        project_id=scope.project.id,
        unit_id=unit.id,
        number=(last or 0) + 1,
        client_key=client_key,
        technician_id=technician_id,
        entered_by_id=scope.person.id,
        instrument=instrument,
        tested_date=tested_date,
        elevation_m=scope.project.elevation_m,
        design=design_of(scope, unit),
        created_at=created_at,
    )
    test.save()
    FlowPoint.objects.bulk_create(
        FlowPoint(
            project_id=scope.project.id,
            test=test,
            round=round_name,
            setpoint=setpoint,
            target_m3_s=target,
        )
        for round_name in ("as-found", "as-left")
        for setpoint, target in points_of(unit)
    )
    return test


def design_of(scope: Scope, unit: UnitFacts) -> dict[str, Any]:
    """What the test keeps: unit, limits, and the outlets that a hood sum must cover."""
    outlets = [
        {
            "id": outlet.id,
            "tag": outlet.tag,
            "kind": outlet.kind,
            "location": outlet.location,
            "design_m3_s": outlet.design_m3_s,
            "hood_factor": outlet.hood_factor,
        }
        for outlet in unit.outlets
    ]
    return {
        **design_record(unit_snapshot(unit), scope.project.tolerances),
        "outlets": outlets,
        "revision": unit.revision,
    }


def points_of(unit: UnitFacts) -> Iterator[tuple[str, float]]:
    """Setpoints at which a unit is read, with their target [m³/s].

    The middle flow lies half way between minimum and maximum; a minimum of zero is a closed
    damper and is not read.
    """
    high, low = unit.cooling_max_m3_s, unit.cooling_min_m3_s
    if high:
        yield "cooling-max", high
        yield "middle", (high + (low or 0.0)) / 2
    if low:
        yield "cooling-min", low
    if unit.heating_max_m3_s:
        yield "heating-max", unit.heating_max_m3_s


def technician_of(scope: Scope, technician_id: int | None) -> int:
    """Whose readings they are: the balancer's own, or whom the office names.

    Raises
    ------
    InvalidInput
        The office named nobody, or somebody who may not enter readings here.
    """
    if technician_id is None or technician_id == scope.person.id:
        if technician_id is None and scope.allows(Action.ACCEPT_TEST):
            raise _wrong("technician_id", "Say whose readings these are.")
        return scope.person.id
    if not scope.allows(Action.ACCEPT_TEST):
        raise _wrong("technician_id", "Only the office enters readings for somebody else.")
    try:
        theirs = scope_by_id(technician_id, scope.project.id)
    except NotFound as error:
        raise _wrong("technician_id", "This person is not a member of the project.") from error
    if not theirs.allows(Action.ENTER_READINGS):
        raise _wrong("technician_id", f"{theirs.person.name} may not enter readings here.")
    return technician_id


def instrument_of(scope: Scope, instrument_id: int | None) -> Instrument | None:
    """Instrument of the project that is in use."""
    if instrument_id is None:
        return None
    found = Instrument.objects.filter(project_id=scope.project.id, id=instrument_id).first()
    if found is None:
        raise _wrong("instrument_id", "There is no such instrument in this project.")
    if found.archived_at is not None:
        raise _wrong("instrument_id", f"{found.name} is archived. Choose one that is in use.")
    return found


def _wrong(field: str, message: str) -> InvalidInput:
    return InvalidInput(message, fields={field: message})


@transaction.atomic
def save_conditions(scope: Scope, *, test_id: int, version: int, conditions: TestConditions) -> int:
    """Save the conditions of a test that is open or returned, and give its new version."""
    scope.require(Action.ENTER_READINGS)
    test = locked_test(scope, test_id, version=version)
    changes = dict(conditions)
    _in_range(changes)
    if "instrument_id" in conditions and conditions["instrument_id"] != test.instrument_id:
        instrument_of(scope, conditions["instrument_id"])
    if "technician_id" in conditions and conditions["technician_id"] != test.technician_id:
        technician_of(scope, conditions["technician_id"])
    put(test, changes)
    test.entered_by_id = scope.person.id
    test.version += 1
    checked_save(test, labels=_LABELS)
    return test.version


def _in_range(changes: dict[str, Any]) -> None:
    wrong = {}
    for name, (low, high) in _RANGES.items():
        given = changes.get(name)
        if isinstance(given, Entered) and not low <= given.value <= high:
            wrong[name] = f"{given.text} can't be meant here. Look at the number and its unit."
    if "elevation_m" in changes and changes["elevation_m"] is None:
        wrong["elevation_m"] = "The elevation is needed for the density of the air."
    if wrong:
        raise InvalidInput(
            "; ".join(f"{_LABELS[name]}: {text}" for name, text in wrong.items()), fields=wrong
        )


@transaction.atomic
def take_over_schedule(scope: Scope, *, test_id: int, version: int) -> int:
    """Judge a running test by the schedule as it stands now; readings stay.

    Points for airflows that the schedule no longer has go when nothing was read there.
    """
    scope.require(Action.ENTER_READINGS)
    test = locked_test(scope, test_id, version=version)
    unit = unit_facts(scope, [test.unit_id])[0]
    test.design = design_of(scope, unit)
    test.version += 1
    test.save(update_fields=["design", "version"])
    wanted = dict(points_of(unit))
    points = list(FlowPoint.objects.select_for_update().filter(test=test).order_by("id"))
    for point in points:
        point.target_m3_s = wanted.get(point.setpoint)
        point.version += 1
        if point.target_m3_s is None and not _is_read(point):
            point.delete()
        else:
            point.save(update_fields=["target_m3_s", "version"])
    there = {(point.round, point.setpoint) for point in points}
    FlowPoint.objects.bulk_create(
        FlowPoint(
            project_id=scope.project.id,
            test=test,
            round=round_name,
            setpoint=setpoint,
            target_m3_s=target,
        )
        for round_name in ("as-found", "as-left")
        for setpoint, target in wanted.items()
        if (round_name, setpoint) not in there
    )
    return test.version


def _is_read(point: FlowPoint) -> bool:
    values = (point.reported_m3_s, point.sensed_pressure_pa, point.measured_m3_s)
    return any(value is not None for value in values) or point.readings.exists()


@transaction.atomic
def discard_test(scope: Scope, *, test_id: int, version: int) -> None:
    """Discard a test that is open or returned, with its readings; the change log keeps them."""
    scope.require(Action.ENTER_READINGS)
    locked_test(scope, test_id, states=WRITABLE, version=version).delete()
