"""Projects on pages and in the API: home, settings, conflicts, and what the two share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from projectsite.accounts.models import Membership, Project, User
from projectsite.core import panels, waiting
from projectsite.core.panels import Panel
from projectsite.core.waiting import WaitingItem
from tests.builders import Cast, make_user

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]

SETTINGS = {
    "version": "1",
    "name": "Alder Street Library",
    "number": "26-041",
    "site_address": "12 Alder Street",
    "status": "active",
    "display_system": "ip",
    "time_zone": "America/Denver",
    "elevation_m": "5280",
    "unit_over_fraction": "10.0",
    "unit_under_fraction": "5",
    "outlet_over_fraction": "10.0",
    "outlet_under_fraction": "10.0",
    "tolerance_floor_m3_s": "10 cfm",
    "agreement_fraction": "5.0",
    "readable_pressure_pa": "0.004",
    "hood_minimum_m3_s": "50",
    "inlet_velocity_limit_m_s": "2000",
}
NEW = {
    "key": "cedar",
    "name": "Cedar Hall",
    "display_system": "si",
    "time_zone": "Europe/Oslo",
    "elevation_m": "300 ft",
}


def words(answer: Any) -> str:
    return str(answer.content.decode())


def test_home_shows_own_projects_only(cast: Cast, sign_in: SignIn) -> None:
    shown = words(sign_in(cast.balancer).get("/"))
    assert "Alder Street Library" in shown
    assert "Birch Street Library" not in shown


def test_home_says_what_to_do_when_there_is_nothing(db: None, sign_in: SignIn) -> None:
    assert "one-time link" in words(sign_in(make_user("new")).get("/"))
    assert "New project" in words(sign_in(make_user("maker", may_create_projects=True)).get("/"))


@pytest.fixture
def something_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waiting, "_providers", {})
    waiting.register(
        "test",
        lambda person: [
            WaitingItem("alder", "tests to accept", "/p/alder/people/", 3),
            WaitingItem("alder", "drafts", "/p/alder/", 0),
        ],
    )


def test_home_shows_what_waits(cast: Cast, sign_in: SignIn, something_waits: None) -> None:
    shown = words(sign_in(cast.office).get("/"))
    assert "3 tests to accept" in shown
    assert "drafts" not in shown


def test_a_name_of_a_provider_is_taken_once(something_waits: None) -> None:
    with pytest.raises(ValueError, match="twice"):
        waiting.register("test", lambda person: [])


def test_panels_are_for_those_who_may_see_them(
    cast: Cast, sign_in: SignIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(panels, "_panels", {"project": [], "unit": []})
    panels.register("project", Panel("Crew", "accounts:people", "manage-people"))
    assert 'hx-get="/p/alder/people/"' in words(sign_in(cast.office).get("/p/alder/"))
    assert "Crew" not in words(sign_in(cast.owner).get("/p/alder/"))


def test_who_makes_a_project_is_its_office(cast: Cast, sign_in: SignIn) -> None:
    answer = sign_in(cast.office).post("/projects/new/", NEW)
    assert answer["Location"] == "/p/cedar/"
    made = Project.objects.get(key="cedar")
    assert made.elevation_m == pytest.approx(91.44)
    assert Membership.objects.get(project=made).role == "office"


def test_a_taken_short_name_is_told_beside_the_field(cast: Cast, sign_in: SignIn) -> None:
    shown = words(sign_in(cast.office).post("/projects/new/", {**NEW, "key": "alder"}))
    assert "already exists" in shown or "taken" in shown
    assert 'value="Cedar Hall"' in shown


def test_settings_are_stored_in_si(cast: Cast, sign_in: SignIn) -> None:
    answer = sign_in(cast.office).post("/p/alder/settings/", SETTINGS)
    assert answer.status_code == 302
    cast.project.refresh_from_db()
    assert cast.project.unit_under_fraction == pytest.approx(0.05)
    assert cast.project.elevation_m == pytest.approx(1609.344)
    assert cast.project.tolerance_floor_m3_s == pytest.approx(10 * 0.0004719474432)
    assert cast.project.version == 2


def test_what_is_left_as_shown_stays_exactly_as_stored(cast: Cast, sign_in: SignIn) -> None:
    Project.objects.update(inlet_velocity_limit_m_s=10.161234)
    sign_in(cast.office).post("/p/alder/settings/", SETTINGS)
    cast.project.refresh_from_db()
    assert cast.project.inlet_velocity_limit_m_s == 10.161234


def test_saving_unchanged_settings_makes_no_new_version(cast: Cast, sign_in: SignIn) -> None:
    office = sign_in(cast.office)
    office.post("/p/alder/settings/", SETTINGS)
    office.post("/p/alder/settings/", {**SETTINGS, "version": "2"})
    cast.project.refresh_from_db()
    assert cast.project.version == 2


def test_the_second_is_told_what_changed_and_keeps_what_was_typed(
    cast: Cast, sign_in: SignIn
) -> None:
    office = sign_in(cast.office)
    office.post("/p/alder/settings/", SETTINGS)
    late = {**SETTINGS, "unit_under_fraction": "12", "number": "changed-by-me"}
    answer = office.post("/p/alder/settings/", late)
    assert answer.status_code == 409
    shown = words(answer)
    assert "Stored now: 5.0 %." in shown
    assert 'value="12"' in shown
    assert 'value="changed-by-me"' in shown
    cast.project.refresh_from_db()
    assert cast.project.number == "26-041"
    assert office.post("/p/alder/settings/", {**late, "version": "2"}).status_code == 302


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"unit_under_fraction": "lots"}, "is not a number"),
        ({"unit_under_fraction": "101"}, "or less"),
        ({"readable_pressure_pa": "5 cfm"}, "is not a unit of pressure"),
        ({"elevation_m": "20000"}, "or less"),
        ({"time_zone": "Mars/Dome"}, "not one of the available choices"),
        ({"name": ""}, "required"),
    ],
)
def test_a_wrong_setting_is_told_and_nothing_is_stored(
    cast: Cast, sign_in: SignIn, change: dict[str, str], message: str
) -> None:
    answer = sign_in(cast.office).post("/p/alder/settings/", {**SETTINGS, "number": "x", **change})
    assert message in words(answer)
    cast.project.refresh_from_db()
    assert (cast.project.number, cast.project.version) == ("26-041", 1)


def test_the_api_gives_si_and_takes_text_with_units(cast: Cast, api_as: ApiAs) -> None:
    office = api_as(cast.office)
    change = {"unit_over_fraction": 0.15, "hood_minimum_m3_s": "40 cfm"}
    answer = office.patch("/api/v1/projects/alder/", {"version": 1, "settings": change})
    assert answer.status_code == 200
    stored = answer.json()
    assert stored["settings"]["unit_over_fraction"] == 0.15
    assert stored["settings"]["hood_minimum_m3_s"] == pytest.approx(40 * 0.0004719474432)
    assert (stored["version"], stored["role"]) == (2, "office")


def test_the_api_refuses_a_stale_version(cast: Cast, api_as: ApiAs) -> None:
    office = api_as(cast.office)
    office.patch("/api/v1/projects/alder/", {"version": 1, "settings": {"number": "2"}})
    answer = office.patch("/api/v1/projects/alder/", {"version": 1, "settings": {"number": "3"}})
    assert answer.status_code == 409
    assert answer.json()["fields"] == {"number": "Someone else changed this meanwhile."}


def test_the_api_names_a_wrong_field(cast: Cast, api_as: ApiAs) -> None:
    change = {"version": 1, "settings": {"unit_over_fraction": 2}}
    answer = api_as(cast.office).patch("/api/v1/projects/alder/", change)
    assert answer.status_code == 400
    assert set(answer.json()["fields"]) == {"settings.unit_over_fraction"}


def test_the_list_of_the_api_is_paged(cast: Cast, api_as: ApiAs) -> None:
    answer = api_as(cast.balancer).get("/api/v1/projects/").json()
    assert answer["count"] == 1
    assert answer["results"][0]["key"] == "alder"
    assert answer["results"][0]["role"] == "balancer"


def test_refusals_look_the_same_on_pages_and_in_the_api(
    cast: Cast, sign_in: SignIn, api_as: ApiAs
) -> None:
    page, api = sign_in(cast.owner), api_as(cast.owner)
    assert page.get("/p/alder/people/").status_code == 403
    assert api.get("/api/v1/projects/alder/people/").status_code == 403
    for key in ("birch", "no-such-project"):
        hidden = page.get(f"/p/{key}/")
        told = api.get(f"/api/v1/projects/{key}/")
        assert (hidden.status_code, told.status_code) == (404, 404)
        assert told.json()["message"] in words(hidden).replace("’", "’")


def test_the_api_description_page_has_nothing_inline(cast: Cast, sign_in: SignIn) -> None:
    shown = words(sign_in(cast.office).get("/api/docs/"))
    assert "<style" not in shown
    assert "<script>" not in shown


def test_health_tells_no_secrets(cast: Cast, sign_in: SignIn) -> None:
    assert Client().get("/healthz").content == b"ok\n"
    told = sign_in(cast.owner).get("/api/v1/status/").json()
    assert set(told) == {"database_version", "jobs_waiting"}
