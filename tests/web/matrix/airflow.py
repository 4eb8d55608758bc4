"""Addresses of flow tests, readings and instruments."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

from balancing.airflow.models import FlowPoint, FlowTest, HoodReading, Instrument
from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.airflow import (
    fill_flow_test,
    make_accepted_test,
    make_flow_test,
    make_instrument,
    submit_flow_test,
)
from tests.builders.inventory import make_whole_unit
from tests.web.matrix import OFFICE, Entry, api, page
from zones.inventory.models import TerminalUnit

SEES = ("owner", "balancer", "controls", "office")
ENTERS = ("balancer", "office")
Arguments = Callable[[Cast, User | None], dict[str, Any]]


def _unit(cast: Cast) -> TerminalUnit:
    number = TerminalUnit.objects.filter(project=cast.project).count() + 1
    return make_whole_unit(cast.project, f"TU-7-{number}")


def _open(cast: Cast) -> FlowTest:
    return make_flow_test(cast.scope("balancer"), _unit(cast))


def _handed_in(cast: Cast) -> FlowTest:
    balancer = cast.scope("balancer")
    return submit_flow_test(balancer, fill_flow_test(balancer, _open(cast)))


def _accepted(cast: Cast) -> FlowTest:
    return make_accepted_test(cast.scope("office"), cast.scope("balancer"), _unit(cast))


def _of_test(make: Callable[[Cast], FlowTest]) -> Arguments:
    def arguments(cast: Cast, user: User | None) -> dict[str, Any]:
        del user
        return {"project_key": cast.project.key, "test_id": make(cast).pk}

    return arguments


def _of_point(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    test = _open(cast)
    point = FlowPoint.objects.filter(test=test).order_by("id")[0]
    return {"project_key": cast.project.key, "test_id": test.pk, "point_id": point.pk}


def _of_reading(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    scope = cast.scope("balancer")
    test = fill_flow_test(scope, _open(cast))
    reading = HoodReading.objects.filter(point__test=test).order_by("id")[0]
    return {"project_key": cast.project.key, "test_id": test.pk, "reading_id": reading.pk}


def _of_unit(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    return {"project_key": cast.project.key, "unit_id": _unit(cast).pk}


def _of_instrument(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    number = Instrument.objects.count() + 1
    hood = make_instrument(cast.project, f"FH-{number}", certificate="certificates/none.pdf")
    return {"project_key": cast.project.key, "instrument_id": hood.pk}


def _archived_instrument(cast: Cast, user: User | None) -> dict[str, Any]:
    arguments = _of_instrument(cast, user)
    Instrument.objects.filter(pk=arguments["instrument_id"]).update(archived_at=AT)
    return arguments


def _start_form(cast: Cast) -> dict[str, Any]:
    return {
        "client_key": str(uuid4()),
        "unit": _unit(cast).tag,
        "tested_date": "2026-11-25",
        "technician": cast.balancer.pk,
    }


def _start_body(cast: Cast) -> dict[str, Any]:
    return {
        "client_key": str(uuid4()),
        "unit_id": _unit(cast).pk,
        "tested_date": "2026-11-25",
        "technician_id": None,
    }


def _conditions_form(cast: Cast) -> dict[str, Any]:
    return {
        "c-version": 2,
        "c-tested_date": "2026-11-25",
        "c-elevation_m": "0",
        "c-technician": cast.balancer.pk,
    }


NEW_INSTRUMENT = {"name": "Hood 9", "kind": "hood", "serial": "FH-900", "accuracy_fraction": "3"}
SEEN = {"version": 2}
HANDED_IN = {"version": 4, "note": "Looked at together."}


def _reading_body(cast: Cast) -> dict[str, Any]:
    point = FlowPoint.objects.order_by("-test_id", "id")[0]
    outlet = FlowTest.objects.get(pk=point.test_id).design["outlets"][0]["id"]
    return {
        "client_key": str(uuid4()),
        "point_id": point.pk,
        "outlet_id": outlet,
        "flow_m3_s": "181 cfm",
        "taken_at": AT.isoformat(),
    }


def _batch_body(cast: Cast) -> dict[str, Any]:
    if not FlowTest.objects.exists():
        _open(cast)
    return {"readings": [_reading_body(cast)]}


def _instrument_body(cast: Cast) -> dict[str, Any]:
    number = Instrument.objects.count() + 1
    return {
        "name": "Hood 8",
        "kind": "hood",
        "serial": f"FH-8{number}",
        "accuracy_fraction": 0.03,
        "due_date": date(2027, 1, 1).isoformat(),
    }


# The office has to name somebody, which only a body of its own could; so it is told 400.
START_API = {**api(201, to=ENTERS), "office": 400}

PAGES = [
    Entry("airflow:tests", page(to=SEES)),
    Entry("airflow:acceptance", page(to=OFFICE)),
    Entry("airflow:start", page(to=ENTERS)),
    Entry("airflow:start", {**page(302, to=OFFICE), "balancer": 302}, "POST", data=_start_form),
    Entry("airflow:project-panel", page(to=SEES)),
    Entry("airflow:unit-panel", page(to=SEES), arguments=_of_unit),
    Entry("airflow:test", page(to=SEES), arguments=_of_test(_open)),
    Entry(
        "airflow:conditions",
        page(302, to=ENTERS),
        "POST",
        arguments=_of_test(_open),
        data=_conditions_form,
    ),
    Entry("airflow:point", page(302, to=ENTERS), "POST", arguments=_of_point, data={"version": 1}),
    Entry(
        "airflow:k-factor",
        page(302, to=ENTERS),
        "POST",
        arguments=_of_test(_open),
        data={"k-version": 2, "method": "kept"},
    ),
    Entry("airflow:submit", page(302, to=ENTERS), "POST", arguments=_of_test(_open), data=SEEN),
    Entry("airflow:withdraw", page(302, to=ENTERS), "POST", arguments=_of_test(_handed_in)),
    Entry("airflow:take-over", page(302, to=ENTERS), "POST", arguments=_of_test(_open)),
    Entry("airflow:return", page(to=OFFICE), arguments=_of_test(_handed_in)),
    Entry(
        "airflow:return",
        page(302, to=OFFICE),
        "POST",
        arguments=_of_test(_handed_in),
        data=HANDED_IN,
    ),
    Entry("airflow:accept", page(to=OFFICE), arguments=_of_test(_handed_in)),
    Entry(
        "airflow:accept",
        page(302, to=OFFICE),
        "POST",
        arguments=_of_test(_handed_in),
        data=HANDED_IN,
    ),
    Entry("airflow:discard", page(to=ENTERS), arguments=_of_test(_open)),
    Entry("airflow:discard", page(302, to=ENTERS), "POST", arguments=_of_test(_open), data=SEEN),
    Entry("airflow:instruments", page(to=SEES)),
    Entry("airflow:add-instrument", page(to=ENTERS)),
    Entry("airflow:instrument", page(to=SEES), arguments=_of_instrument),
    Entry(
        "airflow:archive-instrument",
        page(302, to=ENTERS),
        "POST",
        arguments=_of_instrument,
        data={"version": 1},
    ),
    Entry(
        "airflow:certificate",
        page(404, to=SEES),
        arguments=lambda cast, user: {"project_key": cast.project.key, "instrument_id": 0},
    ),
]

API = [
    Entry("airflow-api:test-list", api(to=SEES)),
    Entry("airflow-api:test-list", START_API, "POST", data=_start_body),
    Entry("airflow-api:test-detail", api(to=SEES), arguments=_of_test(_accepted)),
    Entry(
        "airflow-api:test-detail",
        api(to=ENTERS),
        "PATCH",
        arguments=_of_test(_open),
        data={"version": 2, "note": "windy"},
    ),
    # The version to be discarded stands in the address, so that it is missing here.
    Entry("airflow-api:test-detail", api(400, to=ENTERS), "DELETE", arguments=_of_test(_open)),
    Entry(
        "airflow-api:test-k-factor",
        api(to=ENTERS),
        "POST",
        arguments=_of_test(_open),
        data={"version": 2, "method": "kept"},
    ),
    Entry(
        "airflow-api:test-submit", api(400, to=ENTERS), "POST", arguments=_of_test(_open), data=SEEN
    ),
    Entry(
        "airflow-api:test-withdraw",
        api(to=ENTERS),
        "POST",
        arguments=_of_test(_handed_in),
        data={"version": 4},
    ),
    Entry(
        "airflow-api:test-take-over", api(to=ENTERS), "POST", arguments=_of_test(_open), data=SEEN
    ),
    Entry(
        "airflow-api:test-return",
        api(to=OFFICE),
        "POST",
        arguments=_of_test(_handed_in),
        data=HANDED_IN,
    ),
    Entry(
        "airflow-api:test-accept",
        api(to=OFFICE),
        "POST",
        arguments=_of_test(_handed_in),
        data=HANDED_IN,
    ),
    Entry("airflow-api:point-list", api(to=SEES), arguments=_of_test(_open)),
    Entry("airflow-api:point-detail", api(to=SEES), arguments=_of_point),
    Entry(
        "airflow-api:point-detail",
        api(to=ENTERS),
        "PATCH",
        arguments=_of_point,
        data={"version": 1, "reported_m3_s": "700 cfm"},
    ),
    Entry("airflow-api:reading-list", api(to=SEES), arguments=_of_test(_open)),
    Entry(
        "airflow-api:reading-list",
        api(201, to=ENTERS),
        "POST",
        arguments=_of_test(_open),
        data=_reading_body,
    ),
    Entry("airflow-api:reading-detail", api(to=SEES), arguments=_of_reading),
    Entry("airflow-api:reading-detail", api(204, to=ENTERS), "DELETE", arguments=_of_reading),
    Entry("airflow-api:reading-batch", api(to=ENTERS), "POST", data=_batch_body),
    Entry("airflow-api:instrument-list", api(to=SEES)),
    Entry("airflow-api:instrument-list", api(201, to=ENTERS), "POST", data=_instrument_body),
    Entry("airflow-api:instrument-detail", api(to=SEES), arguments=_of_instrument),
    Entry(
        "airflow-api:instrument-detail",
        api(to=ENTERS),
        "PATCH",
        arguments=_of_instrument,
        data={"version": 1, "name": "Hood 7"},
    ),
    Entry(
        "airflow-api:instrument-archive",
        api(to=ENTERS),
        "POST",
        arguments=_of_instrument,
        data={"version": 1},
    ),
    Entry(
        "airflow-api:instrument-restore",
        api(to=ENTERS),
        "POST",
        arguments=_archived_instrument,
        data={"version": 1},
    ),
    Entry(
        "airflow-api:instrument-certificate",
        api(415, to=ENTERS),
        "PUT",
        arguments=_of_instrument,
    ),
]

ENTRIES = [*PAGES, *API]
