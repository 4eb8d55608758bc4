"""Every kind of page of the sample project: open to everyone, and no wider than the screen."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from balancing.airflow.queries import tests as flow_tests
from projectsite.accounts.access import scope_of
from projectsite.core.scope import Scope
from projectsite.sample.load import ANNEXE, LIBRARY, load
from projectsite.sample.people import SignIn
from reports.queries import DocumentFilter, documents
from tests.browser.conftest import DESK, PHONE, TABLET, Visit
from tests.browser.jobs import run_waiting_jobs
from zones.inventory.queries import imports, unit_id_of
from zones.work.queries import checkouts, plans, punch

FIXTURES = Path(__file__).parents[2] / "fixtures"
AT = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)

SITE = (
    "/",
    "/account/",
    "/account/tokens/",
    "/account/password/",
    "/projects/new/",
    "/calculators/",
    "/calculators/k-fit/",
    "/status/",
)
PROJECT = (
    "",
    "units/",
    "units/add/",
    "air-handlers/",
    "zones/",
    "imports/",
    "imports/new/",
    "library/",
    "people/",
    "people/invite/",
    "settings/",
    "airflow/",
    "airflow/acceptance/",
    "airflow/instruments/",
    "airflow/instruments/add/",
    "documents/",
    "documents/new/",
    "labels/",
    "work/",
    "work/mine/",
    "work/look-ahead/",
    "work/assign/",
    "work/periods/",
    "work/checkouts/",
    "work/checkout-lists/",
    "work/files/",
    "work/progress/",
    "work/steps/",
    "work/steps/add/",
    "punch/",
    "punch/add/",
    "punch/import/",
    "plans/",
    "plans/add/",
)

EMPTY = (
    "",
    "units/",
    "airflow/",
    "documents/",
    "imports/",
    "work/",
    "work/mine/",
    "work/progress/",
    "work/checkouts/",
    "punch/",
    "plans/",
)
"""Pages of a project that holds nothing yet."""


@pytest.fixture
def people() -> list[SignIn]:
    """The sample project, with its documents made."""
    found = load(FIXTURES, address="http://127.0.0.1:8000", at=AT)
    run_waiting_jobs()
    return found


def _records(scope: Scope) -> list[str]:
    """Pages of single records, one of each state that looks different."""
    units = [f"units/{unit_id_of(scope, tag)}/" for tag in ("VAV-1-01", "VAV-2-01", "VAV-3-09")]
    tests = {
        row["state"]: row["id"] for row in flow_tests.list_tests(scope, flow_tests.TestFilter())
    }
    shown = [f"airflow/tests/{number}/" for number in tests.values()]
    return [*units, units[0] + "edit/", *shown, *_newest(scope), *_work(scope)]


def _work(scope: Scope) -> list[str]:
    checked = checkouts.checkout_sheet(scope, [unit_id_of(scope, "VAV-2-04")])[0]
    item = punch.punch_rows(scope, punch.PunchFilter(state="unverified"))[0]
    plan = plans.list_plans(scope)[0]
    return [f"work/checkouts/{checked.id}/", f"punch/{item.id}/", f"plans/{plan.id}/"]


def _newest(scope: Scope) -> list[str]:
    document = documents(scope, DocumentFilter())[0]
    received = imports.list_imports(scope)[0]
    return [f"documents/{document.id}/", f"imports/{received.id}/"]


def _look(visit: Visit, path: str, *, with_axe: bool) -> None:
    answer = visit.page.goto(visit.address + path)
    assert answer is not None
    assert answer.status == 200, f"{path} answered {answer.status}"
    visit.page.wait_for_load_state("networkidle")
    visit.check_width()
    if with_axe:
        visit.check_access()


def test_every_page(people: list[SignIn], visit: Callable[..., Visit]) -> None:
    office = people[0]
    scope = scope_of(office.person.id, LIBRARY)
    paths = [*SITE, *(f"/p/{LIBRARY}/{path}" for path in (*PROJECT, *_records(scope)))]
    paths += [f"/p/{ANNEXE}/{path}" for path in EMPTY]
    for size, with_axe in ((DESK, True), (PHONE, True), (TABLET, False)):
        opened = visit(size)
        opened.sign_in(office.username, office.password)
        opened.page.wait_for_url(f"{opened.address}/")
        for path in paths:
            _look(opened, path, with_axe=with_axe)
