"""A real browser against a live server.

The browser is the system's Chromium; when it is missing these tests fail, they are not skipped.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, Response, sync_playwright
from pytest_django.live_server_helper import LiveServer

from projectsite.accounts.models import User
from tests.builders.accounts import PASSWORD

DESK = {"width": 1440, "height": 900}
TABLET = {"width": 834, "height": 1112}
PHONE = {"width": 390, "height": 844}

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
STANDARDS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

# Playwright's synchronous interface keeps an event loop in this thread; the database calls of
# a test are still made one after the other.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give the live database to every test of this folder."""
    for item in items:
        if "tests/browser" in item.path.as_posix():
            item.add_marker(pytest.mark.django_db(transaction=True, serialized_rollback=True))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Start the system's Chromium once."""
    path = os.environ.get("PLENUM_CHROMIUM") or shutil.which("chromium")
    if not path:
        pytest.fail("No Chromium was found. Install the package chromium or set PLENUM_CHROMIUM.")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield started
        started.close()


@dataclass
class Visit:
    """A person's browser: one page, and everything that went wrong on it."""

    page: Page
    address: str
    complaints: list[str] = field(default_factory=list)

    def open(self, path: str) -> None:
        """Open a page of the site by its path."""
        self.page.goto(self.address + path)

    def sign_in(self, user: User | str, password: str = PASSWORD) -> None:
        """Sign in by the form, as a person does."""
        name = user if isinstance(user, str) else user.username
        self.open("/sign-in/")
        self.page.get_by_label("Sign-in name").fill(name)
        self.page.get_by_label("Password", exact=True).fill(password)
        self.page.get_by_role("button", name="Sign in").click()

    def check_access(self) -> None:
        """Fail when axe finds something on the page that shuts people out."""
        found = Axe().run(self.page, options={"runOnly": {"type": "tag", "values": STANDARDS}})
        lines = [
            f"{v['id']}: {v['help']}: {[node['target'] for node in v['nodes']][:5]}"
            for v in found.response["violations"]
        ]
        assert not lines, f"{self.page.url}\n" + "\n".join(lines)

    def check_width(self) -> None:
        """Fail when the page is wider than the screen, so that it scrolls sideways."""
        wide = self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert wide <= 1, f"{self.page.url} is {wide} px wider than the screen"


@pytest.fixture
def visit(browser: Browser, live_server: LiveServer) -> Iterator[Callable[..., Visit]]:
    """Open a browser of its own for a person; complaints of the console fail the test."""
    contexts: list[BrowserContext] = []
    visits: list[Visit] = []

    def opened(size: dict[str, int] | None = None, **options: Any) -> Visit:
        size = size or DESK
        context = browser.new_context(
            viewport={"width": size["width"], "height": size["height"]}, **options
        )
        context.set_default_timeout(10_000)
        contexts.append(context)
        page = context.new_page()
        new = Visit(page, live_server.url)

        def heard(response: Response) -> None:
            if response.status >= 500:
                new.complaints.append(f"{response.status} {response.url}")

        page.on("response", heard)
        page.on("pageerror", lambda error: new.complaints.append(f"script: {error}"))
        page.on(
            "console",
            lambda message: (
                new.complaints.append(f"console: {message.text}")
                if message.type == "error" and "status of 4" not in message.text
                else None
            ),
        )
        visits.append(new)
        return new

    yield opened
    for context in contexts:
        context.close()
    complaints = [line for one in visits for line in one.complaints]
    assert not complaints, "\n".join(complaints)
