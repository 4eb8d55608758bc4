"""The catalogue of steps as pages and over the API."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.work import make_catalogue, make_step
from zones.work.domain.catalogue import STARTER_STEPS
from zones.work.models import Step, StepBefore

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
Recorder = Callable[[str], AbstractContextManager[None]]


def at(cast: Cast, name: str, *args: int) -> str:
    return reverse(f"work:{name}", args=[cast.project.key, *args])


def form(**changes: object) -> dict[str, object]:
    return {"name": "Box painted", "trade": "other", "per": "unit", "budget_h": "0.5"} | changes


def test_a_project_from_before_takes_the_usual_steps(cast: Cast, sign_in: SignIn) -> None:
    office, installer = sign_in(cast.office), sign_in(cast.installer)
    assert "Take the usual steps" in office.get(at(cast, "catalogue")).content.decode()
    assert "Take the usual steps" not in installer.get(at(cast, "catalogue")).content.decode()
    page = office.post(at(cast, "step-starter"), follow=True).content.decode()
    assert f"{len(STARTER_STEPS)} steps are taken." in page
    assert at(cast, "step", Step.objects.get(key="box-hung").pk) in page
    read = installer.get(at(cast, "catalogue")).content.decode()
    assert "Box hung and level" in read
    assert "work/steps/add" not in read


def test_search_order_and_file_show_the_same_rows(cast: Cast, sign_in: SignIn) -> None:
    make_catalogue(cast.project)
    client = sign_in(cast.owner)
    query = "?trade=balancer&sort=-hours&text=air"
    page = client.get(at(cast, "catalogue") + query)
    names = [row.name for row in page.context["table"].rows]
    assert names == ["Airflow verified", "Airflow sensor zeroed"]
    lines = client.get(at(cast, "catalogue") + query + "&format=csv").content.decode("utf-8-sig")
    assert [line.split(",")[0] for line in lines.strip().splitlines()[-2:]] == names
    assert "Points checked out" in lines


@pytest.mark.parametrize("size", [2, 26])
def test_the_list_needs_the_same_queries_for_any_length(
    cast: Cast, sign_in: SignIn, recorded_queries: Recorder, size: int
) -> None:
    steps = make_catalogue(cast.project)
    Step.objects.exclude(pk__in=[step.pk for step in list(steps.values())[:size]]).delete()
    client = sign_in(cast.office)
    with recorded_queries("work: steps"):
        assert client.get(at(cast, "catalogue")).status_code == 200


def test_the_second_of_two_is_told_and_loses_nothing(cast: Cast, sign_in: SignIn) -> None:
    step, client = make_step(cast.project), sign_in(cast.office)
    here = at(cast, "step", step.pk)
    assert client.post(here, form(name="Box hung", version=1)).status_code == 302
    second = client.post(here, form(name="Box set", version=1))
    assert second.status_code == 409
    page = second.content.decode()
    assert "Somebody changed Box hung" in page
    assert 'value="Box set"' in page
    assert client.post(here, form(name="Box set", version=2)).status_code == 302
    assert Step.objects.get().name == "Box set"


def test_a_circle_is_told_beside_its_field(cast: Cast, sign_in: SignIn) -> None:
    hung = make_step(cast.project)
    duct = make_step(cast.project, "duct-connected", before=[hung])
    here = at(cast, "step", hung.pk)
    page = sign_in(cast.office).post(here, form(version=1, before=[duct.pk]))
    assert page.status_code == 422
    assert "wait for each other" in page.context["form"].errors["before"][0]
    assert StepBefore.objects.count() == 1


def test_archive_restore_and_move(cast: Cast, sign_in: SignIn) -> None:
    hung = make_step(cast.project)
    duct = make_step(cast.project, "duct-connected", before=[hung])
    client = sign_in(cast.office)
    asked = client.get(at(cast, "step-archive", hung.pk)).content.decode()
    assert "Steps that stop waiting for it: Duct connected." in asked
    client.post(at(cast, "step-archive", hung.pk))
    archived = client.get(at(cast, "catalogue") + "?archived=on")
    assert [row.id for row in archived.context["table"].rows] == [hung.pk]
    client.post(at(cast, "step-restore", hung.pk))
    moved = client.post(at(cast, "step-move", duct.pk), {"to": 1})
    assert moved.status_code == 302
    rows = client.get(at(cast, "catalogue")).context["table"].rows
    assert [(row.id, row.place) for row in rows] == [(duct.pk, 1), (hung.pk, 2)]


def test_the_api_does_what_the_pages_do(cast: Cast, api_as: ApiAs) -> None:
    client, base = api_as(cast.office), f"/api/v1/projects/{cast.project.key}/steps/"
    assert client.post(f"{base}starter/").json() == {"steps": len(STARTER_STEPS)}
    assert client.post(f"{base}starter/").status_code == 409
    listed = client.get(f"{base}?trade=electrical&sort=-name").json()
    assert [row["key"] for row in listed["results"]] == ["transformer-set", "heater-wired"]
    assert client.get(f"{base}?sort=colour").status_code == 400
    first = listed["results"][0]["id"]
    new = {"name": "Panel fed", "trade": "electrical", "before": [first], "budget_h": 3.5}
    made = client.post(base, new).json()
    assert (made["key"], made["place"], made["budget_h"]) == ("panel-fed", 27, 3.5)
    circle = client.patch(f"{base}{first}/", {"version": 1, "before": [made["id"]]})
    assert circle.status_code == 400
    assert set(circle.json()["fields"]) == {"before"}
    assert client.patch(f"{base}{first}/", {"budget_h": 1}).status_code == 400
    stale = client.patch(f"{base}{first}/", {"version": 0, "budget_h": 1})
    assert (stale.status_code, stale.json()["code"]) == (409, "conflict")
    assert client.post(f"{base}{made['id']}/move/", {"to": 1}).json()["place"] == 1
    assert client.post(f"{base}{made['id']}/archive/").json()["place"] is None
    assert client.post(f"{base}{made['id']}/restore/").json()["version"] == 3
