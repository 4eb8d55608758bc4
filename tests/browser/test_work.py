"""The work as each trade does it: an installer's morning, a failed damper, the office's report."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE, TABLET, Visit
from tests.browser.jobs import run_waiting_jobs
from tests.builders.accounts import make_cast
from tests.builders.work_site import make_work_site
from zones.work.models import CheckoutPoint, PunchItem, StepMark

Visits = Callable[..., Visit]


def _saved(page: Page, name: str, word: str) -> None:
    point = page.locator("li.point").filter(has_text=name)
    expect(point.locator(".verdict")).to_contain_text(word)


def test_an_installers_morning(visit: Visits) -> None:
    cast = make_cast()
    make_work_site(cast)
    installer = visit(PHONE)
    installer.sign_in(cast.installer)
    page = installer.page
    expect(page.get_by_text("ready steps of your trade")).to_be_visible()
    installer.open(f"/p/{cast.project.key}/work/mine/")
    installer.check_access()
    done = page.get_by_role("button", name=re.compile("Done.*Box hung"))
    expect(done).to_have_count(2)
    size = done.first.bounding_box()
    assert size is not None
    assert size["height"] >= 44
    done.first.click()
    expect(page.get_by_role("button", name=re.compile("Done.*Duct connected"))).to_have_count(1)
    step = page.locator("li.step").filter(has_text="Box hung and level")
    step.locator("summary").click()
    step.get_by_label("What holds it").fill("No rods on site.")
    step.get_by_role("button", name=re.compile("^Held")).click()
    expect(page.get_by_text("No rods on site.")).to_be_visible()
    states = StepMark.objects.order_by("id").values_list("state", "by__username")
    assert list(states) == [("done", "installer"), ("held", "installer")]
    installer.check_width()


def test_a_failed_damper_comes_back_fixed(visit: Visits) -> None:
    cast = make_cast()
    unit, _ = make_work_site(cast)
    technician, key = visit(TABLET), cast.project.key
    technician.sign_in(cast.controls)
    page = technician.page
    technician.open(f"/p/{key}/units/{unit.pk}/checkout/begin/")
    page.get_by_role("button", name="Begin the checkout").click()
    technician.check_access()
    # Typed without waiting for the answers: nothing typed may be lost.
    page.get_by_label(re.compile("^Read")).first.fill("24.1")
    page.keyboard.press("Tab")
    room = page.locator("li.point").filter(has_text="Room sensor against a reference")
    room.get_by_label(re.compile("^Read")).first.fill("70.5")
    page.keyboard.press("Tab")
    room.get_by_label(re.compile("^Reference")).first.fill("70.3")
    page.keyboard.press("Tab")
    _saved(page, "Room sensor against a reference", "passes")
    damper = page.locator("li.point").filter(has_text="Damper runs fully open")
    damper.get_by_role("button", name="Wrong").click()
    _saved(page, "Damper runs fully open", "fails")
    damper.get_by_role("link", name="Punch item 1").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Punch item 1")
    technician.check_access()
    page.get_by_role("textbox", name=re.compile("What was done")).fill("Coupling tightened.")
    page.get_by_role("button", name="It is done").click()
    expect(page.get_by_text("waits to be verified")).to_be_visible()

    office = visit(DESK)
    office.sign_in(cast.office)
    office.open(f"/p/{key}/punch/?state=answered")
    office.page.get_by_role("link", name="1", exact=True).click()
    office.page.get_by_role("button", name="Seen and right").click()
    expect(office.page.get_by_text("Observe it again first")).to_be_visible()

    point = CheckoutPoint.objects.get(key="damper-travel")
    technician.open(f"/p/{key}/work/checkouts/{point.checkout_id}/")
    damper.get_by_role("button", name="Right", exact=True).click()
    _saved(page, "Damper runs fully open", "passes")
    office.page.reload()
    office.page.get_by_role("button", name="Seen and right").click()
    expect(office.page.get_by_text("The item is verified.")).to_be_visible()
    assert PunchItem.objects.get().state == "verified"


def test_the_offices_friday_report(visit: Visits, tmp_path: Path) -> None:
    cast = make_cast()
    make_work_site(cast)
    office, key = visit(DESK), cast.project.key
    office.sign_in(cast.office)
    page = office.page
    office.open(f"/p/{key}/work/?trade=mechanical")
    page.get_by_label(re.compile("TU-2-1.*Box hung")).first.check()
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.get_by_text(re.compile("1 (step|mark)"))).to_be_visible()
    office.check_access()
    office.open(f"/p/{key}/work/progress/")
    office.check_access()
    page.get_by_role("link", name="Print", exact=True).click()
    page.get_by_role("button", name="Draft it").click()
    run_waiting_jobs()
    page.reload()
    with page.expect_download() as started:
        page.get_by_role("link", name=re.compile("Download|Take")).first.click()
    target = tmp_path / "report.pdf"
    started.value.save_as(target)
    assert target.read_bytes().startswith(b"%PDF-")
