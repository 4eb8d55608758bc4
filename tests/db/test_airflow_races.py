"""Two people, or one twice, at the same moment, through two connections."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import TypeVar
from uuid import UUID, uuid4

import pytest
from django.db import connection

from balancing.airflow.models import FlowTest, HoodReading
from balancing.airflow.operations import acceptance, points
from balancing.airflow.operations import tests as operations
from projectsite.core.errors import Conflict
from tests.builders import make_cast
from tests.builders.accounts import AT
from tests.builders.airflow import (
    ON,
    cfm,
    fill_flow_test,
    make_accepted_test,
    make_flow_test,
    point_of,
    submit_flow_test,
)
from tests.builders.inventory import make_whole_unit

pytestmark = pytest.mark.django_db(transaction=True)
KEY = UUID("0b7a4c1e-5c3b-4d0e-9a55-8f2a6f0e1c11")
_Answer = TypeVar("_Answer")


def both(*acts: Callable[[], _Answer]) -> list[_Answer | Conflict]:
    """Do these at once, each through its own connection; a conflict is an answer."""
    barrier = Barrier(len(acts))

    def run(act: Callable[[], _Answer]) -> _Answer | Conflict:
        try:
            barrier.wait(timeout=10)
            return act()
        except Conflict as conflict:
            return conflict
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


def test_one_of_two_acceptances_wins() -> None:
    cast = make_cast()
    office, balancer = cast.scope("office"), cast.scope("balancer")
    unit = make_whole_unit(cast.project)
    make_accepted_test(office, balancer, unit)
    test = submit_flow_test(balancer, fill_flow_test(balancer, make_flow_test(balancer, unit)))

    def accept() -> int:
        return acceptance.accept(office, test_id=test.pk, version=test.version, note="x", at=AT)

    answers = both(accept, accept)
    assert sum(isinstance(answer, Conflict) for answer in answers) == 1
    states = sorted(FlowTest.objects.values_list("state", flat=True))
    assert states == ["accepted", "superseded"]


def test_a_reading_sent_twice_at_once_is_stored_once() -> None:
    cast = make_cast()
    balancer = cast.scope("balancer")
    test = make_flow_test(balancer, make_whole_unit(cast.project))
    reading = points.Reading(
        point_of(test).pk, test.design["outlets"][0]["id"], 1, cfm(181), KEY, AT
    )

    def send() -> points.Recorded:
        return points.record_reading(balancer, reading=reading)

    answers = both(send, send)
    recorded = [answer for answer in answers if isinstance(answer, points.Recorded)]
    assert sorted(answer.is_new for answer in recorded) == [False, True]
    assert HoodReading.objects.count() == 1


def test_one_of_two_new_tests_wins() -> None:
    cast = make_cast()
    balancer = cast.scope("balancer")
    unit = make_whole_unit(cast.project)

    def start(key: UUID) -> operations.Begun:
        return operations.start_test(
            balancer, unit_id=unit.pk, client_key=key, tested_date=ON, at=AT
        )

    answers = both(lambda: start(KEY), lambda: start(uuid4()))
    assert sum(isinstance(answer, Conflict) for answer in answers) == 1
    assert FlowTest.objects.count() == 1


def test_the_same_new_test_sent_twice_at_once_is_one_test() -> None:
    cast = make_cast()
    balancer = cast.scope("balancer")
    unit = make_whole_unit(cast.project)

    def start() -> operations.Begun:
        return operations.start_test(
            balancer, unit_id=unit.pk, client_key=KEY, tested_date=ON, at=AT
        )

    answers = both(start, start)
    begun = [answer for answer in answers if isinstance(answer, operations.Begun)]
    assert sorted(answer.is_new for answer in begun) == [False, True]
    assert len({answer.test_id for answer in begun}) == 1


def test_a_reading_does_not_slip_into_a_test_that_is_being_accepted() -> None:
    cast = make_cast()
    office, balancer = cast.scope("office"), cast.scope("balancer")
    unit = make_whole_unit(cast.project)
    test = submit_flow_test(balancer, fill_flow_test(balancer, make_flow_test(balancer, unit)))
    reading = points.Reading(
        point_of(test).pk, test.design["outlets"][0]["id"], 2, cfm(181), KEY, AT
    )

    def accept() -> int:
        return acceptance.accept(office, test_id=test.pk, version=test.version, note="x", at=AT)

    def send() -> int:
        return points.record_reading(balancer, reading=reading).reading_id

    accepted, refused = both(accept, send)
    assert isinstance(refused, Conflict)
    assert not isinstance(accepted, Conflict)
    assert not HoodReading.objects.filter(repeat=2).exists()
