"""The grid of units and steps, what can be done now, and the board over the API."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date
from html import unescape
from io import StringIO
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.airflow import make_accepted_test
from tests.builders.inventory import make_air_handler, make_unit, make_whole_unit
from tests.builders.work import make_catalogue, mark
from zones.inventory.models import TerminalUnit
from zones.work.models import Assignment, Step, StepMark

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
Recorder = Callable[[str], AbstractContextManager[None]]
HTMX = {"HX-Request": "true"}


@dataclass
class Site:
    """Three units on two floors, the steps that a project begins with, one box hung."""

    cast: Cast
    steps: dict[str, Step]
    near: TerminalUnit
    far: TerminalUnit
    above: TerminalUnit

    def cell(self, unit: TerminalUnit, key: str) -> str:
        return f"{unit.pk}-{self.steps[key].pk}"

    def at(self, name: str, *args: int) -> str:
        return reverse(f"work:{name}", args=[self.cast.project.key, *args])


@pytest.fixture
def site(cast: Cast) -> Site:
    handler = make_air_handler(cast.project)
    units = [
        make_unit(
            cast.project,
            tag,
            floor=floor,
            location=room,
            heat=heat,
            air_handler=handler,
            position_x_m=x,
            position_y_m=0.0,
        )
        for tag, floor, room, heat, x in (
            ("TU-2-1", "2", "Reading room", "hot-water", 30.0),
            ("TU-2-2", "2", "Stacks", "none", 0.0),
            ("TU-10-1", "10", "Plant", "electric", 0.0),
        )
    ]
    steps = make_catalogue(cast.project)
    mark(units[0], steps["box-hung"], cast.installer)
    return Site(cast, steps, *units)


def titles(response: Any) -> dict[str, str]:
    """What each cell of the grid says, by unit and step."""
    found = re.findall(r'<td class="[^"]*" title="([^"]*)"', response.content.decode())
    return dict(unescape(title).split(": ", 1) for title in found)


def shown_tags(response: Any) -> list[str]:
    rows = response.content.decode().split("<tbody>")[1].split("</tbody>")[0]
    return re.findall(r">(TU-[^<]+)</a>", rows)


def text_of(response: Any) -> str:
    """What a person reads, white space folded."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", response.content.decode())))


