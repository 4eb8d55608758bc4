"""Pages, files and API of the punch list."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_air_handler, make_outlet, make_unit
from tests.builders.work_punch import make_punch_item
from zones.inventory.models import TerminalUnit
from zones.work.models import PunchItem

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
Recorder = Callable[[str], AbstractContextManager[None]]


def at(cast: Cast, rest: str = "") -> str:
    return f"/p/{cast.project.key}/punch/{rest}"


def api_at(cast: Cast, rest: str = "") -> str:
    return f"/api/v1/projects/{cast.project.key}/punch-items/{rest}"


def file(text: str) -> SimpleUploadedFile:
    return SimpleUploadedFile("items.csv", text.encode())


@pytest.fixture
def unit(cast: Cast) -> TerminalUnit:
    return make_unit(cast.project, floor="2", air_handler=make_air_handler(cast.project))


def test_the_list_is_narrowed_and_counted(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn, recorded_queries: Recorder
) -> None:
    for number in range(3):
        make_punch_item(cast.scope("controls"), unit, text=f"Damper {number} is half shut.")
    make_punch_item(cast.scope(), unit, trade="controls", person_id=cast.controls.pk)
    client = sign_in(cast.office)
    with recorded_queries("page: punch list"):
        answer = client.get(at(cast, "?trade=mechanical&sort=-number"))
    page = answer.content.decode()
    assert "4 open" in page
    assert page.index("Damper 2") < page.index("Damper 0")
    assert "branch damper" not in page
    mine = client.get(at(cast, f"?person={cast.controls.pk}")).content.decode()
    assert "branch damper" in mine
    assert "Damper 0" not in mine
    # Only the office sees who all the people are.
    assert 'name="person"' not in sign_in(cast.owner).get(at(cast)).content.decode()


def test_an_item_is_opened_once_from_the_page_of_its_unit(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn
) -> None:
    client = sign_in(cast.owner)
    start = client.get(at(cast, f"add/?kind=unit&id={unit.pk}")).content.decode()
    assert f'value="{unit.tag}"' in start
    found = re.search(r'name="client_key" value="([0-9a-f-]+)"', start)
    assert found
    data = {
        "kind": "unit",
        "subject": unit.tag.lower(),
        "trade": "mechanical",
        "text": "It rattles.",
        "severity": "mend",
        "client_key": found[1],
    }
    addresses = {client.post(at(cast, "add/"), data)["Location"] for _ in range(2)}
    assert len(addresses) == 1
    assert PunchItem.objects.count() == 1
    refused = client.post(at(cast, "add/"), {**data, "subject": "TU-99", "client_key": ""})
    assert refused.status_code == 422
    assert "TU-99" in refused.content.decode()
    assert PunchItem.objects.count() == 1


def test_the_page_offers_each_side_what_it_may_do(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn, recorded_queries: Recorder
) -> None:
    item = make_punch_item(cast.scope("controls"), unit)
    address = at(cast, f"{item.pk}/")

    def offered(user: User) -> set[str]:
        page = sign_in(user).get(address).content.decode()
        return set(re.findall(rf"{address}(change|answer|verify|reopen)/", page))

    assert offered(cast.installer) == {"answer"}
    assert offered(cast.controls) == {"change", "verify"}
    assert offered(cast.office) == {"change", "answer", "verify"}
    assert offered(cast.owner) == set()
    client = sign_in(cast.installer)
    empty = client.post(f"{address}answer/", {"version": 1, "text": ""})
    assert empty.status_code == 422
    assert "Say what was done." in empty.content.decode()
    assert "What was done" in empty.content.decode()
    client.post(f"{address}answer/", {"version": 1, "text": "It is open now."})
    assert offered(cast.installer) == set()
    assert offered(cast.controls) == {"verify", "reopen"}
    stale = client.post(f"{address}answer/", {"version": 1, "text": "Mine too."}, follow=True)
    assert "was changed since you opened it" in stale.content.decode()
    with recorded_queries("page: punch item"):
        page = client.get(address).content.decode()
    assert "It is open now." in page
    assert "Mine too." not in page


def test_what_is_exported_comes_in_again(cast: Cast, unit: TerminalUnit, sign_in: SignIn) -> None:
    make_punch_item(cast.scope(), unit, text="=1+1 is on the label")
    outlet = make_outlet(unit)
    make_punch_item(cast.scope(), unit, kind="outlet", subject_id=outlet.pk, text="Bent.")
    make_punch_item(
        cast.scope(), unit, kind="air-handler", subject_id=unit.air_handler_id, text="No air."
    )
    client = sign_in(cast.office)
    for kind in ("csv", "xlsx"):
        sent = client.get(at(cast, f"?format={kind}")).content
        known = SimpleUploadedFile(f"items.{kind}", sent)
        page = client.post(at(cast, "import/"), {"file": known}).content.decode()
        assert "0 to open, 3 there already, 0 complaints." in page
    PunchItem.objects.all().delete()
    anew = client.post(at(cast, "import/"), {"file": SimpleUploadedFile("items.xlsx", sent)})
    assert "3 to open, 0 there already, 0 complaints." in anew.content.decode()


def test_every_complaint_names_its_cell_and_good_rows_open_once(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn
) -> None:
    text = (
        "Tag,Owed by,What is to be done,Due\n"
        f"{unit.tag},Mechanical,Open the damper,2026-12-01\n"
        f"{unit.tag},Mechanical,open  the DAMPER,\n"
        "TU-99,Nobody,,soon\n"
    )
    client = sign_in(cast.office)
    page = client.post(at(cast, "import/"), {"file": file(text)}).content.decode()
    assert "1 to open, 1 there already, 4 complaints." in page
    for cell in ("A4", "B4", "C4", "D4"):
        assert f"{cell}: " in page
    assert not PunchItem.objects.exists()
    found = re.search(r'name="rows" value="([^"]+)"', page)
    assert found
    for _ in range(2):
        client.post(at(cast, "import/"), {"rows": found[1]})
    items = PunchItem.objects.values_list("text", "trade", "due_date")
    assert [(words, trade, str(due)) for words, trade, due in items] == [
        ("Open the damper", "mechanical", "2026-12-01")
    ]
    forged = client.post(at(cast, "import/"), {"rows": found[1][:-2]})
    assert forged.status_code == 400
    lacking = client.post(at(cast, "import/"), {"file": file("Tag,Due\nTU-1,\n")})
    assert "no heading Owed by, What is to be done" in lacking.content.decode()


def test_panels_stand_on_their_pages(cast: Cast, unit: TerminalUnit, sign_in: SignIn) -> None:
    make_punch_item(cast.scope(), unit)
    client, htmx = sign_in(cast.owner), {"HX-Request": "true"}
    key = cast.project.key
    for page, panel in (
        (f"/p/{key}/units/{unit.pk}/", at(cast, f"units/{unit.pk}/")),
        (
            f"/p/{key}/air-handlers/{unit.air_handler_id}/",
            at(cast, f"air-handlers/{unit.air_handler_id}/"),
        ),
    ):
        assert panel in client.get(page).content.decode()
        shown = client.get(panel, headers=htmx).content.decode()
        assert "branch damper" in shown
        assert "<html" not in shown
    assert at(cast, "panel/") in client.get(f"/p/{key}/").content.decode()
    assert "Mechanical" in client.get(at(cast, "panel/"), headers=htmx).content.decode()


def test_the_api_does_what_the_pages_do(
    cast: Cast, unit: TerminalUnit, api_as: ApiAs, recorded_queries: Recorder
) -> None:
    controls, installer = api_as(cast.controls), api_as(cast.installer)
    data = {
        "kind": "unit",
        "subject_id": unit.pk,
        "trade": "mechanical",
        "text": "Half shut.",
        "severity": "holds",
        "client_key": str(uuid4()),
    }
    made = [controls.post(api_at(cast), data, format="json") for _ in range(2)]
    assert [answer.status_code for answer in made] == [201, 201]
    one = made[0].json()
    assert made[1].json()["id"] == one["id"]
    address = api_at(cast, f"{one['id']}/")
    changed = controls.patch(address, {"version": 1, "text": "Shut."}, format="json").json()
    assert (changed["text"], changed["version"]) == ("Shut.", 2)
    said = {"version": 2, "text": "Open."}
    assert installer.post(f"{address}verify/", said, format="json").status_code == 403
    assert installer.post(f"{address}answer/", said, format="json").json()["state"] == "answered"
    assert installer.post(f"{address}answer/", said, format="json").status_code == 409
    seen = {"version": 3, "text": ""}
    assert controls.post(f"{address}reopen/", seen, format="json").status_code == 400
    assert controls.post(f"{address}verify/", seen, format="json").json()["state"] == "verified"
    with recorded_queries("punch items over the API"):
        listed = controls.get(api_at(cast), {"state": "verified", "floor": "2"}).json()
    assert [row["number"] for row in listed["results"]] == [1]
    for name, value in (("trade", "bent"), ("sort", "size"), ("due_before", "soon")):
        refused = controls.get(api_at(cast), {name: value})
        assert refused.status_code == 400
        assert name in refused.json()["fields"]


def test_the_api_takes_a_file_in(cast: Cast, unit: TerminalUnit, api_as: ApiAs) -> None:
    text = f"Tag,Trade,Text\n{unit.tag},electrical,Label the switch\nTU-99,electrical,Lost\n"
    client = api_as(cast.office)
    looked = client.post(api_at(cast, "import/"), {"file": file(text)}, format="multipart").json()
    assert (looked["good"], looked["opened"]) == (1, 0)
    assert looked["wrong"][0].startswith("A3: ")
    taken = client.post(
        api_at(cast, "import/"), {"file": file(text), "take": "true"}, format="multipart"
    ).json()
    assert taken["opened"] == 1
    again = client.post(
        api_at(cast, "import/"), {"file": file(text), "take": "true"}, format="multipart"
    ).json()
    assert (again["good"], again["opened"], len(again["known"])) == (0, 0, 1)
