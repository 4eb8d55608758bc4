"""The API of flow tests, by the numbers and by its manners."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from balancing.airflow.models import FlowTest, HoodReading
from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.airflow import (
    fill_flow_test,
    make_accepted_test,
    make_flow_test,
    make_instrument,
    point_of,
)
from tests.builders.inventory import CFM, INCH_WATER, K, make_unit, make_whole_unit

ApiAs = Callable[[User], APIClient]
Recorder = Callable[[str], AbstractContextManager[None]]


def at(cast: Cast, rest: str) -> str:
    return f"/api/v1/projects/{cast.project.key}/{rest}"


@pytest.fixture
def client(cast: Cast, api_as: ApiAs) -> APIClient:
    return api_as(cast.balancer)


@pytest.fixture
def opened(cast: Cast) -> FlowTest:
    return make_flow_test(cast.scope("balancer"), make_whole_unit(cast.project))


def measured_over_the_api(
    cast: Cast, client: APIClient, pressures: Sequence[float], flows: Sequence[float]
) -> dict[str, Any]:
    """Begin a test, send four points in inch-pound text, and give the evaluation."""
    unit = make_unit(
        cast.project,
        cooling_max_m3_s=flows[3] * CFM,
        cooling_min_m3_s=flows[0] * CFM,
        heating_max_m3_s=flows[1] * CFM,
        heat="electric",
    )
    begun = client.post(
        at(cast, "flow-tests/"),
        {"client_key": str(uuid4()), "unit_id": unit.pk, "tested_date": "2026-11-25"},
    )
    assert begun.status_code == 201
    test = begun.json()
    of = {p["setpoint"]: p for p in test["points"] if p["round"] == "as-found"}
    order = ("cooling-min", "heating-max", "middle", "cooling-max")
    for setpoint, pressure, flow in zip(order, pressures, flows, strict=True):
        saved = client.patch(
            at(cast, f"flow-tests/{test['id']}/points/{of[setpoint]['id']}/"),
            {
                "version": of[setpoint]["version"],
                "sensed_pressure_pa": f"{pressure} in. w.c.",
                "measured_m3_s": f"{flow} cfm",
            },
        )
        assert saved.status_code == 200, saved.json()
    told = client.get(at(cast, f"flow-tests/{test['id']}/")).json()
    return dict(told["evaluation"])


# Worked examples of our own (computed; the ways to K are common practice, no source). K in cfm
# at 1 in. w.c., pressures in in. w.c.: printed to 0.01 of K and 1e-6 of pressure.
EXAMPLE_A = ([0.010, 0.040, 0.160, 0.360], [96, 184, 352, 530])
EXAMPLE_B = ([0.012, 0.042, 0.162, 0.362], [88, 176, 352, 528])


def test_worked_example_a(cast: Cast, client: APIClient) -> None:
    told = measured_over_the_api(cast, client, *EXAMPLE_A)
    options = {option["method"]: option for option in told["k"]["options"]}
    ks = {method: option["k_m3_s_sqrt_pa"] / K for method, option in options.items()}
    assert ks["one-reading"] == pytest.approx(883.33, abs=0.01)
    assert ks["least-squares"] == pytest.approx(886.32, abs=0.005)
    assert ks["least-relative"] == pytest.approx(908.59, abs=0.005)
    assert ks["zero-offset"] == pytest.approx(879.77, abs=0.005)
    assert options["zero-offset"]["zero_pa"] / INCH_WATER == pytest.approx(-0.002162, abs=1e-6)
    predicted = sorted(flow / CFM for flow in options["zero-offset"]["predicted_m3_s"])
    assert predicted == pytest.approx([97.0, 180.6, 354.3, 529.4], abs=0.05)
    residuals = {round(100 * error, 1) for error in options["least-squares"]["error_fractions"]}
    assert residuals == {-7.7, -3.7, 0.7, 0.3}
    assert told["k"]["zero_first"]


def test_worked_example_b(cast: Cast, client: APIClient) -> None:
    told = measured_over_the_api(cast, client, *EXAMPLE_B)
    options = {option["method"]: option for option in told["k"]["options"]}
    assert options["zero-offset"]["k_m3_s_sqrt_pa"] / K == pytest.approx(880.0, abs=1e-3)
    assert options["zero-offset"]["zero_pa"] / INCH_WATER == pytest.approx(0.002, abs=1e-7)
    assert options["least-squares"]["k_m3_s_sqrt_pa"] / K == pytest.approx(873.8, abs=0.05)
    worst = max(abs(error) for error in options["least-squares"]["error_fractions"])
    assert worst == pytest.approx(0.088, abs=5e-4)


class TestTests:
    def test_beginning_twice_with_one_key_is_harmless(self, cast: Cast, client: APIClient) -> None:
        unit = make_unit(cast.project)
        body = {"client_key": str(uuid4()), "unit_id": unit.pk, "tested_date": "2026-11-25"}
        first = client.post(at(cast, "flow-tests/"), body)
        again = client.post(at(cast, "flow-tests/"), body)
        assert (first.status_code, again.status_code) == (201, 200)
        assert first.json()["id"] == again.json()["id"]

    def test_quantities_are_si_and_keep_their_text(
        self, cast: Cast, client: APIClient, opened: FlowTest
    ) -> None:
        told = client.patch(
            at(cast, f"flow-tests/{opened.pk}/"),
            {"version": 2, "k_as_found_m3_s_sqrt_pa": "884", "air_degc": "13 °C"},
        )
        assert told.status_code == 400
        assert "has no unit" in told.json()["fields"]["k_as_found_m3_s_sqrt_pa"]
        told = client.patch(
            at(cast, f"flow-tests/{opened.pk}/"), {"version": 2, "air_degc": "13 °C"}
        ).json()
        assert (told["air_degc"], told["entered"]["air_degc"]) == (13.0, "13 °C")

    def test_a_stale_version_is_a_conflict(
        self, cast: Cast, client: APIClient, opened: FlowTest
    ) -> None:
        told = client.patch(at(cast, f"flow-tests/{opened.pk}/"), {"version": 1, "note": "x"})
        assert told.status_code == 409
        assert told.json()["code"] == "conflict"

    def test_the_way_to_acceptance(
        self, cast: Cast, client: APIClient, api_as: ApiAs, opened: FlowTest
    ) -> None:
        here = at(cast, f"flow-tests/{opened.pk}/")
        early = client.post(f"{here}submit/", {"version": 2})
        assert early.status_code == 400
        assert "Missing: " in early.json()["message"]
        fill_flow_test(cast.scope("balancer"), opened)
        kept = client.post(f"{here}k-factor/", {"version": 2, "method": "kept"}).json()
        sent = client.post(f"{here}submit/", {"version": kept["version"]}).json()
        assert sent["state"] == "submitted"
        decided = {"version": sent["version"], "note": ""}
        assert client.post(f"{here}accept/", decided).status_code == 403
        accepted = api_as(cast.office).post(f"{here}accept/", decided).json()
        assert (accepted["state"], accepted["decided_by_name"]) == ("accepted", "Office Person")

    def test_k_by_hand_needs_its_value(
        self, cast: Cast, client: APIClient, opened: FlowTest
    ) -> None:
        told = client.post(
            at(cast, f"flow-tests/{opened.pk}/k-factor/"), {"version": 2, "method": "by-hand"}
        )
        assert set(told.json()["fields"]) == {"k_m3_s_sqrt_pa"}

    def test_a_test_can_be_discarded(self, cast: Cast, client: APIClient, opened: FlowTest) -> None:
        here = at(cast, f"flow-tests/{opened.pk}/")
        assert client.delete(f"{here}?version=2").status_code == 204
        assert client.get(here).status_code == 404

    def test_the_list_filters_and_refuses_what_it_does_not_know(
        self, cast: Cast, client: APIClient, opened: FlowTest
    ) -> None:
        assert client.get(at(cast, "flow-tests/?state=open&floor=2")).json()["count"] == 1
        assert client.get(at(cast, "flow-tests/?state=accepted")).json()["count"] == 0
        refused = client.get(at(cast, "flow-tests/?state=lost"))
        assert set(refused.json()["fields"]) == {"state"}
        assert client.get(at(cast, "flow-tests/?unit=one")).status_code == 400
        assert client.get(at(cast, "flow-tests/?sort=colour")).status_code == 400

    @pytest.mark.parametrize("rows", [1, 5])
    def test_the_list_needs_the_same_queries_for_any_length(
        self, cast: Cast, client: APIClient, recorded_queries: Recorder, rows: int
    ) -> None:
        for number in range(rows):
            make_flow_test(cast.scope("balancer"), make_whole_unit(cast.project, f"TU-{number}"))
        with recorded_queries("airflow tests api"):
            assert client.get(at(cast, "flow-tests/")).json()["count"] == rows

    def test_one_test_needs_the_same_queries_however_much_was_read(
        self, cast: Cast, client: APIClient, opened: FlowTest, recorded_queries: Recorder
    ) -> None:
        client.get(at(cast, "flow-tests/"))  # the first use of a token is noted once a while
        with recorded_queries("airflow test api"):
            client.get(at(cast, f"flow-tests/{opened.pk}/"))
        fill_flow_test(cast.scope("balancer"), opened)
        with recorded_queries("airflow test api"):
            client.get(at(cast, f"flow-tests/{opened.pk}/"))


class TestReadings:
    @pytest.fixture
    def body(self, opened: FlowTest) -> dict[str, Any]:
        return {
            "client_key": str(uuid4()),
            "point_id": point_of(opened).pk,
            "outlet_id": opened.design["outlets"][0]["id"],
            "repeat": 1,
            "flow_m3_s": "181 cfm",
            "taken_at": "2026-11-25T14:05:00Z",
        }

    def test_first_201_then_200_with_the_stored_row(
        self, cast: Cast, client: APIClient, opened: FlowTest, body: dict[str, Any]
    ) -> None:
        here = at(cast, f"flow-tests/{opened.pk}/readings/")
        first, again = client.post(here, body), client.post(here, body)
        assert (first.status_code, again.status_code) == (201, 200)
        assert first.json() == again.json()
        assert first.json()["flow_as_entered"] == "181 cfm"
        assert HoodReading.objects.count() == 1

    def test_a_point_of_another_test_is_not_found(
        self, cast: Cast, client: APIClient, body: dict[str, Any]
    ) -> None:
        other = make_flow_test(cast.scope("balancer"), make_whole_unit(cast.project, "TU-9"))
        told = client.post(at(cast, f"flow-tests/{other.pk}/readings/"), body)
        assert told.status_code == 404

    def test_a_batch_answers_for_each(
        self, cast: Cast, client: APIClient, body: dict[str, Any]
    ) -> None:
        second = body | {"client_key": str(uuid4()), "repeat": 2}
        taken = body | {"client_key": str(uuid4())}
        malformed = body | {"client_key": "no", "flow_m3_s": "lots"}
        batch = {"readings": [body, malformed, second, body, taken]}
        told = client.post(at(cast, "flow-readings/"), batch).json()["results"]
        assert [item["status"] for item in told] == [201, 400, 201, 200, 409]
        assert set(told[1]["refusal"]["fields"]) == {"client_key", "flow_m3_s"}
        assert told[3]["reading"]["id"] == told[0]["reading"]["id"]

    @pytest.mark.parametrize("number", [0, 51])
    def test_a_batch_has_1_to_50(
        self, cast: Cast, client: APIClient, body: dict[str, Any], number: int
    ) -> None:
        told = client.post(at(cast, "flow-readings/"), {"readings": [body] * number})
        assert told.status_code == 400
        assert not HoodReading.objects.exists()

    def test_an_accepted_test_takes_none(
        self, cast: Cast, client: APIClient, body: dict[str, Any]
    ) -> None:
        unit = make_whole_unit(cast.project, "TU-9")
        test = make_accepted_test(cast.scope("office"), cast.scope("balancer"), unit)
        changed = body | {
            "point_id": point_of(test).pk,
            "outlet_id": test.design["outlets"][0]["id"],
            "repeat": 2,
        }
        told = client.post(at(cast, f"flow-tests/{test.pk}/readings/"), changed)
        assert told.status_code == 409
        assert "stays as it is" in told.json()["message"]


class TestInstruments:
    def test_an_instrument_is_added_changed_and_listed(self, cast: Cast, client: APIClient) -> None:
        body = {
            "name": "Hood 2",
            "kind": "hood",
            "serial": "FH-2",
            "accuracy_fraction": "3 %",
            "accuracy_floor_si": 7 * CFM,
        }
        added = client.post(at(cast, "instruments/"), body)
        assert added.status_code == 201
        row = added.json()
        assert row["accuracy_fraction"] == pytest.approx(0.03)
        here = at(cast, f"instruments/{row['id']}/")
        assert client.patch(here, {"name": "Hood B"}).status_code == 400
        assert client.patch(here, {"name": "Hood B", "version": 1}).json()["version"] == 2
        assert client.get(at(cast, "instruments/?kind=hood")).json()["count"] == 1

    def test_a_serial_number_that_is_taken(self, cast: Cast, client: APIClient) -> None:
        make_instrument(cast.project, "FH-2")
        body = {"name": "x", "kind": "hood", "serial": "fh-2", "accuracy_fraction": 0.03}
        told = client.post(at(cast, "instruments/"), body)
        assert told.status_code == 400
        assert "serial number already" in told.json()["message"]

    def test_a_certificate_is_sent_as_a_file(self, cast: Cast, client: APIClient) -> None:
        hood = make_instrument(cast.project)
        here = at(cast, f"instruments/{hood.pk}/certificate/")
        file = SimpleUploadedFile("c.pdf", b"%PDF-1.7 signed")
        assert client.put(here, {"certificate": file}, format="multipart").status_code == 200
        wrong = SimpleUploadedFile("c.pdf", b"MZ")
        refused = client.put(here, {"certificate": wrong}, format="multipart")
        assert set(refused.json()["fields"]) == {"certificate"}