class TestGrid:
    def test_each_cell_says_how_it_stands_and_why(self, site: Site, sign_in: SignIn) -> None:
        said = titles(sign_in(site.cast.office).get(site.at("grid")))
        assert len(said) == 3 * len(site.steps)
        # 14:05 UTC is 07:05 where the project is.
        assert (
            said["TU-2-1, Box hung and level"]
            == "done. Done by Installer Person, 2026-11-25 07:05."
        )
        assert said["TU-2-1, Outlets connected"] == (
            "waits. Waits for: Mechanical: Duct connected, straight inlet length measured."
        )
        assert said["TU-2-2, Box hung and level"] == "ready"
        assert said["TU-2-2, Heater power and interlocks wired"] == "not applicable"
        assert said["TU-10-1, Heater power and interlocks wired"].startswith("waits. Waits for")
        assert said["TU-2-2, Supply air available"] == "ready. Counts for all of AH-1."

    def test_a_trade_begins_with_its_own_steps_and_may_see_all(
        self, site: Site, sign_in: SignIn
    ) -> None:
        installer = sign_in(site.cast.installer)
        own = titles(installer.get(site.at("grid")))
        mechanical = [s for s in site.steps.values() if s.trade == "mechanical"]
        assert len(own) == 3 * len(mechanical)
        every = installer.get(site.at("grid"), {"trade": "all"})
        assert len(titles(every)) == 3 * len(site.steps)
        # Boxes stand where the installer may say something: own trade, what applies.
        ticks = re.findall(r'name="cell" value="(\d+)-(\d+)"', every.content.decode())
        assert {int(step) for _, step in ticks} == {s.pk for s in mechanical}
        assert 'name="cell"' not in sign_in(site.cast.owner).get(site.at("grid")).content.decode()

    @pytest.mark.parametrize(
        ("query", "tags"),
        [
            ({}, ["TU-2-1", "TU-2-2", "TU-10-1"]),
            ({"sort": "walking"}, ["TU-2-2", "TU-2-1", "TU-10-1"]),
            ({"sort": "-tag"}, ["TU-10-1", "TU-2-2", "TU-2-1"]),
            ({"floor": "2"}, ["TU-2-1", "TU-2-2"]),
            ({"text": "stack"}, ["TU-2-2"]),
            ({"state": "done"}, ["TU-2-1"]),
            ({"trade": "electrical", "state": "waiting"}, ["TU-10-1"]),
            ({"floor": "cellar", "air_handler": "x"}, ["TU-2-1", "TU-2-2", "TU-10-1"]),
        ],
    )
    def test_filters_and_orders(
        self, site: Site, sign_in: SignIn, query: dict[str, str], tags: list[str]
    ) -> None:
        office = sign_in(site.cast.office)
        assert shown_tags(office.get(site.at("grid"), query)) == tags
        given = office.get(site.at("grid"), {**query, "format": "csv"}).content.decode("utf-8-sig")
        lines = list(csv.reader(StringIO(given)))
        assert [line[0] for line in lines[1:]] == tags

    def test_a_file_says_what_the_page_says(self, site: Site, sign_in: SignIn) -> None:
        query = {"trade": "mechanical", "format": "csv"}
        given = sign_in(site.cast.office).get(site.at("grid"), query).content.decode("utf-8-sig")
        head, first, *_ = list(csv.reader(StringIO(given)))
        line = dict(zip(head, first, strict=True))
        assert line["Unit"] == "TU-2-1"
        assert line["Air handler"] == "AH-1"
        assert line["Box hung and level"] == "done"
        assert line["Outlets connected"] == "waits"
        assert "Address set" not in line

    def test_pages_hold_fifty_units(self, site: Site, sign_in: SignIn) -> None:
        for i in range(60):
            make_unit(site.cast.project, f"TU-3-{i}", floor="3")
        office = sign_in(site.cast.office)
        assert len(shown_tags(office.get(site.at("grid")))) == 50
        assert len(shown_tags(office.get(site.at("grid"), {"page": "2"}))) == 13
        assert len(shown_tags(office.get(site.at("grid"), {"size": "1000"}))) == 63

    def test_what_the_record_proves_has_no_box(self, cast: Cast, sign_in: SignIn) -> None:
        steps = make_catalogue(cast.project)
        unit = make_whole_unit(cast.project)
        make_accepted_test(cast.scope("office"), cast.scope("balancer"), unit)
        address = reverse("work:grid", args=[cast.project.key])
        proven = sign_in(cast.office).get(address)
        said = titles(proven)[f"{unit.tag}, Airflow verified"]
        assert said.startswith("done. By the record: ")
        assert f'value="{unit.pk}-{steps["airflow-verified"].pk}"' not in proven.content.decode()
        TerminalUnit.objects.filter(pk=unit.pk).update(cooling_max_m3_s=0.9)
        withdrawn = sign_in(cast.office).get(address, {"state": "withdrawn"})
        said = titles(withdrawn)[f"{unit.tag}, Airflow verified"]
        assert said.startswith("look again. The record no longer proves it: ")

    def test_empty_states_say_what_to_do(self, cast: Cast, sign_in: SignIn) -> None:
        address = reverse("work:grid", args=[cast.project.key])
        assert "No terminal units yet." in text_of(sign_in(cast.office).get(address))
        make_unit(cast.project)
        assert "The office lays it out." in text_of(sign_in(cast.balancer).get(address))


