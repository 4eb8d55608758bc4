"""The inventory over the API: the same operations, SI numbers with the text as entered."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import (
    CFM,
    make_air_handler,
    make_inlet,
    make_outlet,
    make_unit,
    make_whole_unit,
)
from tests.recorded_queries import Recorder
from zones.inventory.models import TerminalUnit
from zones.inventory.serializers import UnitOut

ROOT = "/api/v1/projects/alder/"


@pytest.fixture
def office(cast: Cast, api_as: Callable[[User], APIClient]) -> APIClient:
    """A client that acts for the office."""
    return api_as(cast.office)


def answer(response: Any, status: int = 200) -> Any:
    assert response.status_code == status, response.content[:500]
    return response.json()


def test_a_listed_unit_has_exactly_the_described_fields(cast: Cast, office: APIClient) -> None:
    make_whole_unit(cast.project)
    listed = answer(office.get(f"{ROOT}units/"))
    assert listed["count"] == 1
    assert set(listed["results"][0]) == set(UnitOut().fields)
    assert listed["results"][0]["air_handler"] == "AH-1"


def test_quantities_are_taken_as_numbers_or_as_text_with_a_unit(
    cast: Cast, office: APIClient
) -> None:
    body = {"tag": "TU-1", "cooling_max_m3_s": "350 cfm", "cooling_min_m3_s": 0.05}
    unit = answer(office.post(f"{ROOT}units/", body), 201)
    assert unit["cooling_max_m3_s"] == pytest.approx(350 * CFM)
    assert unit["entered"] == {"cooling_max_m3_s": "350 cfm", "cooling_min_m3_s": "0.05 m³/s"}


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "tag"),
        ({"tag": "X", "cooling_max_m3_s": "350"}, "cooling_max_m3_s"),
        ({"tag": "X", "cooling_max_m3_s": "350 gpm"}, "cooling_max_m3_s"),
        ({"tag": "X", "cooling_max_m3_s": -1}, "cooling_max_m3_s"),
        ({"tag": "X", "cooling_max_m3_s": 0.1, "cooling_min_m3_s": 0.2}, "cooling_min_m3_s"),
        ({"tag": "X", "heat": "steam"}, "heat"),
        ({"tag": "X", "mac_address": 128}, "mac_address"),
        ({"tag": "X", "inlet_id": 999999}, "inlet"),
    ],
)
def test_a_refusal_names_the_field(
    cast: Cast, office: APIClient, body: dict[str, Any], field: str
) -> None:
    refused = answer(office.post(f"{ROOT}units/", body), 400)
    assert field in refused["fields"]
    assert not TerminalUnit.objects.exists()


def test_a_change_needs_the_version_that_was_seen(cast: Cast, office: APIClient) -> None:
    unit = make_unit(cast.project)
    at = f"{ROOT}units/{unit.pk}/"
    assert "version" in answer(office.patch(at, {"floor": "3"}), 400)["fields"]
    assert answer(office.patch(at, {"floor": "3", "version": 1}))["version"] == 2
    told = answer(office.patch(at, {"floor": "4", "version": 1}), 409)
    assert "Floor 2 → 3" in told["message"]


def test_null_clears_and_what_is_not_sent_stays(cast: Cast, office: APIClient) -> None:
    unit = make_whole_unit(cast.project)
    at = f"{ROOT}units/{unit.pk}/"
    changed = answer(office.patch(at, {"zone_id": None, "version": 1}))
    assert changed["zone"] is None
    assert changed["air_handler"] == "AH-1"


def test_filters_and_order_are_those_of_the_page(cast: Cast, office: APIClient) -> None:
    make_unit(cast.project, "TU-1", floor="1")
    make_unit(cast.project, "TU-2", floor="2", cooling_max_m3_s=0.5)
    make_unit(cast.project, "TU-3", floor="2", cooling_max_m3_s=0.4)
    found = answer(office.get(f"{ROOT}units/?floor=2&sort=-cooling_max_m3_s"))
    assert [row["tag"] for row in found["results"]] == ["TU-2", "TU-3"]


@pytest.mark.parametrize(
    ("query", "field"),
    [("sort=colour", "sort"), ("zone=x", "zone"), ("archived=maybe", "archived")],
)
def test_a_filter_that_cannot_be_understood_is_refused(
    cast: Cast, office: APIClient, query: str, field: str
) -> None:
    assert field in answer(office.get(f"{ROOT}units/?{query}"), 400)["fields"]


def test_pages_are_numbered(cast: Cast, office: APIClient) -> None:
    for i in range(5):
        make_unit(cast.project, f"TU-{i}")
    page = answer(office.get(f"{ROOT}units/?page_size=2&page=3"))
    assert page["count"] == 5
    assert [row["tag"] for row in page["results"]] == ["TU-4"]
    assert page["next"] is None
    assert answer(office.get(f"{ROOT}units/?page=99"), 404)["code"] == "not-found"


def test_many_units_are_acted_on_together(cast: Cast, office: APIClient) -> None:
    ids = [make_unit(cast.project, f"TU-{i}").pk for i in (1, 2)]
    handler = make_air_handler(cast.project)
    body = {"ids": ids, "act": "set", "field": "air_handler", "value_id": handler.pk}
    assert answer(office.post(f"{ROOT}units/act/", body)) == {"changed": 2}
    assert answer(office.post(f"{ROOT}units/act/", {"ids": ids, "act": "archive"})) == {
        "changed": 2
    }
    refused = answer(office.post(f"{ROOT}units/act/", {"ids": ids, "act": "set"}), 400)
    assert "field" in refused["fields"]


def test_findings_come_with_their_si_values(cast: Cast, office: APIClient) -> None:
    unit = make_whole_unit(cast.project)
    make_outlet(unit, "D-3", design_m3_s=100 * CFM)
    found = answer(office.get(f"{ROOT}units/{unit.pk}/findings/"))
    (differs,) = [f for f in found if f["code"] == "inventory.outlet-sum-differs"]
    assert differs["severity"] == "disagrees"
    assert differs["values"]["outlets_m3_s"] == pytest.approx(800 * CFM)


def test_a_sensor_may_be_left_open_again(cast: Cast, office: APIClient) -> None:
    at = f"{ROOT}units/{make_unit(cast.project).pk}/"
    assert answer(office.get(at))["discharge_sensor"] == ""
    said = answer(office.patch(at, {"discharge_sensor": "yes", "version": 1}))
    assert said["discharge_sensor"] == "yes"
    assert (
        answer(office.patch(at, {"discharge_sensor": "", "version": 2}))["discharge_sensor"] == ""
    )
    refused = answer(office.patch(at, {"occupancy_sensor": "maybe", "version": 3}), 400)
    assert set(refused["fields"]) == {"occupancy_sensor"}


def test_the_change_log_names_the_api(cast: Cast, office: APIClient) -> None:
    unit = answer(office.post(f"{ROOT}units/", {"tag": "TU-1"}), 201)
    office.patch(f"{ROOT}units/{unit['id']}/", {"floor": "3", "version": 1})
    newest, added = answer(office.get(f"{ROOT}units/{unit['id']}/changes/"))
    assert (newest["field"], newest["old"], newest["new"]) == ("floor", "", "3")
    assert newest["where"] == "API"
    assert added["what"] == "added"


def test_the_library_is_kept_over_the_api(cast: Cast, office: APIClient) -> None:
    model = answer(office.post(f"{ROOT}library/box-models/", {"name": "Single duct"}), 201)
    at = f"{ROOT}library/box-models/{model['id']}/"
    inlet = {
        "label": "8 in",
        "diameter_m": "8 in",
        "free_area_m2": "0.3386 ft2",
        "nominal_k_m3_s_sqrt_pa": "916 cfm at 1 in. w.c.",
    }
    with_inlet = answer(office.post(f"{at}inlets/", inlet), 201)
    (stored,) = with_inlet["inlets"]
    assert stored["diameter_m"] == pytest.approx(0.2032)
    change = {"label": "8 in.", "version": with_inlet["version"]}
    place = f"{ROOT}library/inlets/{stored['id']}/"
    assert answer(office.patch(place, change))["inlets"][0]["label"] == "8 in."
    assert office.delete(place).status_code == 204
    assert answer(office.get(at))["inlets"] == []


def test_an_inlet_in_use_is_not_removed(cast: Cast, office: APIClient) -> None:
    inlet = make_inlet()
    make_unit(cast.project, inlet=inlet)
    refused = answer(office.delete(f"{ROOT}library/inlets/{inlet.pk}/"), 409)
    assert "Units have this inlet" in refused["message"]


ADDRESSES = [
    ("units", "units/"),
    ("unit", "units/{unit}/"),
    ("findings", "units/{unit}/findings/"),
    ("changes", "units/{unit}/changes/"),
    ("outlets", "outlets/"),
    ("air handlers", "air-handlers/"),
    ("zones", "zones/"),
    ("box models", "library/box-models/"),
    ("controller models", "library/controller-models/"),
]


@pytest.mark.parametrize(("name", "address"), ADDRESSES, ids=[name for name, _ in ADDRESSES])
def test_more_records_need_no_more_queries(
    cast: Cast, office: APIClient, recorded_queries: Recorder, name: str, address: str
) -> None:
    units = [make_whole_unit(cast.project, f"TU-{i}") for i in range(7)]
    with recorded_queries(f"inventory API: {name}"):
        answer(office.get(ROOT + address.format(unit=units[0].pk)))
