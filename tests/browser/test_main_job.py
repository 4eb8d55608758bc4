"""The main job in a browser: schedule in, airflow proven, report out."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import TABLET, Visit
from tests.browser.jobs import run_waiting_jobs
from tests.builders.accounts import Cast, make_cast
from zones.inventory.operations import load_starter_library

FIXTURES = Path(__file__).parents[2] / "fixtures"
SCHEDULES = FIXTURES / "schedules"
UNIT = "VAV-1-02"
OUTLETS = ("VAV-1-02-A", "VAV-1-02-B", "VAV-1-02-C")


@pytest.fixture
def cast() -> Cast:
    """The cast, with the starter library and no schedule yet."""
    made = make_cast()
    load_starter_library(made.scope("office"), path=FIXTURES / "library.json")
    return made


def _import(visit: Visit, project: str, file: str, target: str = "terminal units") -> None:
    page = visit.page
    visit.open(f"/p/{project}/imports/new/")
    page.set_input_files("input[type=file]", SCHEDULES / file)
    page.get_by_label(target, exact=True).check()
    page.get_by_role("button", name="Upload and look at it").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Columns of")
    visit.check_access()
    page.get_by_role("button", name="Show what every row would do").click()
    expect(page.get_by_role("heading", name="What to do with it")).to_be_visible()


def _read_point(
    page: Page, *, flow: str, pressure: str, damper: str, hood: tuple[str, ...]
) -> None:
    page.get_by_label("Flow reported").fill(flow)
    page.get_by_label("Sensed pressure", exact=False).first.fill(pressure)
    page.get_by_label("Damper").fill(damper)
    for tag, reading in zip(OUTLETS, hood, strict=True):
        page.get_by_label(f"{tag}, reading 1").fill(reading)
    with page.expect_navigation():
        page.get_by_role("button", name="Save, next point").click()
    expect(page.get_by_text("Not saved.")).to_have_count(0)


def test_main_job(cast: Cast, visit: Callable[..., Visit], tmp_path: Path) -> None:
    key = cast.project.key

    # The office takes the schedule in and sees what is refused, and why.
    office = visit()
    office.sign_in(cast.office)
    office.open(f"/p/{key}/units/")
    expect(office.page.get_by_text("No terminal units yet.")).to_be_visible()
    office.page.get_by_role("link", name="Import a schedule").click()
    expect(office.page).to_have_url(f"{office.address}/p/{key}/imports/new/")
    _import(office, key, "terminal-units-ip.xlsx")
    expect(office.page.get_by_text("43 new and 0 changed.")).to_be_visible()
    office.page.get_by_role("link", name="Refused 6").click()
    table = office.page.get_by_role("table", name="Rows of the file")
    expect(table).to_contain_text("I11")
    expect(table).to_contain_text("K18")
    expect(table).to_contain_text("N/A")
    office.check_access()
    office.page.get_by_role("button", name="Apply all good rows (43)").click()
    expect(office.page.get_by_text("applied").first).to_be_visible()
    _import(office, key, "outlets-ip.csv", target="outlets")
    office.page.get_by_role("button", name="Apply all good rows").click()
    expect(office.page.get_by_text("applied").first).to_be_visible()

    # The balancer reads a unit on a tablet and takes the recommended K.
    balancer = visit(TABLET, has_touch=True)
    page = balancer.page
    balancer.sign_in(cast.balancer)
    balancer.open(f"/p/{key}/airflow/instruments/add/")
    page.get_by_label("Name").fill("Flow hood 1")
    page.get_by_label("Serial number").fill("FH-1001")
    page.get_by_label("Accuracy, of reading").fill("3")
    page.get_by_label("Fixed part, airflow").fill("7 cfm")
    page.get_by_label("Calibrated on").fill("2026-03-02")
    page.get_by_label("Calibration due").fill("2036-03-02")
    balancer.check_access()
    page.get_by_role("button", name="Save").or_(page.get_by_role("button", name="Add")).click()
    balancer.open(f"/p/{key}/airflow/start/?unit={UNIT}")
    page.get_by_label("Instrument").select_option(label="Flow hood 1 · FH-1001")
    page.get_by_role("button", name="Begin").click()
    page.get_by_label("K as found").first.fill("916")
    page.get_by_label("Air temperature").fill("55")
    page.get_by_label("Zero reading").fill("0")
    page.get_by_role("button", name="Save the conditions").click()
    expect(page.get_by_text("K as found 916 cfm")).to_be_visible()
    _read_point(page, flow="560", pressure="0.374", damper="72", hood=("170", "174", "160"))
    _read_point(page, flow="336", pressure="0.135", damper="51", hood=("103", "104", "96"))
    _read_point(page, flow="110", pressure="0.0144", damper="30", hood=("34", "34", "31"))
    expect(page.get_by_text("recommended").first).to_be_visible()
    balancer.check_access()
    balancer.check_width()
    recommended = page.get_by_role("row").filter(has_text="recommended")
    recommended.get_by_role("button", name="Take").click()
    expect(page.get_by_text("taken").first).to_be_visible()
    page.get_by_role("link", name="Cooling maximum").last.click()
    _read_point(page, flow="560", pressure="0.426", damper="74", hood=("186", "189", "178"))
    page.get_by_role("button", name="Hand in").click()
    page.get_by_role("button", name="Go on").click()
    expect(page.get_by_role("button", name="Hand in")).to_have_count(0)

    # The office accepts it and issues the sheet.
    page = office.page
    office.open("/")
    expect(page.get_by_text("flow test to accept")).to_be_visible()
    office.open(f"/p/{key}/airflow/acceptance/")
    page.get_by_role("link", name=UNIT).first.click()
    office.check_access()
    page.get_by_role("link", name="Accept…").click()
    page.get_by_label("Note").fill("Looked through; what is open goes on the list.")
    page.get_by_role("button", name="Accept the test").click()
    expect(page.get_by_text("accepted").first).to_be_visible()
    office.open(f"/p/{key}/units/")
    page.get_by_role("link", name=UNIT, exact=True).click()
    page.get_by_role("button", name="Draft the air balance sheet").click()
    expect(page.get_by_text("draft").first).to_be_visible()
    run_waiting_jobs()
    page.get_by_role("link", name="Issue", exact=True).click()
    page.get_by_label("Note").fill("Issued with the open items that it lists.")
    page.get_by_role("button", name="Issue it").click()
    expect(page.get_by_text("issued").first).to_be_visible()
    run_waiting_jobs()

    # The owner's representative downloads what was issued, and nothing else.
    owner = visit()
    page = owner.page
    owner.sign_in(cast.owner)
    owner.open(f"/p/{key}/documents/")
    owner.check_access()
    page.get_by_role("link", name=f"Air balance sheet, {UNIT}").first.click()
    owner.check_access()
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Download").first.click()
    saved = tmp_path / "sheet.pdf"
    waiting.value.save_as(saved)
    content = saved.read_bytes()
    assert content.startswith(b"%PDF-")
    assert hashlib.sha256(content).hexdigest() in page.content()
