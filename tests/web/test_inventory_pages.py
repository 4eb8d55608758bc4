"""Pages of the inventory as people use them."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from django.test import Client
from python_calamine import CalamineWorkbook

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import (
    CFM,
    make_air_handler,
    make_outlet,
    make_unit,
    make_whole_unit,
    make_zone,
)
from tests.recorded_queries import Recorder
from zones.inventory.models import BoxModel, Outlet, TerminalUnit

SignIn = Callable[[User], Client]
UNITS = "/p/alder/units/"


@pytest.fixture
def office(cast: Cast, sign_in: SignIn) -> Client:
    """A browser of the office."""
    return sign_in(cast.office)


def text(client: Client, address: str, status: int = 200) -> str:
    response = client.get(address)
    assert response.status_code == status, response.content[:500]
    return response.content.decode()


def test_the_list_shows_units_in_the_readers_units(cast: Cast, office: Client) -> None:
    make_unit(cast.project, cooling_max_m3_s=350 * CFM, cooling_min_m3_s=None)
    page = text(office, UNITS)
    assert ">350</td>" in page
    assert "cfm" in page
    User.objects.filter(pk=cast.office.pk).update(reading_system="si")
    assert ">165</td>" in text(office, UNITS)


def test_an_empty_list_says_what_to_do_first(cast: Cast, office: Client, sign_in: SignIn) -> None:
    assert "Import a schedule" in text(office, UNITS)
    assert "Import a schedule" not in text(sign_in(cast.owner), UNITS)


def test_a_search_without_result_says_how_to_widen_it(cast: Cast, office: Client) -> None:
    make_unit(cast.project)
    assert "clear the filters" in text(office, f"{UNITS}?q=nowhere")


def test_an_address_that_cannot_be_understood_still_shows_the_list(
    cast: Cast, office: Client
) -> None:
    make_unit(cast.project)
    page = text(office, f"{UNITS}?air_handler=x&sort=colour&page=-3&size=7")
    assert "TU-2-1" in page
    assert "Give a whole number" in page


def test_paging_and_sort_are_kept_in_the_address(cast: Cast, office: Client) -> None:
    for i in range(60):
        make_unit(cast.project, f"TU-{i}")
    page = text(office, f"{UNITS}?sort=-tag&size=50&page=2&q=TU")
    assert "51–60 of 60 units" in page
    assert "TU-0<" in page
    assert "TU-59<" not in page
    assert "sort=-tag&amp;size=50&amp;q=TU&amp;page=1" in page


@pytest.mark.parametrize("role", ["controls", "balancer", "installer", "owner"])
def test_others_see_the_same_without_ways_to_change(cast: Cast, sign_in: SignIn, role: str) -> None:
    unit = make_whole_unit(cast.project)
    client = sign_in(cast.person(role))
    listed = text(client, UNITS)
    assert "TU-2-1" in listed
    assert "Add a unit" not in listed
    assert 'type="checkbox" name="unit"' not in listed
    shown = text(client, f"{UNITS}{unit.pk}/")
    assert "D-1" in shown
    assert "Add an outlet" not in shown
    assert "/edit/" not in shown


def test_what_is_typed_is_escaped(cast: Cast, office: Client) -> None:
    unit = make_unit(cast.project, "<b>TU</b>", location="<script>alert(1)</script>")
    for address in (UNITS, f"{UNITS}{unit.pk}/", f"{UNITS}{unit.pk}/edit/", f"{UNITS}?q=<i>"):
        page = text(office, address)
        assert "<b>TU</b>" not in page
        assert "<script>alert" not in page
        assert "<i>" not in page


def test_a_file_holds_exactly_what_is_shown_on_all_pages(cast: Cast, office: Client) -> None:
    for i in range(60):
        make_unit(cast.project, f"TU-{i}", floor="1" if i % 2 else "2")
    query = "?floor=1&sort=-tag&size=50"
    csv = office.get(f"{UNITS}{query}&format=csv").content.decode("utf-8-sig").splitlines()
    assert len(csv) == 31
    assert csv[0].startswith("Tag,Air handler,Zone,Floor,Inlet,Reheat,")
    assert csv[1].startswith("TU-59,")
    content = office.get(f"{UNITS}{query}&format=xlsx").content
    rows = CalamineWorkbook.from_filelike(io.BytesIO(content)).get_sheet_by_index(0).to_python()
    assert [str(row[0]) for row in rows[1:]] == [line.split(",")[0] for line in csv[1:]]
    flow = next(i for i, head in enumerate(rows[0]) if "aximum" in str(head))
    assert rows[1][flow] == 700.0


def test_a_file_of_all_columns_has_every_field(cast: Cast, office: Client) -> None:
    make_whole_unit(cast.project)
    csv = office.get(f"{UNITS}?columns=all&format=csv").content.decode("utf-8-sig").splitlines()
    assert "Device instance" in csv[0]
    assert "Note" in csv[0]


def test_a_unit_is_added_and_shown_as_typed(cast: Cast, office: Client) -> None:
    zone = make_zone(cast.project, "Z-1")
    data = {
        "tag": "TU-5",
        "fan": "none",
        "heat": "none",
        "zone": "z-1",
        "cooling_max_m3_s": "0,35 m3/s",
    }
    response = office.post(f"{UNITS}add/", data, follow=True)
    assert response.status_code == 200
    unit = TerminalUnit.objects.get()
    assert unit.zone_id == zone.pk
    assert unit.entered == {"cooling_max_m3_s": "0,35 m3/s"}
    assert 'value="0,35 m3/s"' in text(office, f"{UNITS}{unit.pk}/edit/")


def test_a_refused_form_keeps_what_was_typed_beside_the_message(cast: Cast, office: Client) -> None:
    data = {
        "tag": "",
        "fan": "none",
        "heat": "none",
        "zone": "nowhere",
        "cooling_max_m3_s": "lots",
        "location": "North stair",
    }
    response = office.post(f"{UNITS}add/", data)
    page = response.content.decode()
    assert response.status_code == 422
    assert "“lots” is not a number." in page
    assert "There is no zone nowhere here." in page
    assert 'value="lots"' in page
    assert 'value="North stair"' in page
    assert not TerminalUnit.objects.exists()


def edited(client: Client, unit: TerminalUnit) -> dict[str, str]:
    """Everything that the edit form would send back untouched."""
    form = client.get(f"{UNITS}{unit.pk}/edit/").context["form"]
    sent = {}
    for name in form.fields:
        value = form[name].value()
        sent[name] = "" if value is None else str(value)
        sent[f"initial-{name}"] = sent[name]
    return sent


def test_saving_a_form_untouched_changes_nothing(cast: Cast, office: Client) -> None:
    # 0.123456 m³/s is shown as 262 cfm; sent back it must not become 262 cfm.
    unit = make_whole_unit(cast.project, cooling_max_m3_s=0.123456, cooling_min_m3_s=0.05)
    office.post(f"{UNITS}{unit.pk}/edit/", edited(office, unit) | {"note": "seen"})
    unit.refresh_from_db()
    assert unit.note == "seen"
    assert unit.cooling_max_m3_s == 0.123456
    assert unit.entered == {}


def test_the_second_of_two_is_told_and_loses_nothing(cast: Cast, office: Client) -> None:
    unit = make_whole_unit(cast.project)
    mine = edited(office, unit) | {"location": "typed by me"}
    office.post(f"{UNITS}{unit.pk}/edit/", edited(office, unit) | {"floor": "9"})
    response = office.post(f"{UNITS}{unit.pk}/edit/", mine)
    page = response.content.decode()
    assert response.status_code == 422
    assert "Floor 2 → 9 by Office Person" in page
    form = response.context["form"]
    assert form["location"].value() == "typed by me"
    assert form["floor"].value() == "9"
    again = {name: str(form[name].value() or "") for name in form.fields}
    again |= {f"initial-{name}": form.data.get(f"initial-{name}", "") for name in form.fields}
    assert office.post(f"{UNITS}{unit.pk}/edit/", again).status_code == 302
    unit.refresh_from_db()
    assert (unit.floor, unit.location) == ("9", "typed by me")


def test_chosen_units_are_acted_on_together(cast: Cast, office: Client) -> None:
    units = [make_unit(cast.project, f"TU-{i}") for i in (1, 2, 3)]
    handler = make_air_handler(cast.project)
    chosen = [unit.pk for unit in units[:2]]
    data = {"unit": chosen, "act": "air_handler", "air_handler": str(handler.pk)}
    response = office.post(f"{UNITS}?q=TU", data)
    assert response["Location"] == f"{UNITS}?q=TU"
    assert TerminalUnit.objects.filter(air_handler=handler).count() == 2
    office.post(UNITS, {"unit": chosen, "act": "archive"})
    assert TerminalUnit.objects.filter(archived_at=None).count() == 1
    assert "TU-1" in text(office, f"{UNITS}?archived=yes")
    office.post(f"{UNITS}?archived=yes", {"unit": chosen, "act": "restore"})
    assert TerminalUnit.objects.filter(archived_at=None).count() == 3


@pytest.mark.parametrize("data", [{}, {"act": "explode", "unit": "1"}, {"act": "archive"}])
def test_an_act_that_cannot_be_done_is_told(
    cast: Cast, office: Client, data: dict[str, str]
) -> None:
    response = office.post(UNITS, data, follow=True)
    assert "Choose" in response.content.decode()


def test_archiving_says_what_goes_with_it_and_can_be_undone(cast: Cast, office: Client) -> None:
    unit = make_whole_unit(cast.project)
    assert "2 outlets" in text(office, f"{UNITS}{unit.pk}/archive/")
    office.post(f"{UNITS}{unit.pk}/archive/")
    page = text(office, f"{UNITS}{unit.pk}/")
    assert "Archived on" in page
    assert "Restore" in page
    office.post(f"{UNITS}{unit.pk}/restore/")
    assert "Archived on" not in text(office, f"{UNITS}{unit.pk}/")


def test_the_unit_page_shows_findings_and_figures(cast: Cast, office: Client) -> None:
    unit = make_whole_unit(cast.project)
    make_outlet(unit, "D-3", design_m3_s=100 * CFM)
    page = text(office, f"{UNITS}{unit.pk}/")
    assert "700 cfm" in page
    assert "add up to 800 cfm, the cooling maximum is 700 cfm (+14.3 %)" in page
    assert "8 in inlet, hot-water reheat" in page


def test_the_change_log_tells_who_changed_what(cast: Cast, office: Client) -> None:
    unit = make_whole_unit(cast.project)
    zone = make_zone(cast.project, "333")
    form = edited(office, unit) | {"cooling_max_m3_s": "750", "zone": zone.tag}
    office.post(f"{UNITS}{unit.pk}/edit/", form)
    page = text(office, f"{UNITS}{unit.pk}/changes/")
    assert "700 cfm → 750 cfm" in page
    assert "201 → 333" in page
    assert "Office Person" in page


def test_a_unit_is_found_by_the_tag_on_its_label(cast: Cast, office: Client) -> None:
    unit = make_unit(cast.project, "TU-2-1")
    response = office.get(f"{UNITS}tag/tu-2-1/")
    assert response["Location"] == f"{UNITS}{unit.pk}/"
    assert office.get(f"{UNITS}tag/none/").status_code == 404


def test_another_projects_records_do_not_exist_here(cast: Cast, office: Client) -> None:
    unit = make_whole_unit(cast.other_project)
    outlet = Outlet.objects.first()
    assert outlet is not None
    for address in (
        f"units/{unit.pk}/",
        f"units/{unit.pk}/edit/",
        f"units/{unit.pk}/changes/",
        f"outlets/{outlet.pk}/edit/",
        f"air-handlers/{unit.air_handler_id}/",
        f"zones/{unit.zone_id}/",
    ):
        assert office.get(f"/p/alder/{address}").status_code == 404, address


def test_an_outlet_is_added_and_changed_on_the_units_page(cast: Cast, office: Client) -> None:
    unit = make_unit(cast.project)
    data = {"tag": "D-1", "kind": "slot", "design_m3_s": "120", "hood_factor": "1.0"}
    office.post(f"{UNITS}{unit.pk}/outlets/add/", data)
    outlet = Outlet.objects.get()
    assert outlet.design_m3_s == pytest.approx(120 * CFM)
    assert outlet.entered == {"design_m3_s": "120 cfm"}
    changed = data | {"version": "1", "hood_factor": "3"}
    response = office.post(f"/p/alder/outlets/{outlet.pk}/edit/", changed)
    assert response.status_code == 422
    assert Outlet.objects.get().hood_factor == 1.0


def test_an_air_handler_page_sums_its_units(cast: Cast, office: Client) -> None:
    handler = make_air_handler(cast.project, design_m3_s=1050 * CFM)
    for tag in ("TU-1", "TU-2"):
        make_unit(cast.project, tag, air_handler=handler)
    page = text(office, f"/p/alder/air-handlers/{handler.pk}/")
    assert "1400 " in page
    assert "75.0 " in page


def test_an_air_handler_in_use_stays(cast: Cast, office: Client) -> None:
    handler = make_air_handler(cast.project)
    make_unit(cast.project, air_handler=handler)
    response = office.post(f"/p/alder/air-handlers/{handler.pk}/archive/", follow=True)
    assert "1 unit hangs on this air handler" in response.content.decode()


def test_the_empty_library_offers_the_starter_set(cast: Cast, office: Client) -> None:
    assert "Add the generic starter library" in text(office, "/p/alder/library/")
    office.post("/p/alder/library/starter/")
    assert BoxModel.objects.exists()
    page = text(office, "/p/alder/library/")
    assert "The library is empty" not in page
    model = BoxModel.objects.order_by("name").first()
    assert model is not None
    assert "ft²" in text(office, f"/p/alder/library/box-models/{model.pk}/")


PAGES = [
    ("units", "units/"),
    ("units, all columns", "units/?columns=all"),
    ("units, filtered", "units/?q=TU&floor=2&sort=-cooling_max_m3_s"),
    ("units, file", "units/?format=csv"),
    ("unit", "units/{unit}/"),
    ("unit, change log", "units/{unit}/changes/"),
    ("unit, form", "units/{unit}/edit/"),
    ("air handlers", "air-handlers/"),
    ("air handler", "air-handlers/{air_handler}/"),
    ("zones", "zones/"),
    ("zone", "zones/{zone}/"),
    ("library", "library/"),
    ("box model", "library/box-models/{box_model}/"),
    ("controller model", "library/controller-models/{controller}/"),
]


@pytest.mark.parametrize(("name", "address"), PAGES, ids=[name for name, _ in PAGES])
def test_more_records_need_no_more_queries(
    cast: Cast, office: Client, recorded_queries: Recorder, name: str, address: str
) -> None:
    units = [make_whole_unit(cast.project, f"TU-{i}") for i in range(7)]
    make_unit(cast.project, "TU-gone", archived_at=AT)
    first = units[0]
    assert first.inlet is not None
    place = address.format(
        unit=first.pk,
        air_handler=first.air_handler_id,
        zone=first.zone_id,
        box_model=first.inlet.box_model_id,
        controller=first.controller_model_id,
    )
    with recorded_queries(f"inventory page: {name}"):
        assert office.get(f"/p/alder/{place}").status_code == 200
