"""Real processes on small folders of their own."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from projectsite.core import embedded, placement
from tests.start.sites import AS_ROOT, KINDS, ORDINARY_UID, Site, open_folder


@pytest.fixture(scope="session")
def reachable_bindir() -> Iterator[Path]:
    """Binaries that every account may run, wherever the virtual environment lies."""
    bindir = embedded.find_bindir()
    stranger = placement.Account("stranger", ORDINARY_UID, ORDINARY_UID)
    if not AS_ROOT or placement._may_run(stranger, bindir / "postgres"):
        yield bindir
        return
    with open_folder() as folder:
        yield placement._copy_binaries(bindir, folder)


@pytest.fixture
def make_site(reachable_bindir: Path) -> Iterator[Callable[[str], Site]]:
    """Make sites of a kind; every process on them is gone at the end."""
    sites: list[Site] = []
    with open_folder() as outer:

        def make(kind: str) -> Site:
            base = outer / f"{kind} {len(sites)}"
            project = base / "a project"
            project.mkdir(parents=True)
            site = Site(kind, base, reachable_bindir)
            site.var.mkdir()
            site.var.chmod(0o711)
            if site.uid:
                os.chown(site.var, site.uid, site.uid)
            if kind == "root-closed":
                project.chmod(0o700)
            sites.append(site)
            return site

        yield make
        for site in sites:
            site.end()


@pytest.fixture(params=KINDS)
def site(request: pytest.FixtureRequest, make_site: Callable[[str], Site]) -> Site:
    """A site of every kind that this account can try."""
    return make_site(request.param)


@pytest.fixture(scope="session")
def started_site(reachable_bindir: Path) -> Iterator[Site]:
    """A site in the open that was started before; making one costs more than most tests."""
    with open_folder() as outer:
        site = Site("root" if AS_ROOT else "ordinary", outer / "shared", reachable_bindir)
        site.var.mkdir(parents=True)
        site.var.chmod(0o711)
        assert site.start().stop() == 0
        yield site
        site.end()


@pytest.fixture
def plain_site(started_site: Site) -> Iterator[Site]:
    """The shared site, for what doesn't depend on the account; nothing runs on it after."""
    yield started_site
    started_site.end()
