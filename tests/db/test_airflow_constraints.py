"""What the database refuses of flow tests, tried with plain SQL."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.db import connection, transaction
from django.db.utils import IntegrityError, ProgrammingError

from balancing.airflow.models import FlowPoint, FlowTest, HoodReading
from tests.builders import Cast
from tests.builders.airflow import (
    fill_flow_test,
    make_accepted_test,
    make_flow_test,
    make_instrument,
    submit_flow_test,
)
from tests.builders.inventory import make_outlet, make_unit, make_whole_unit

TEST = "update airflow_flowtest set"
POINT = "update airflow_flowpoint set"
READING = "update airflow_hoodreading set"
INSTRUMENT = "update airflow_instrument set"

BROKEN = [
    (f"{TEST} k_method = 'guess'", "flowtest_method_known"),
    (f"{TEST} k_as_left_m3_s_sqrt_pa = 0", "flowtest_k_positive"),
    (f"{TEST} humidity_fraction = 1.2", "flowtest_humidity_range"),
    (f"{POINT} round = 'later'", "flowpoint_round_known"),
    (f"{POINT} setpoint = 'standby'", "flowpoint_setpoint_known"),
    (f"{POINT} reported_m3_s = -1", "flowpoint_values"),
    (f"{POINT} damper_fraction = 1.1", "flowpoint_values"),
    (f"{POINT} setpoint = 'middle'", "flowpoint_setpoint_unique"),
    (f"{READING} repeat = 4", "hoodreading_three_repeats"),
    (f"{READING} flow_m3_s = -1", "hoodreading_not_negative"),
    (
        f"{READING} outlet_id = (select min(outlet_id) from airflow_hoodreading)",
        "hoodreading_repeat_unique",
    ),
    (f"{INSTRUMENT} kind = 'ear'", "instrument_kind_known"),
    (f"{INSTRUMENT} accuracy_fraction = 0.6", "instrument_accuracy_range"),
    (f"{INSTRUMENT} due_date = calibrated_date", "instrument_due_after_calibrated"),
]


def now(statement: str) -> None:
    """Run a statement and look at deferred constraints at once."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
        cursor.execute("set constraints all immediate")


@pytest.fixture
def filled(cast: Cast) -> FlowTest:
    scope = cast.scope("balancer")
    return fill_flow_test(scope, make_flow_test(scope, make_whole_unit(cast.project)))


@pytest.fixture
def accepted(cast: Cast) -> FlowTest:
    return make_accepted_test(
        cast.scope("office"), cast.scope("balancer"), make_whole_unit(cast.project)
    )


@pytest.mark.parametrize(("statement", "constraint"), BROKEN, ids=[name for _, name in BROKEN])
def test_the_database_refuses(filled: FlowTest, statement: str, constraint: str) -> None:
    with pytest.raises(IntegrityError, match=constraint):
        now(statement)


def test_a_test_stands_in_a_known_state(cast: Cast, accepted: FlowTest) -> None:
    with pytest.raises(IntegrityError, match="flowtest_state_known"):
        _copy(accepted, number=2, state="lost")


def test_a_serial_number_is_used_once_in_a_project(cast: Cast) -> None:
    make_instrument(cast.project, "FH-1")
    with pytest.raises(IntegrityError, match="instrument_serial_unique"):
        make_instrument(cast.project, "fh-1")


def test_one_test_runs_on_a_unit(cast: Cast, filled: FlowTest) -> None:
    with pytest.raises(IntegrityError, match="flowtest_one_running"):
        _copy(filled, number=2)


def test_a_number_is_used_once_on_a_unit(cast: Cast, accepted: FlowTest) -> None:
    with pytest.raises(IntegrityError, match="flowtest_number_unique"):
        _copy(accepted, number=1, state="open")


def test_one_accepted_test_stands_on_a_unit(cast: Cast, accepted: FlowTest) -> None:
    with pytest.raises(IntegrityError, match="flowtest_one_accepted"):
        _copy(accepted, number=2)


def test_somebody_accepted_an_accepted_test(cast: Cast, filled: FlowTest) -> None:
    now(f"{TEST} state = 'submitted'")
    with pytest.raises(IntegrityError, match="flowtest_accepted_by_someone"):
        now(f"{TEST} state = 'accepted'")


