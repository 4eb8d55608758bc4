"""The page of the progress, its files, its panel, and the same over the API."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.work import make_step, mark
from zones.work.models import PlannedPeriod

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
Recorder = Callable[[str], AbstractContextManager[None]]


def at(cast: Cast, rest: str = "") -> str:
    return f"/p/{cast.project.key}/work/progress/{rest}"


@pytest.fixture
def begun(cast: Cast) -> Cast:
    """Six units, a box hung in each of five past weeks, and a plan that ends in a month."""
    handler = make_air_handler(cast.project)
    hung = make_step(cast.project, "box-hung", budget_h=1.5)
    make_step(cast.project, "sensor-wired", trade="controls", budget_h=0.5, before=[hung])
    now = timezone.now()
    for i in range(6):
        unit = make_unit(cast.project, f"TU-{i}", floor=str(1 + i % 2), air_handler=handler)
        if i < 5:
            mark(unit, hung, cast.installer, at=now - timedelta(weeks=i + 1))
    PlannedPeriod.objects.create(
        project=cast.project,
        start_date=(now - timedelta(days=30)).date(),
        finish_date=(now + timedelta(days=30)).date(),
    )
    return cast


def test_the_page_tells_where_the_work_stands(
    begun: Cast, sign_in: SignIn, recorded_queries: Recorder
) -> None:
    client = sign_in(begun.owner)
    with recorded_queries("page: progress"):
        answer = client.get(at(begun))
    page = answer.content.decode()
    assert "5 <small>of 12</small>" in page
    assert "7.5 h <small>of 12.0 h</small>" in page
    assert "From 5 past weeks of 1.5 h on average; 4.5 h remain." in page
    assert "half by" in page
    assert "5 steps done" not in page
    assert "1 step waits for mechanical" in page
    assert page.count("<svg") >= 2
    assert 'href="?floor=2"' in page


def test_filters_narrow_page_and_files(begun: Cast, sign_in: SignIn) -> None:
    client = sign_in(begun.owner)
    text = client.get(at(begun, "?floor=1&trade=mechanical&format=csv&table=trades"))
    lines = text.content.decode("utf-8-sig").splitlines()
    assert lines[0].startswith("Trade,Steps,Done")
    assert [line.split(",")[:3] for line in lines[1:]] == [["Mechanical", "3", "3"]]
    weeks = client.get(at(begun, "?format=xlsx&table=weeks"))
    assert weeks.content.startswith(b"PK")
    assert client.get(at(begun, "?format=csv&table=years")).status_code == 404
    assert "Nothing matches." in client.get(at(begun, "?floor=99")).content.decode()
    assert "Nothing matches." in client.get(at(begun, "?air_handler=x")).content.decode()


def test_what_is_missing_is_said_first(cast: Cast, sign_in: SignIn) -> None:
    client = sign_in(cast.office)
    assert "No terminal units yet." in client.get(at(cast)).content.decode()
    make_unit(cast.project)
    assert "No steps yet." in client.get(at(cast)).content.decode()
    make_step(cast.project)
    page = client.get(at(cast)).content.decode()
    assert "No planned periods yet" in page
    assert "No forecast: no past week earned any hours." in page


def test_the_panel_stands_on_the_page_of_the_project(begun: Cast, sign_in: SignIn) -> None:
    client = sign_in(begun.owner)
    address = f"/p/{begun.project.key}/panels/work-progress/"
    assert address in client.get(f"/p/{begun.project.key}/").content.decode()
    panel = client.get(address, headers={"HX-Request": "true"}).content.decode()
    assert "5 of 12 steps done" in panel
    assert "<html" not in panel


def test_the_api_gives_what_the_page_shows(begun: Cast, api_as: ApiAs) -> None:
    client = api_as(begun.owner)
    address = f"/api/v1/projects/{begun.project.key}/work/progress/"
    found = client.get(address).json()
    assert found["whole"]["earned_h"] == 7.5
    assert [row["label"] for row in found["floors"]] == ["1", "2"]
    assert [row["key"] for row in found["trades"]] == ["mechanical", "controls"]
    assert found["forecast"]["refusal"] == ""
    assert found["forecast"]["remaining_h"] == 4.5
    assert found["standing"]["schedule_index"] == pytest.approx(
        7.5 / found["standing"]["planned_h"]
    )
    assert found["curve"][0]["earned_h"] == 0
    assert found["held_up"] == [{"trade": "mechanical", "waiting": 1}]
    even = client.get(address, {"shape": "even", "floor": "1"}).json()
    assert even["whole"]["steps"] == 6
    for name in ("trade", "shape", "air_handler"):
        answer = client.get(address, {name: "bent"})
        assert answer.status_code == 400
        assert name in answer.json()["fields"]
