"""Pages and API of the floor plans as people use them."""

from __future__ import annotations

import re
from collections.abc import Callable

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_unit
from tests.builders.work import make_catalogue
from tests.builders.work_plans import make_plan, pdf_plan, png_plan
from tests.recorded_queries import Recorder
from zones.inventory.models import TerminalUnit
from zones.work.models import FloorPlan

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
PLANS = "/p/alder/plans/"
API = "/api/v1/projects/alder/plans/"


def text(client: Client, address: str, status: int = 200) -> str:
    response = client.get(address)
    assert response.status_code == status, response.content[:500]
    return response.content.decode()


def test_no_floor_and_a_floor_without_a_plan_say_what_to_do(cast: Cast, sign_in: SignIn) -> None:
    office, installer = sign_in(cast.office), sign_in(cast.installer)
    assert "Add a floor plan" in text(office, PLANS)
    assert "Add a floor plan" not in text(installer, PLANS)
    make_unit(cast.project)
    assert f'href="{PLANS}add/?floor=2"' in text(office, PLANS)
    assert "no plan" in text(installer, PLANS)
    assert "Floor,Plan,Standing,Units" in text(office, f"{PLANS}?format=csv")


def test_the_office_adds_a_plan_and_sets_scale_and_origin_without_scripts(
    cast: Cast, sign_in: SignIn
) -> None:
    office = sign_in(cast.office)
    make_unit(cast.project, position_x_m=3.048, position_y_m=3.048)
    file = SimpleUploadedFile("m-102.pdf", pdf_plan())
    given = {"floor": "2", "name": "M-102", "file": file, "page_number": "2"}
    response = office.post(f"{PLANS}add/", given)
    plan = FloorPlan.objects.get()
    here = f"{PLANS}{plan.pk}/"
    assert response.headers["Location"] == here
    page = text(office, here)
    assert "The scale is not set, nor the origin." in page
    points = {"first_x_px": "0", "first_y_px": "0", "second_x_px": "100", "second_y_px": "0"}
    office.post(f"{here}scale/", {**points, "version": plan.version, "distance_m": "50"})
    office.post(f"{here}origin/", {"version": 2, "origin_x_px": "0", "origin_y_px": "200"})
    plan.refresh_from_db()
    assert plan.entered == {"distance_m": "50 ft"}
    # 10 ft are 20 pixels: the unit stands 20 px to the right of the origin and above it.
    assert 'transform="translate(20 180)' in text(office, here)
    told = office.post(
        f"{here}scale/", {**points, "version": 1, "distance_m": "fifty"}, follow=True
    ).content.decode()
    assert "Distance between them: “fifty” is not a number." in told


def test_a_file_that_is_no_plan_is_refused_beside_its_field(cast: Cast, sign_in: SignIn) -> None:
    given = {"floor": "2", "file": SimpleUploadedFile("plan.pdf", b"MZ not a plan")}
    response = sign_in(cast.office).post(f"{PLANS}add/", given)
    assert response.status_code == 422
    assert 'id="id_file_error"' in response.content.decode()


def test_the_page_shows_marks_with_words_a_table_and_the_units_to_place(
    cast: Cast, sign_in: SignIn, recorded_queries: Recorder
) -> None:
    make_catalogue(cast.project)
    plan = make_plan(cast.project, cast.office)
    unit = make_unit(cast.project, position_x_m=2.0, position_y_m=1.0)
    make_unit(cast.project, "TU-2-2")
    here = f"{PLANS}{plan.pk}/"
    client = sign_in(cast.controls)
    with recorded_queries("work plan page"):
        page = text(client, f"{here}?show=step-box-hung&walk=1")
    assert f'aria-label="{unit.tag}, ready"' in page
    assert 'data-waiting="' in page
    assert "walk past 1 unit," in page
    assert "style=" not in page.split("<main", maxsplit=1)[1]
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    # Who may not place gets no tools for it, and no marks to place.
    seen = text(sign_in(cast.installer), here)
    assert "Type a position" not in seen
    assert 'display="none"' not in seen
    rows = text(client, f"{here}?format=csv").splitlines()
    assert [row.split(",")[0] for row in rows[1:]] == ["TU-2-1", "TU-2-2"]
    image = client.get(f"{here}image/")
    assert image.headers["Content-Type"] == "image/png"
    assert b"".join(image.streaming_content) == png_plan()  # type: ignore[attr-defined]  # a file is streamed


def test_a_position_is_typed_in_the_readers_units_and_one_comes_back(
    cast: Cast, sign_in: SignIn
) -> None:
    unit = make_unit(cast.project)
    client = sign_in(cast.controls)
    address, here = "/p/alder/units/positions/", f"{PLANS}7/?walk=1"
    given = {"unit": unit.pk, "x": "10", "y": "2 m", "next": here}
    assert client.post(address, given).headers["Location"] == here
    unit.refresh_from_db()
    assert (round(unit.position_x_m or 0, 3), unit.position_y_m) == (3.048, 2.0)
    half = client.post(address, {"unit": unit.pk, "x": "10"}, follow=True).content.decode()
    assert "Give both positions or neither." in half
    away = client.post(address, {**given, "next": "https://example.org/"})
    assert away.headers["Location"] == "/p/alder/units/"


def test_the_api_does_what_the_pages_do(cast: Cast, api_as: ApiAs) -> None:
    office = api_as(cast.office)
    unit = make_unit(cast.project)
    file = SimpleUploadedFile("floor.png", png_plan())
    made = office.post(API, {"floor": "2", "file": file}, format="multipart")
    assert made.status_code == 201, made.content
    here = f"{API}{made.json()['id']}/"
    half = office.patch(here, {"version": 1, "origin_x_px": 0})
    assert half.json()["fields"] == {"origin_y_px": "This is needed too."}
    points = {"first_x_px": 0, "first_y_px": 0, "second_x_px": 100, "second_y_px": 0}
    fitted = office.patch(
        here, {"version": 1, **points, "distance_m": "10 m", "origin_x_px": 0, "origin_y_px": 100}
    ).json()
    assert (fitted["m_per_px"], fitted["version"]) == (0.1, 3)
    positions = "/api/v1/projects/alder/units/positions/"
    place = {"unit_id": unit.pk, "x_m": 2, "y_m": "1 m", "version": 1}
    placed = api_as(cast.controls).put(positions, {"places": [place]})
    assert placed.json() == [{"unit_id": unit.pk, "version": 2}]
    again = office.put(positions, {"places": [place]})
    assert again.status_code == 409
    assert again.json()["message"].startswith("TU-2-1 was changed")
    twice = office.put(positions, {"places": [place, place]})
    assert twice.json()["fields"] == {"places": "A unit is named twice."}
    point = office.get(f"{here}?show=punch").json()["points"][0]
    assert (point["x_px"], point["y_px"], point["word"]) == (20.0, 90.0, "nothing owed")
    for accepted in ("image/*", "application/json", "*/*"):
        image = office.get(f"{here}image/", headers={"accept": accepted})
        assert (image.status_code, image.headers["Content-Type"]) == (200, "image/png")
    assert office.post(f"{here}archive/", {"version": 1}).status_code == 409
    assert office.post(f"{here}archive/").json()["archived_at"]
    assert office.get(API).json()["count"] == 0
    assert office.get(f"{API}?archived=true&floor=2").json()["count"] == 1
    assert office.post(f"{here}restore/").json()["archived_at"] is None
    assert TerminalUnit.objects.get().position_x_m == 2.0
