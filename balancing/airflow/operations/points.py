"""Readings: what the controller said at a point, and what was measured there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypedDict
from uuid import UUID, uuid5

from django.db import IntegrityError, transaction

from balancing.airflow.models import FlowPoint, FlowTest, HoodReading
from balancing.airflow.operations.locking import locked_point, put
from projectsite.accounts.access import Action
from projectsite.core.errors import ApplicationError, Conflict, InvalidInput, NotFound
from projectsite.core.numeric import same
from projectsite.core.saving import checked_save
from projectsite.core.scope import Scope
from projectsite.core.units import Entered

REPEATS = (1, 2, 3)
BATCH_LIMIT = 50
"""Readings in one request: a floor's worth, and still quick to answer."""

FLOW_LIMIT_M3_S = 50.0
"""More air than any terminal unit moves (about 106,000 cfm): a unit was confused."""
PRESSURE_LIMIT_PA = 2500.0
"""About 10 in. w.c., beyond any flow sensor of a terminal unit."""

_LABELS = {
    "reported_m3_s": "Reported by the controller",
    "sensed_pressure_pa": "Sensed pressure",
    "damper_fraction": "Damper",
    "measured_m3_s": "Measured",
}


class PointValues(TypedDict, total=False):
    """What was read at a point; what is left out stays as it is."""

    reported_m3_s: Entered | None
    sensed_pressure_pa: Entered | None
    damper_fraction: Entered | None
    measured_m3_s: Entered | None
    is_traverse: bool
    note: str