class TestMarking:
    def test_many_cells_in_one_request(self, site: Site, sign_in: SignIn) -> None:
        cells = f"{site.cell(site.near, 'duct-connected')},{site.cell(site.far, 'box-hung')}"
        address = site.at("mark") + "?floor=2"
        answer = sign_in(site.cast.installer).post(
            address, {"cell": cells, "mark": "done"}, headers=HTMX
        )
        assert "2 steps marked done." in text_of(answer)
        assert titles(answer)["TU-2-2, Box hung and level"].startswith("done. Done by Installer")
        assert "<html" not in answer.content.decode()
        assert shown_tags(answer) == ["TU-2-1", "TU-2-2"]

    def test_without_scripts_one_goes_back_to_the_same_list(
        self, site: Site, sign_in: SignIn
    ) -> None:
        data = {"cell": site.cell(site.far, "box-hung"), "mark": "in-hand"}
        answer = sign_in(site.cast.installer).post(site.at("mark") + "?floor=2", data, follow=True)
        assert answer.redirect_chain == [(site.at("grid") + "?floor=2", 302)]
        assert "1 step marked in hand." in text_of(answer)

    def test_a_row_and_a_column_stand_for_their_cells(self, site: Site, sign_in: SignIn) -> None:
        units = [site.near, site.far]
        data = {
            "row": str(site.near.pk),
            "column": str(site.steps["box-hung"].pk),
            "shown_units": ",".join(str(u.pk) for u in units),
            "shown_steps": ",".join(
                str(site.steps[key].pk) for key in ("box-hung", "coil-piped", "address-set")
            ),
            "mark": "in-hand",
        }
        sign_in(site.cast.installer).post(site.at("mark"), data)
        said = set(StepMark.objects.filter(state="in-hand").values_list("unit__tag", "step__key"))
        # The address is of another trade; the unit on the other floor was not shown.
        assert said == {
            ("TU-2-1", "box-hung"),
            ("TU-2-1", "coil-piped"),
            ("TU-2-2", "box-hung"),
        }

    @pytest.mark.parametrize("headers", [{}, HTMX])
    def test_a_refusal_keeps_what_was_ticked_and_writes_nothing(
        self, site: Site, sign_in: SignIn, headers: dict[str, str]
    ) -> None:
        cell = site.cell(site.far, "box-hung")
        answer = sign_in(site.cast.office).post(
            site.at("mark"), {"cell": cell, "mark": "held", "note": "  "}, headers=headers
        )
        assert answer.status_code == 422
        assert "Say why it is held." in text_of(answer)
        assert re.search(rf'value="{cell}" [^>]* checked>', answer.content.decode())
        assert StepMark.objects.count() == 1

    def test_cells_left_alone_are_told(self, site: Site, sign_in: SignIn) -> None:
        cells = [site.cell(u, "airflow-verified") for u in (site.near, site.far)]
        answer = sign_in(site.cast.balancer).post(
            site.at("mark"), {"cell": cells, "mark": "done"}, headers=HTMX
        )
        assert "2 steps left as before. Airflow verified of TU-2-1 is done when" in text_of(answer)
        assert StepMark.objects.count() == 1

    def test_steps_of_another_trade_are_refused(self, site: Site, sign_in: SignIn) -> None:
        data = {"cell": site.cell(site.near, "address-set"), "mark": "done"}
        assert sign_in(site.cast.installer).post(site.at("mark"), data).status_code == 403
        assert sign_in(site.cast.owner).post(site.at("mark"), data).status_code == 403
        assert StepMark.objects.count() == 1

    @pytest.mark.parametrize("away", ["https://example.org/", "//example.org/", "javascript:1"])
    def test_nobody_is_sent_to_another_site(self, site: Site, sign_in: SignIn, away: str) -> None:
        data = {"cell": site.cell(site.far, "box-hung"), "mark": "done", "next": away}
        answer = sign_in(site.cast.installer).post(site.at("mark"), data)
        assert answer["Location"] == site.at("grid")


class TestMine:
    def test_what_can_be_done_now_and_what_waits_for_whom(
        self, site: Site, sign_in: SignIn
    ) -> None:
        words = text_of(sign_in(site.cast.controls).get(site.at("mine")))
        assert "TU-2-1 Reading room · AH-1 ready Controller and actuator mounted" in words
        # The box that is not hung has nothing for the controls technician.
        assert "ready Controller and actuator mounted" not in words.split("Waits for others")[1]
        assert "TU-2-2 Stacks" not in words
        waits = words.split("Waits for others")[1]
        assert "for Mechanical: Box hung and level" in waits
        assert "It could be done now on 2." in waits
        assert "for Controls:" not in waits

    def test_steps_of_an_air_handler_stand_once(self, site: Site, sign_in: SignIn) -> None:
        words = text_of(sign_in(site.cast.installer).get(site.at("mine")))
        assert words.count("ready Supply air available") == 1
        assert "Once for many units AH-1 ready Supply air available" in words

    def test_assigned_work_stands_first_by_date(self, site: Site, sign_in: SignIn) -> None:
        for unit, day in ((site.near, date(2026, 12, 9)), (site.above, date(2026, 12, 2))):
            Assignment.objects.create(
                project=site.cast.project,
                unit=unit,
                step=site.steps["coil-piped" if unit == site.near else "box-hung"],
                person=site.cast.installer,
                due_date=day,
                made_by=site.cast.office,
                made_at=AT,
            )
        words = text_of(sign_in(site.cast.installer).get(site.at("mine")))
        mine = words.split("Assigned to me")[1].split("Floor 2")[0]
        assert mine.index("2026-12-02 ready TU-10-1: Box hung") < mine.index("2026-12-09 ready")
        other = text_of(sign_in(site.cast.office).get(site.at("mine")))
        assert "Assigned to me" not in other
        assert "Assigned to Installer Person for 2026-12-09." in other

    def test_buttons_say_it_and_come_back(self, site: Site, sign_in: SignIn) -> None:
        installer, address = sign_in(site.cast.installer), site.at("mine") + "?floor=2"
        data = {"cell": site.cell(site.far, "box-hung"), "mark": "done", "next": address}
        answer = installer.post(site.at("mark"), data, follow=True, headers=HTMX)
        assert answer.redirect_chain == [(address, 302)]
        assert "1 step marked done." in text_of(answer)
        assert "<html" not in answer.content.decode()

    def test_the_owner_reads_only(self, site: Site, sign_in: SignIn) -> None:
        given = sign_in(site.cast.owner).get(site.at("mine")).content.decode()
        assert "Box hung and level" in given
        assert 'name="mark"' not in given

    def test_home_counts_the_ready_steps_of_the_trade(self, site: Site, sign_in: SignIn) -> None:
        words = text_of(sign_in(site.cast.installer).get(reverse("home")))
        # Two boxes to hang, a duct and a coil behind the hung one, air and heating water.
        assert "6 ready steps of your trade" in words
        assert "of your trade" not in text_of(sign_in(site.cast.owner).get(reverse("home")))