def _copy(test: FlowTest, **changes: object) -> None:
    copy = FlowTest.objects.get(pk=test.pk)
    copy.pk, copy.client_key = None, uuid4()
    for name, value in changes.items():
        setattr(copy, name, value)
    with transaction.atomic():
        copy.save(force_insert=True)


FROZEN = [
    f"{TEST} note = 'better'",
    f"{TEST} k_as_left_m3_s_sqrt_pa = 0.03",
    f"{TEST} design = '{{}}'",
    f"{TEST} state = 'open'",
    f"{TEST} state = 'superseded', note = 'better'",
    f"{POINT} reported_m3_s = 0.3",
    f"{READING} flow_m3_s = 0.3",
    "delete from airflow_hoodreading",
    "delete from airflow_flowpoint",
    "delete from airflow_flowtest",
    (
        "insert into airflow_flowpoint "
        "(project_id, test_id, round, setpoint, is_traverse, entered, "
        "note, version) select project_id, test_id, 'as-left', 'standby', false, '{}', '', 1 "
        "from airflow_flowpoint limit 1"
    ),
]


@pytest.mark.parametrize("statement", FROZEN)
def test_an_accepted_test_stays_as_it_is(accepted: FlowTest, statement: str) -> None:
    with pytest.raises((ProgrammingError, IntegrityError), match=r"superseded|Invalid|delete"):
        now(statement)


def test_an_accepted_test_can_be_superseded_and_then_stays(accepted: FlowTest) -> None:
    now(f"{TEST} state = 'superseded'")
    with pytest.raises(ProgrammingError, match="can only be superseded"):
        now(f"{TEST} note = 'better'")


def test_a_point_cannot_leave_an_accepted_test(cast: Cast, accepted: FlowTest) -> None:
    other = make_flow_test(cast.scope("balancer"), make_unit(cast.project, "TU-9"))
    FlowPoint.objects.filter(test=other).delete()
    with pytest.raises(ProgrammingError, match="can only be superseded"):
        now(f"{POINT} test_id = {other.pk} where test_id = {accepted.pk}")


def test_a_reading_cannot_leave_an_accepted_test(cast: Cast, accepted: FlowTest) -> None:
    unit = make_whole_unit(cast.project, "TU-9")
    other = FlowPoint.objects.filter(test=make_flow_test(cast.scope("balancer"), unit)).first()
    assert other is not None
    with pytest.raises(ProgrammingError, match="can only be superseded"):
        now(f"{READING} point_id = {other.pk} where repeat = 1")


def test_states_follow_their_way(filled: FlowTest) -> None:
    with pytest.raises(ProgrammingError, match="Invalid transition"):
        now(f"{TEST} state = 'accepted', decided_at = now(), decided_by_id = technician_id")


def test_parent_and_child_are_of_one_project(cast: Cast, filled: FlowTest) -> None:
    foreign_unit = make_unit(cast.other_project, "TU-9")
    foreign_hood = make_instrument(cast.other_project, "FH-9")
    foreign_outlet = make_outlet(foreign_unit)
    for statement, name in (
        (f"{TEST} unit_id = {foreign_unit.pk}", "flowtest_unit_same_project"),
        (f"{TEST} instrument_id = {foreign_hood.pk}", "flowtest_instrument_same_project"),
        (
            f"{POINT} project_id = {cast.other_project.pk} where round = 'as-left'",
            "flowpoint_test_same_project",
        ),
        (
            (
                f"{READING} outlet_id = {foreign_outlet.pk} where id = "
                f"{HoodReading.objects.order_by('id')[0].pk}"
            ),
            "hoodreading_outlet_same_project",
        ),
        (f"{READING} project_id = {cast.other_project.pk}", "hoodreading_point_same_project"),
    ):
        with pytest.raises(IntegrityError, match=name):
            now(statement)


def test_what_was_changed_is_kept_in_the_change_log(cast: Cast, filled: FlowTest) -> None:
    events = FlowTest.pgh_event_model.objects.filter(pgh_obj_id=filled.pk)  # type: ignore[attr-defined]  # made by the tracker
    before = events.count()
    submit_flow_test(cast.scope("balancer"), filled)
    assert events.count() >= before + 2