Readings = Mapping[tuple[int, int], Entered | None]
"""Hood readings by outlet and repeat (1 to 3); None takes one out."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One hood reading as a device sends it; ``client_key`` makes sending again harmless."""

    point_id: int
    outlet_id: int
    repeat: int
    flow: Entered
    client_key: UUID
    taken_at: datetime


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of a reading: its id, and whether it was new."""

    reading_id: int
    point_id: int
    is_new: bool


@dataclass(frozen=True, slots=True)
class Refused:
    """A reading of a batch that was not taken, and why."""

    error: ApplicationError


@transaction.atomic
def save_point(
    scope: Scope,
    *,
    point_id: int,
    version: int,
    at: datetime,
    values: PointValues | None = None,
    readings: Readings | None = None,
) -> int:
    """Save what was read at a point, hood readings included, and give its new version.

    Raises
    ------
    Conflict
        Somebody changed the point since ``version`` was read; the fields say what it holds now.
    InvalidInput
        A value that can't be meant, or a reading of an outlet that the unit does not have.
    """
    scope.require(Action.ENTER_READINGS)
    point = locked_point(scope, point_id)
    changes = dict(values or {})
    _check_values(changes)
    _check_readings(readings or {})
    if point.version != version:
        _refuse_changed(point, changes, readings or {})
    before = put(point, changes)
    changed = _save_readings(scope, point, readings or {}, at)
    if before or changed:
        point.taken_at = point.taken_at or at
        point.version += 1
    checked_save(point, labels=_LABELS)
    _note_writer(scope, point)
    return point.version


def _check_values(changes: Mapping[str, Any]) -> None:
    limits = {
        "reported_m3_s": (0.0, FLOW_LIMIT_M3_S),
        "measured_m3_s": (0.0, FLOW_LIMIT_M3_S),
        "sensed_pressure_pa": (-PRESSURE_LIMIT_PA, PRESSURE_LIMIT_PA),
        "damper_fraction": (0.0, 1.0),
    }
    wrong = {}
    for name, (low, high) in limits.items():
        given = changes.get(name)
        if isinstance(given, Entered) and not low <= given.value <= high:
            wrong[name] = f"{given.text} can't be meant here. Look at the number and its unit."
    if wrong:
        text = "; ".join(f"{_LABELS[name]}: {message}" for name, message in wrong.items())
        raise InvalidInput(text, fields=wrong)


def _check_readings(readings: Readings) -> None:
    for (outlet_id, repeat), given in readings.items():
        field = f"outlet-{outlet_id}-{repeat}"
        if repeat not in REPEATS:
            raise InvalidInput("Up to three repeats are kept.", fields={field: "Repeat 1, 2 or 3."})
        if given is not None and not 0 <= given.value <= FLOW_LIMIT_M3_S:
            message = f"{given.text} can't be a hood reading. Look at the number and its unit."
            raise InvalidInput(message, fields={field: message})


def _refuse_changed(point: FlowPoint, changes: Mapping[str, Any], readings: Readings) -> None:
    """Tell what the point holds now where it differs from what was typed.

    The same values twice are no conflict: a page saves while it is typed in, and once more
    when its button is pressed. Nor is a value where there was none: nothing of theirs is lost.
    """
    now: dict[str, str] = {}
    for name, given in changes.items():
        stored = getattr(point, name)
        value = given.value if isinstance(given, Entered) else given
        is_same = isinstance(value, float) and same(value, stored)
        fills_blank = value not in {None, ""} and stored in {None, ""}
        if is_same or fills_blank:
            continue
        if value != stored:
            shown = point.entered.get(name) if isinstance(given, Entered) else None
            now[name] = f"Now holds {shown or ('nothing' if stored in {None, ''} else stored)}."
    kept = {
        (row.outlet_id, row.repeat): row
        for row in HoodReading.objects.filter(point=point).order_by("id")
    }
    for key, given in readings.items():
        row = kept.get(key)
        typed = None if given is None else given.value
        if row is not None and not same(typed, row.flow_m3_s):
            held = row.flow_as_entered or "another reading"
            now[f"outlet-{key[0]}-{key[1]}"] = f"Now holds {held}."
    if now:
        raise Conflict(
            "Somebody changed this point since you opened it. What you typed is still here; save "
            "again to put it in place of theirs.",
            fields=now,
        )


def _save_readings(scope: Scope, point: FlowPoint, readings: Readings, at: datetime) -> bool:
    kept = {
        (row.outlet_id, row.repeat): row
        for row in HoodReading.objects.select_for_update().filter(point=point).order_by("id")
    }
    test = FlowTest.objects.only("client_key", "design").get(pk=point.test_id)
    is_changed = False
    for (outlet_id, repeat), given in readings.items():
        row = kept.get((outlet_id, repeat))
        if given is None:
            if row is not None:
                row.delete()
                is_changed = True
            continue
        if row is not None and same(row.flow_m3_s, given.value):
            continue
        is_changed = True
        if row is None:
            # A key derived from what it is for: no chance, and the same form sent twice
            # names the same reading.
            name = f"{point.pk}/{outlet_id}/{repeat}/{point.version}"
            row = _new_reading(scope, point, test, outlet_id, repeat, uuid5(test.client_key, name))
        row.flow_m3_s, row.flow_as_entered = given.value, given.text
        row.taken_at = at
        checked_save(row)
    return is_changed


def _new_reading(
    scope: Scope, point: FlowPoint, test: FlowTest, outlet_id: int, repeat: int, key: UUID
) -> HoodReading:
    """Begin a reading with the outlet's design and factor as the test holds them."""
    outlet = next((o for o in test.design.get("outlets", ()) if o["id"] == outlet_id), None)
    if outlet is None:
        message = (
            "The unit has no such outlet in this test. If it was added since the test was "
            "begun, take over the schedule first."
        )
        raise InvalidInput(message, fields={f"outlet-{outlet_id}-{repeat}": message})
    return HoodReading(
        project_id=scope.project.id,
        point=point,
        outlet_id=outlet_id,
        repeat=repeat,
        design_m3_s=outlet["design_m3_s"],
        hood_factor=outlet["hood_factor"],
        client_key=key,
    )


def _note_writer(scope: Scope, point: FlowPoint) -> None:
    """Keep who typed last, which is not always whose readings they are."""
    FlowTest.objects.filter(pk=point.test_id).exclude(entered_by_id=scope.person.id).update(
        entered_by_id=scope.person.id
    )