class TestPanels:
    def test_the_unit_lists_its_steps(self, site: Site, sign_in: SignIn) -> None:
        address = site.at("unit-steps-panel", site.near.pk)
        words = text_of(sign_in(site.cast.controls).get(address, headers=HTMX))
        assert "Box hung and level Mechanical done Done by Installer Person" in words
        assert "Heater power" not in words
        assert "Balancer: Airflow sensor zeroed. Done when the record proves it." in words
        TerminalUnit.objects.filter(pk=site.near.pk).update(archived_at=AT)
        assert "out of use" in text_of(sign_in(site.cast.controls).get(address, headers=HTMX))

    def test_air_handler_and_project_count(self, site: Site, sign_in: SignIn) -> None:
        office = sign_in(site.cast.office)
        handler = site.near.air_handler_id
        assert handler is not None
        words = text_of(office.get(site.at("air-handler-steps-panel", handler)))
        # Ready: two boxes, a duct, a coil, supply air at three units and heating water at one.
        # Waiting: two ducts and three times the outlets.
        assert "Trade Ready In hand Held Waits Done Mechanical 8 0 0 5 1" in words
        assert "Mechanical 6 steps ready" in text_of(office.get(site.at("project-work-panel")))


class TestApi:
    def test_board(self, site: Site, api_as: ApiAs) -> None:
        address = reverse("work-api:board", args=[site.cast.project.key])
        owner = api_as(site.cast.owner)
        given = owner.get(address, {"trade": "mechanical", "floor": "2"}).json()
        assert given["count"] == 2
        first = given["results"][0]
        assert first["tag"] == "TU-2-1"
        states = {cell["step_id"]: cell for cell in first["steps"]}
        hung = states[site.steps["box-hung"].pk]
        assert hung["state"] == "done"
        assert hung["mark"]["by"] == "Installer Person"
        outlets = states[site.steps["outlets-connected"].pk]
        assert outlets["state"] == "waiting"
        assert outlets["waits_for"] == [site.steps["duct-connected"].pk]
        wrong = owner.get(address, {"state": "lost"})
        assert wrong.status_code == 400
        assert "One of: ready" in wrong.content.decode()

    def test_marks(self, site: Site, api_as: ApiAs) -> None:
        address = reverse("work-api:marks", args=[site.cast.project.key])
        cells = [
            {"unit_id": site.near.pk, "step_id": site.steps[key].pk}
            for key in ("duct-connected", "heater-wired", "outlets-connected", "box-hung")
        ]
        client = api_as(site.cast.office)
        given = client.post(address, {"cells": cells, "mark": "done"}, format="json").json()
        assert (given["changed"], given["unchanged"]) == (2, 1)
        assert [one["step_id"] for one in given["skipped"]] == [site.steps["heater-wired"].pk]
        assert given["early"] == []
        wrong = client.post(address, {"cells": cells, "mark": "held"}, format="json")
        assert wrong.status_code == 400
        assert "Say why it is held." in wrong.content.decode()


def test_pages_take_the_same_queries_whatever_they_show(
    site: Site, sign_in: SignIn, api_as: ApiAs, recorded_queries: Recorder
) -> None:
    office = sign_in(site.cast.office)
    api = api_as(site.cast.office)
    board = reverse("work-api:board", args=[site.cast.project.key])
    visits: dict[str, Callable[[], Any]] = {
        "work grid": lambda: office.get(site.at("grid")),
        "work mine": lambda: office.get(site.at("mine")),
        "work unit panel": lambda: office.get(site.at("unit-steps-panel", site.near.pk)),
        "work board over the API": lambda: api.get(board),
        "work marking": lambda: office.post(
            site.at("mark"),
            {"cell": site.cell(site.far, "duct-connected"), "mark": "done"},
            headers=HTMX,
        ),
    }
    api.get(board)  # the first use of a token is written down
    for name, visit in visits.items():
        with recorded_queries(name):
            visit()
    for i in range(20):
        unit = make_unit(site.cast.project, f"TU-4-{i}", floor="4")
        mark(unit, site.steps["box-hung"], site.cast.installer)
    for name in ("work grid", "work mine", "work board over the API"):
        with recorded_queries(name):
            visits[name]()
