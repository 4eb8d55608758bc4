"""Pages and API of the planning: what is shown, what the forms do, conflicts, exports."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_unit
from tests.builders.work import make_step
from tests.builders.work_planning import make_period, promise
from zones.inventory.models import TerminalUnit
from zones.work.models import Assignment, PlannedPeriod, Step

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
Recorder = Callable[[str], AbstractContextManager[None]]
FRIDAY = date(2026, 11, 27)


@pytest.fixture(autouse=True)
def _on_wednesday() -> Any:
    with time_machine.travel(AT, tick=False):
        yield


@pytest.fixture
def unit(cast: Cast) -> TerminalUnit:
    return make_unit(cast.project)


@pytest.fixture
def hung(cast: Cast) -> Step:
    return make_step(cast.project)


def at(name: str, cast: Cast, *args: int) -> str:
    return reverse(f"work:{name}", args=[cast.project.key, *args])


def api(name: str, cast: Cast, *args: int) -> str:
    return reverse(f"work-api:{name}", args=[cast.project.key, *args])


def text_of(response: Any) -> str:
    """What a person reads, white space folded."""
    words = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", words)


class TestLookAhead:
    def test_page_and_file_show_the_same_promises_with_what_blocks_them(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit, hung: Step
    ) -> None:
        mounted = make_step(cast.project, "mounted", trade="controls", before=[hung])
        promise(unit, mounted, cast.controls)
        promise(make_unit(cast.project, "TU-2-2"), hung, due_date=FRIDAY + timedelta(days=20))
        client = sign_in(cast.owner)
        page = text_of(client.get(at("look-ahead", cast)))
        assert "Mechanical: Box hung – ready; nobody named, no day" in page
        assert "TU-2-2" not in page
        wide = {"weeks": "4", "trade": "mechanical", "format": "csv"}
        file = client.get(at("look-ahead", cast), wide).content.decode("utf-8-sig")
        assert "TU-2-2,2026-12-17 Thu" in file
        assert "TU-2-1" not in file

    def test_nothing_of_what_people_wrote_becomes_markup(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit
    ) -> None:
        step = make_step(cast.project, "odd", name="<b>Odd</b> step", trade="controls")
        later = make_step(cast.project, "later", before=[step])
        promise(unit, later)
        shown = sign_in(cast.office).get(at("look-ahead", cast)).content.decode()
        assert "&lt;b&gt;Odd&lt;/b&gt; step" in shown
        assert "<b>Odd" not in shown

    def test_an_unknown_filter_is_told_and_left_out(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit, hung: Step
    ) -> None:
        promise(unit, hung)
        page = text_of(sign_in(cast.office).get(at("look-ahead", cast), {"person": "nobody"}))
        assert "Select a valid choice" in page
        assert "TU-2-1" in page

    def test_what_is_due_waits_on_the_home_page(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit, hung: Step
    ) -> None:
        promise(unit, hung, cast.installer)
        page = sign_in(cast.installer).get("/").content.decode()
        assert "step of yours due this week or overdue" in page
        assert f"{at('look-ahead', cast)}?person={cast.installer.pk}&amp;weeks=1" in page

    def test_one_number_of_queries(
        self,
        cast: Cast,
        sign_in: SignIn,
        unit: TerminalUnit,
        hung: Step,
        recorded_queries: Recorder,
    ) -> None:
        for number in range(2, 6):
            promise(make_unit(cast.project, f"TU-2-{number}"), hung, cast.installer)
        client = sign_in(cast.office)
        with recorded_queries("work page: look-ahead"):
            client.get(at("look-ahead", cast))
        with recorded_queries("work page: plan work"):
            client.get(at("assign", cast), {"step": hung.pk})


class TestAssign:
    def test_the_office_plans_ticked_units_and_comes_back_to_its_page(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit, hung: Step
    ) -> None:
        client = sign_in(cast.office)
        here = f"{at('assign', cast)}?step={hung.pk}"
        assert f'value="{unit.pk}:{hung.pk}"' in client.get(here).content.decode()
        sent = {
            "cell": f"{unit.pk}:{hung.pk}",
            "person": cast.installer.pk,
            "due_date": "2026-11-27",
            "next": here,
        }
        answer = client.post(at("assign", cast), sent)
        assert answer["Location"] == here
        row = Assignment.objects.get()
        assert (row.person_id, row.due_date) == (cast.installer.pk, FRIDAY)
        assert "1 step planned." in text_of(client.get(here))
        # Another day for whoever has it; the person stays.
        moved = {"cell": f"{unit.pk}-{hung.pk}", "due_date": "2026-11-30", "next": "//elsewhere"}
        answer = client.post(at("assign", cast), moved)
        assert answer["Location"] == at("look-ahead", cast)
        row = Assignment.objects.get(ended_at=None)
        assert (row.person_id, row.due_date) == (cast.installer.pk, date(2026, 11, 30))

    def test_a_refusal_is_told_on_the_page_and_nothing_is_written(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit, hung: Step
    ) -> None:
        client = sign_in(cast.office)
        cell = f"{unit.pk}:{hung.pk}"
        for sent, told in (
            ({"cell": cell, "person": cast.controls.pk}, "works as controls"),
            ({"cell": cell, "due_date": "2026-11-20"}, "is gone by"),
            ({"cell": cell, "due_date": "soon"}, "Due: Enter a valid date."),
            ({"cell": cell}, "Choose a person or a day."),
            ({"due_date": "2026-11-27"}, "Tick at least one step."),
        ):
            assert told in text_of(client.post(at("assign", cast), sent, follow=True))
        assert not Assignment.objects.exists()

    def test_an_installer_takes_a_step_of_the_own_trade(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit, hung: Step
    ) -> None:
        wired = make_step(cast.project, "wired", trade="electrical")
        client = sign_in(cast.installer)
        client.post(at("assign", cast), {"cell": [f"{unit.pk}:{hung.pk}"]})
        told = client.post(at("assign", cast), {"cell": f"{unit.pk}:{wired.pk}"}, follow=True)
        assert "another trade (electrical)" in text_of(told)
        assert list(Assignment.objects.values_list("step_id", "person_id")) == [
            (hung.pk, cast.installer.pk)
        ]


class TestPeriods:
    def test_the_second_of_two_is_told_what_changed_and_saves_again(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit
    ) -> None:
        made = make_period(cast.project, "2")
        sent = {
            "floor": "2",
            "trade": "mechanical",
            "start_date": "2026-12-01",
            "finish_date": "2026-12-22",
            "version": "1",
        }
        PlannedPeriod.objects.update(version=2, finish_date=date(2026, 12, 20))
        client = sign_in(cast.office)
        answer = client.post(at("period", cast, made.pk), sent)
        assert answer.status_code == 409
        assert "it is now 2026-12-01 to 2026-12-20" in text_of(answer)
        again = client.post(at("period", cast, made.pk), {**sent, "version": "2"})
        assert again.status_code == 302
        assert PlannedPeriod.objects.get().finish_date == date(2026, 12, 22)

    def test_an_error_stands_beside_its_field_and_the_list_stays(
        self, cast: Cast, sign_in: SignIn, unit: TerminalUnit
    ) -> None:
        make_period(cast.project, "2")
        sent = {"floor": "2", "start_date": "2026-12-01", "finish_date": "2026-11-01"}
        page = text_of(sign_in(cast.office).post(at("periods", cast), sent))
        assert "The period ends before it begins." in page
        assert "2026-12-18" in page


class TestApi:
    def test_plan_list_take_and_end(
        self, cast: Cast, api_as: ApiAs, unit: TerminalUnit, hung: Step
    ) -> None:
        office, installer = api_as(cast.office), api_as(cast.installer)
        cells = {"cells": [{"unit_id": unit.pk, "step_id": hung.pk}]}
        planned = office.post(
            api("assignment-list", cast), {**cells, "due_date": "2026-11-27"}, format="json"
        )
        assert planned.json() == {"changed": 1, "unchanged": 0, "skipped": []}
        taken = installer.post(api("assignment-take", cast), cells, format="json")
        assert taken.json()["changed"] == 1
        (row,) = office.get(
            api("look-ahead", cast), {"person": cast.installer.pk, "weeks": 1}
        ).json()["results"]
        assert (row["due_date"], row["state"], row["can_be_done"]) == ("2026-11-27", "ready", True)
        late = office.get(api("assignment-list", cast), {"due_from": "2026-12-01"}).json()
        assert late["count"] == 0
        assert installer.post(api("assignment-end", cast), cells, format="json").status_code == 200
        assert Assignment.objects.get(ended_at=None).person_id is None

    def test_mistakes_are_named(self, cast: Cast, api_as: ApiAs) -> None:
        office = api_as(cast.office)
        for query, field in (
            ({"due_from": "soon"}, "due_from"),
            ({"due_to": "2026-02-31"}, "due_to"),
            ({"trade": "roofing"}, "trade"),
            ({"sort": "colour"}, "sort"),
        ):
            answer = office.get(api("assignment-list", cast), query)
            assert answer.status_code == 400
            assert field in str(answer.json())
        assert office.get(api("look-ahead", cast), {"weeks": 7}).status_code == 400

    def test_weeks_past_say_nothing_where_nothing_was_promised(
        self, cast: Cast, api_as: ApiAs
    ) -> None:
        weeks = api_as(cast.owner).get(api("weeks", cast), {"weeks": 2}).json()["results"]
        assert [week["week"] for week in weeks] == ["2026-W46", "2026-W47"]
        assert [week["completed_fraction"] for week in weeks] == [None, None]

    def test_periods_change_with_the_version_seen(
        self, cast: Cast, api_as: ApiAs, unit: TerminalUnit
    ) -> None:
        office = api_as(cast.office)
        days = {"start_date": "2026-12-01", "finish_date": "2026-12-18"}
        made = office.post(api("period-list", cast), {**days, "floor": "2"}, format="json").json()
        one = api("period-detail", cast, made["id"])
        changed = office.patch(one, {"trade": "controls", "version": 1}, format="json").json()
        assert (changed["trade"], changed["floor"], changed["version"]) == ("controls", "2", 2)
        assert office.patch(one, {"trade": "", "version": 1}, format="json").status_code == 409
        assert office.patch(one, {"trade": ""}, format="json").status_code == 400
        assert office.delete(f"{one}?version=2").status_code == 204
        assert not PlannedPeriod.objects.exists()