def record_reading(scope: Scope, *, reading: Reading) -> Recorded:
    """Record one hood reading; the same ``client_key`` again gives the reading that is stored.

    Raises
    ------
    Conflict
        Another reading stands at this outlet and repeat, or the key was used for another one.
    """
    scope.require(Action.ENTER_READINGS)
    try:
        with transaction.atomic():
            return _record(scope, reading)
    except IntegrityError:
        # The same reading came twice at once through two connections: one of them stored it.
        with transaction.atomic():
            return _record(scope, reading)


def _record(scope: Scope, reading: Reading) -> Recorded:
    _check_readings({(reading.outlet_id, reading.repeat): reading.flow})
    known = _known(scope, reading)
    if known is not None:
        return known
    point = locked_point(scope, reading.point_id)
    known = _known(scope, reading)
    if known is not None:
        return known
    standing = HoodReading.objects.filter(
        point=point, outlet_id=reading.outlet_id, repeat=reading.repeat
    ).first()
    if standing is not None:
        text = standing.flow_as_entered or "another reading"
        raise Conflict(
            f"Repeat {reading.repeat} of this outlet holds {text} already. Take it out first, "
            "or send another repeat.",
            fields={"repeat": f"Holds {text}."},
        )
    test = FlowTest.objects.only("client_key", "design").get(pk=point.test_id)
    row = _new_reading(scope, point, test, reading.outlet_id, reading.repeat, reading.client_key)
    row.flow_m3_s, row.flow_as_entered = reading.flow.value, reading.flow.text
    row.taken_at = reading.taken_at
    checked_save(row)
    point.taken_at = point.taken_at or reading.taken_at
    point.version += 1
    point.save(update_fields=["taken_at", "version"])
    _note_writer(scope, point)
    return Recorded(row.pk, point.pk, is_new=True)


def _known(scope: Scope, reading: Reading) -> Recorded | None:
    found = (
        HoodReading.objects.filter(client_key=reading.client_key)
        .values_list("id", "project_id", "point_id", "outlet_id", "repeat", "flow_m3_s")
        .first()
    )
    if found is None:
        return None
    reading_id, project_id, point_id, outlet_id, repeat, flow = found
    is_same = (project_id, point_id, outlet_id, repeat) == (
        scope.project.id,
        reading.point_id,
        reading.outlet_id,
        reading.repeat,
    )
    if not is_same or not same(flow, reading.flow.value):
        raise Conflict("This client_key was used for another reading. Send a new one.")
    return Recorded(reading_id, point_id, is_new=False)


def record_readings(scope: Scope, *, readings: list[Reading]) -> list[Recorded | Refused]:
    """Record a batch, each reading by itself, and answer for each in the order that they came.

    Raises
    ------
    InvalidInput
        The batch is empty or larger than ``BATCH_LIMIT``.
    """
    scope.require(Action.ENTER_READINGS)
    if not 1 <= len(readings) <= BATCH_LIMIT:
        raise InvalidInput(f"Send 1 to {BATCH_LIMIT} readings at once, not {len(readings)}.")
    answers: list[Recorded | Refused] = []
    for reading in readings:
        try:
            answers.append(record_reading(scope, reading=reading))
        except ApplicationError as error:
            answers.append(Refused(error))
    return answers


@transaction.atomic
def delete_reading(scope: Scope, *, reading_id: int) -> None:
    """Take out one hood reading of a test that is open or returned; the change log keeps it."""
    scope.require(Action.ENTER_READINGS)
    found = (
        HoodReading.objects.filter(project_id=scope.project.id, id=reading_id)
        .values_list("point_id", flat=True)
        .first()
    )
    if found is None:
        raise NotFound("There is no such reading in this project.")
    point = locked_point(scope, found)
    HoodReading.objects.filter(point=point, id=reading_id).delete()
    point.version += 1
    point.save(update_fields=["version"])
