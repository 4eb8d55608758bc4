"""Pages of flow tests: what each person sees, live saving, conflicts, and the whole way."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from balancing.airflow.models import FlowPoint, FlowTest, HoodReading, Instrument
from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.airflow import (
    fill_flow_test,
    make_accepted_test,
    make_flow_test,
    make_instrument,
    point_of,
    submit_flow_test,
)
from tests.builders.inventory import CFM, make_outlet, make_whole_unit

SignIn = Callable[[User], Client]
Recorder = Callable[[str], AbstractContextManager[None]]


def at(name: str, cast: Cast, *args: int) -> str:
    return reverse(f"airflow:{name}", args=[cast.project.key, *args])


def text_of(response: Any) -> str:
    """What a person reads, white space folded."""
    words = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", words)


@pytest.fixture
def opened(cast: Cast) -> FlowTest:
    return make_flow_test(cast.scope("balancer"), make_whole_unit(cast.project))


def point_data(point: FlowPoint, **typed: str) -> dict[str, Any]:
    return {"version": FlowPoint.objects.get(pk=point.pk).version, **typed}


def hood_data(test: FlowTest, *flows: str) -> dict[str, str]:
    outlets = [outlet["id"] for outlet in test.design["outlets"]]
    return {f"outlet-{o}-1": flow for o, flow in zip(outlets, flows, strict=True)}


class TestLists:
    def test_filter_search_and_export_show_the_same_rows(self, cast: Cast, sign_in: SignIn) -> None:
        balancer = cast.scope("balancer")
        make_flow_test(balancer, make_whole_unit(cast.project, "TU-2-1"))
        unit = make_whole_unit(cast.project, "TU-2-2")
        submit_flow_test(balancer, fill_flow_test(balancer, make_flow_test(balancer, unit)))
        client = sign_in(cast.balancer)
        page = text_of(client.get(at("tests", cast), {"state": "submitted"}))
        assert "TU-2-2" in page
        assert "TU-2-1 " not in page
        csv = client.get(at("tests", cast), {"text": "TU-2-1", "format": "csv"})
        assert csv["Content-Disposition"].endswith('flow-tests.csv"')
        assert csv.content.decode("utf-8-sig").count("\n") == 2

    def test_an_unknown_filter_is_told_and_left_out(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        page = text_of(sign_in(cast.balancer).get(at("tests", cast), {"state": "lost"}))
        assert "TU-2-1" in page
        assert "Select a valid choice" in page

    def test_a_test_of_an_older_schedule_says_so(self, cast: Cast, sign_in: SignIn) -> None:
        unit = make_whole_unit(cast.project)
        make_accepted_test(cast.scope("office"), cast.scope("balancer"), unit)
        unit.cooling_max_m3_s = 780 * CFM
        unit.save()
        assert "changed since" in text_of(sign_in(cast.owner).get(at("tests", cast)))

    @pytest.mark.parametrize("rows", [1, 6])
    def test_a_list_needs_the_same_queries_for_any_length(
        self, cast: Cast, sign_in: SignIn, recorded_queries: Recorder, rows: int
    ) -> None:
        for number in range(rows):
            unit = make_whole_unit(cast.project, f"TU-2-{number}")
            make_accepted_test(cast.scope("office"), cast.scope("balancer"), unit)
        client = sign_in(cast.office)
        with recorded_queries("airflow tests page"):
            client.get(at("tests", cast))


class TestReading:
    @pytest.mark.parametrize("role", ["owner", "controls"])
    def test_others_read_without_forms(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest, role: str
    ) -> None:
        fill_flow_test(cast.scope("balancer"), opened)
        page = sign_in(cast.person(role)).get(at("test", cast, opened.pk))
        assert "Measured" in text_of(page)
        forms = re.findall(r'<form[^>]*action="([^"]*)"', page.content.decode())
        assert [form for form in forms if "airflow" in form] == []

    def test_every_number_shows_its_working(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        fill_flow_test(cast.scope("balancer"), opened)
        page = text_of(sign_in(cast.owner).get(at("test", cast, opened.pk)))
        assert "measured = Σ outlets" in page
        assert "K = measured/√Δp" in page
        assert "lowest controllable flow = K √(lowest readable pressure)" in page

    def test_numbers_stand_in_the_readers_units(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        fill_flow_test(cast.scope("balancer"), opened)
        cast.owner.reading_system = "si"
        cast.owner.save()
        page = text_of(sign_in(cast.owner).get(at("test", cast, opened.pk)))
        # 700 cfm is 330 L/s.
        assert "330" in page
        assert "cfm" not in page

    def test_another_projects_test_is_not_found(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        address = reverse("airflow:test", args=[cast.other_project.key, opened.pk])
        assert sign_in(cast.stranger).get(address).status_code == 404

    def test_the_page_needs_the_same_queries_however_much_was_read(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest, recorded_queries: Recorder
    ) -> None:
        client = sign_in(cast.balancer)
        with recorded_queries("airflow test page"):
            client.get(at("test", cast, opened.pk))
        for number in (3, 4, 5):
            make_outlet(opened.unit, f"D-{number}")
        fill_flow_test(cast.scope("balancer"), opened)
        with recorded_queries("airflow test page"):
            client.get(at("test", cast, opened.pk))


class TestEntering:
    def test_a_point_is_saved_and_the_next_one_follows(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        point = point_of(opened)
        answer = sign_in(cast.balancer).post(
            at("point", cast, opened.pk, point.pk),
            point_data(point, reported_m3_s="700", **hood_data(opened, "340", "350 cfm")),
        )
        following = point_of(opened, "middle").pk
        assert answer["Location"] == f"{at('test', cast, opened.pk)}?point={following}#entry"
        assert sorted(HoodReading.objects.values_list("flow_as_entered", flat=True)) == [
            "340 cfm",
            "350 cfm",
        ]

    def test_what_was_typed_is_shown_again_as_typed(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        point = point_of(opened)
        client = sign_in(cast.balancer)
        client.post(
            at("point", cast, opened.pk, point.pk), point_data(point, reported_m3_s="0,33 m3/s")
        )
        page = client.get(at("test", cast, opened.pk), {"point": point.pk}).content.decode()
        assert 'value="0,33 m3/s"' in page

    def test_a_live_save_answers_with_what_it_comes_to(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        point = point_of(opened)
        answer = sign_in(cast.balancer).post(
            at("point", cast, opened.pk, point.pk),
            point_data(
                point,
                reported_m3_s="742",
                sensed_pressure_pa="0.68",
                **hood_data(opened, "357", "360"),
            ),
            headers={"HX-Request": "true"},
        )
        told = text_of(answer)
        assert answer.status_code == 200
        assert "saved" in told
        # 717 of 700 cfm; 742 against 717 is 3.5 %.
        assert "717 cfm" in told
        assert "102.4 %" in told
        assert "Controller reads high by 3.5 %" in told
        # The next save names the version that this one made.
        assert 'name="version" value="2"' in answer.content.decode()
        assert "<html" not in answer.content.decode()

    def test_a_mistyped_number_is_told_beside_its_field_and_nothing_is_saved(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        point = point_of(opened)
        client = sign_in(cast.balancer)
        data = point_data(point, reported_m3_s="7oo", **hood_data(opened, "340", "350"))
        page = client.post(at("point", cast, opened.pk, point.pk), data)
        assert page.status_code == 422
        assert "“oo” is not a unit known here." in text_of(page)
        assert 'value="7oo"' in page.content.decode()
        assert not HoodReading.objects.exists()
        live = client.post(
            at("point", cast, opened.pk, point.pk), data, headers={"HX-Request": "true"}
        )
        assert 'id="id_reported_m3_s_error" hx-swap-oob="true"' in live.content.decode()
        assert "Not saved." in text_of(live)

    def test_the_second_person_is_told_and_may_save_over_it(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        point = point_of(opened)
        address = at("point", cast, opened.pk, point.pk)
        client = sign_in(cast.balancer)
        client.post(address, {"version": 1, "reported_m3_s": "700"})
        page = client.post(address, {"version": 1, "reported_m3_s": "710"})
        assert page.status_code == 409
        assert "Now holds 700 cfm." in text_of(page)
        html = page.content.decode()
        assert 'value="710"' in html
        assert 'name="version" value="2"' in html
        client.post(address, {"version": 2, "reported_m3_s": "710"})
        assert FlowPoint.objects.get(pk=point.pk).reported_m3_s == pytest.approx(710 * CFM)

    def test_conditions_that_changed_meanwhile_are_told(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        page = sign_in(cast.balancer).post(
            at("conditions", cast, opened.pk),
            {"c-version": 1, "c-tested_date": "2026-11-25", "c-elevation_m": "5280"},
        )
        assert page.status_code == 409
        assert 'value="5280"' in page.content.decode()
        assert 'name="c-version" value="2"' in page.content.decode()

    def test_a_large_change_of_k_asks_for_a_reason(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        fill_flow_test(cast.scope("balancer"), opened, k_true=700)
        client = sign_in(cast.balancer)
        data = {"k-version": opened.version, "method": "least-squares"}
        page = client.post(at("k-factor", cast, opened.pk), data)
        assert "needs a reason" in text_of(page)
        client.post(at("k-factor", cast, opened.pk), data | {"k-reason": "7 in. inlet."})
        assert FlowTest.objects.get(pk=opened.pk).k_method == "least-squares"


def test_the_whole_way_over_the_pages(cast: Cast, sign_in: SignIn) -> None:
    unit = make_whole_unit(cast.project)
    hood = make_instrument(cast.project)
    balancer, office = sign_in(cast.balancer), sign_in(cast.office)
    begin = balancer.get(at("start", cast), {"unit": unit.tag}).content.decode()
    key = re.search(r'name="client_key" value="([^"]+)"', begin)
    assert key
    started = balancer.post(
        at("start", cast),
        {
            "client_key": key[1],
            "unit": unit.tag.lower(),
            "tested_date": "2026-11-25",
            "instrument": hood.pk,
        },
    )
    test = FlowTest.objects.get()
    assert started["Location"] == at("test", cast, test.pk)
    balancer.post(
        at("conditions", cast, test.pk),
        {
            "c-version": 1,
            "c-k_as_found_m3_s_sqrt_pa": "900",
            "c-instrument": hood.pk,
            "c-tested_date": "2026-11-25",
            "c-air_degc": "55",
            "c-elevation_m": "0",
            "c-hood_reads_actual": "on",
        },
    )
    for setpoint, flow in (("cooling-max", 700), ("cooling-min", 180), ("heating-max", 320)):
        point = point_of(test, setpoint)
        balancer.post(
            at("point", cast, test.pk, point.pk),
            point_data(
                point,
                reported_m3_s=str(flow),
                sensed_pressure_pa=f"{(flow / 900) ** 2:.4f}",
                **hood_data(test, str(flow / 2), str(flow / 2)),
            ),
        )
    refused = balancer.post(at("submit", cast, test.pk), {"version": 2}, follow=True)
    assert "Missing: K as left" in text_of(refused)
    balancer.post(at("k-factor", cast, test.pk), {"k-version": 2, "method": "kept"})
    balancer.post(at("submit", cast, test.pk), {"version": 3})
    assert "TU-2-1" in text_of(office.get(at("acceptance", cast)))
    office.post(at("accept", cast, test.pk), {"version": 4, "note": ""})
    test.refresh_from_db()
    assert (test.state, test.decided_by) == ("accepted", cast.office)
    assert "No test waits for acceptance." in text_of(office.get(at("acceptance", cast)))


class TestInstrumentPages:
    def test_an_instrument_is_added_with_its_certificate(self, cast: Cast, sign_in: SignIn) -> None:
        client = sign_in(cast.balancer)
        client.post(
            at("add-instrument", cast),
            {
                "name": "Hood 3",
                "kind": "hood",
                "serial": "FH-3",
                "accuracy_fraction": "3",
                "floor_flow": "7",
                "certificate": SimpleUploadedFile("x.exe", b"%PDF-1.7", "image/png"),
            },
        )
        hood = Instrument.objects.get()
        assert hood.accuracy_floor_si == pytest.approx(7 * CFM)
        answer = client.get(at("certificate", cast, hood.pk))
        assert answer["Content-Type"] == "application/pdf"
        assert answer["Content-Disposition"].startswith("attachment")

    def test_a_disguised_file_is_refused_and_nothing_is_added(
        self, cast: Cast, sign_in: SignIn
    ) -> None:
        page = sign_in(cast.balancer).post(
            at("add-instrument", cast),
            {
                "name": "Hood 3",
                "kind": "hood",
                "serial": "FH-3",
                "accuracy_fraction": "3",
                "certificate": SimpleUploadedFile("x.pdf", b"<script>", "application/pdf"),
            },
        )
        assert "not a PDF, PNG or JPEG file" in text_of(page)
        assert not Instrument.objects.exists()

    def test_the_list_tells_of_overdue_calibration(self, cast: Cast, sign_in: SignIn) -> None:
        make_instrument(cast.project, due_date="2026-03-03")
        assert "overdue by" in text_of(sign_in(cast.owner).get(at("instruments", cast)))

    def test_the_second_person_is_told(self, cast: Cast, sign_in: SignIn) -> None:
        hood = make_instrument(cast.project)
        client = sign_in(cast.balancer)
        data = {"kind": "hood", "serial": "FH-1", "accuracy_fraction": "3", "version": 1}
        client.post(at("instrument", cast, hood.pk), data | {"name": "Hood A"})
        page = client.post(at("instrument", cast, hood.pk), data | {"name": "Hood B"})
        assert page.status_code == 409
        assert 'value="Hood B"' in page.content.decode()
        hood.refresh_from_db()
        assert hood.name == "Hood A"


class TestPanels:
    def test_the_panel_of_a_unit_comes_alone_to_htmx(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        client = sign_in(cast.owner)
        address = at("unit-panel", cast, opened.unit_id)
        assert "<html" in client.get(address).content.decode()
        alone = client.get(address, headers={"HX-Request": "true"}).content.decode()
        assert "<html" not in alone
        assert "test 1" in alone

    def test_the_panel_of_the_project_counts(
        self, cast: Cast, sign_in: SignIn, opened: FlowTest
    ) -> None:
        make_whole_unit(cast.project, "TU-2-9")
        assert "1 of 2 units" in text_of(sign_in(cast.owner).get(at("project-panel", cast)))
