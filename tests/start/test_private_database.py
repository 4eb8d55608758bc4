"""The private database comes back by itself, keeps its data and leaves others alone."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest

from projectsite.core import placement, processes
from tests.start.sites import AS_ROOT, KINDS, STRANGER_UID, Site, wait_until


def write_row(url: str) -> None:
    with psycopg.connect(url) as connection:
        connection.execute("drop table if exists kept")
        connection.execute("create table kept as select 42 as answer")


def assert_row(url: str) -> None:
    with psycopg.connect(url) as connection:
        assert connection.execute("select answer from kept").fetchall() == [(42,)]


def test_first_start_makes_a_safe_database_and_term_shuts_it_down(site: Site) -> None:
    before = site.permissions()
    keeper = site.start()
    assert keeper.url, keeper.refused
    assert keeper.url == placement.database_url(site.var)
    with psycopg.connect(keeper.url) as connection:

        def show(name: str) -> str:
            found = connection.execute("select current_setting(%s)", [name]).fetchone()
            assert found is not None
            return str(found[0])

        assert show("fsync") == "on"
        assert show("full_page_writes") == "on"
        assert show("synchronous_commit") == "on"
        assert show("data_checksums") == "on"
        assert show("listen_addresses") == ""
        assert show("server_encoding") == "UTF8"
    owner = Path(f"/proc/{keeper.server_pid}").stat().st_uid
    assert owner != 0
    assert site.data.stat().st_uid == owner
    assert site.data.stat().st_mode & 0o077 == 0
    assert keeper.stop() == 0
    assert site.servers() == []
    control = subprocess.run(
        [str(site.bindir / "pg_controldata"), str(site.data)],
        capture_output=True,
        text=True,
        check=True,
        env={"LC_ALL": "C"},
    )
    assert "shut down\n" in control.stdout
    assert not (site.data / "postmaster.pid").exists()
    assert site.permissions() == before


def test_killed_server_is_started_again(plain_site: Site) -> None:
    keeper = plain_site.start()
    write_row(keeper.url)
    former = keeper.server_pid
    os.kill(former, signal.SIGKILL)
    assert keeper.wait_back() != former
    assert_row(keeper.url)
    assert keeper.stop() == 0


@pytest.mark.parametrize("server_too", [False, True], ids=["supervisor", "both"])
def test_start_after_kill_of_the_supervisor(site: Site, server_too: bool) -> None:
    keeper = site.start()
    write_row(keeper.url)
    if server_too:
        os.kill(keeper.server_pid, signal.SIGKILL)
    keeper.kill()
    again = site.start()
    assert again.url, again.refused
    assert_row(again.url)
    assert keeper.server_pid not in site.servers()
    assert again.stop() == 0
    assert site.servers() == []


def test_orphan_stops_by_itself_when_the_supervisor_is_killed(plain_site: Site) -> None:
    keeper = plain_site.start()
    keeper.kill()
    wait_until(lambda: plain_site.servers() == [])


def _zombie() -> subprocess.Popen[bytes]:
    child = subprocess.Popen([sys.executable, "-c", "pass"])
    wait_until(lambda: processes.is_zombie(child.pid))
    return child


@pytest.mark.parametrize("content", ["cut", "empty", "garbage", "stranger", "zombie"])
def test_start_with_a_bad_pid_file(plain_site: Site, content: str) -> None:
    site = plain_site
    keeper = site.start()
    write_row(keeper.url)
    pid_file = site.data / "postmaster.pid"
    lines = pid_file.read_text().splitlines(keepends=True)
    os.kill(keeper.server_pid, signal.SIGSTOP)  # so that it can't tidy up
    keeper.kill()
    os.kill(keeper.server_pid, signal.SIGKILL)
    stranger = subprocess.Popen(["/bin/sleep", "60"], cwd=site.base)
    zombie = _zombie()
    try:
        new = {
            "cut": "".join(lines)[:3],
            "empty": "",
            "garbage": "\x00\xff not a pid\n" * 3,
            "stranger": "".join([f"{stranger.pid}\n", *lines[1:]]),
            "zombie": "".join([f"{zombie.pid}\n", *lines[1:]]),
        }[content]
        pid_file.write_text(new)
        again = site.start()
        assert again.url, again.refused
        assert_row(again.url)
        assert stranger.poll() is None, "a stranger's process was stopped"
        assert again.stop() == 0
    finally:
        stranger.kill()
        stranger.wait()
        zombie.wait()


def test_pid_file_lost_while_the_orphan_runs(plain_site: Site) -> None:
    site = plain_site
    keeper = site.start()
    write_row(keeper.url)
    os.kill(keeper.server_pid, signal.SIGSTOP)  # an orphan that doesn't react
    keeper.kill()
    (site.data / "postmaster.pid").write_text("")
    wakes = subprocess.Popen(["/bin/sh", "-c", f"sleep 1; kill -CONT {keeper.server_pid}"])
    again = site.start()
    wakes.wait()
    assert again.url, again.refused
    assert keeper.server_pid not in site.servers()
    assert_row(again.url)
    assert again.stop() == 0


def test_second_start_is_refused_and_harmless(plain_site: Site) -> None:
    site = plain_site
    keeper = site.start()
    write_row(keeper.url)
    second = site.start()
    assert "already in use" in second.refused
    assert second.process.returncode == 1
    assert_row(keeper.url)
    assert keeper.stop() == 0


def test_half_made_data_are_made_anew(make_site: Callable[[str], Site]) -> None:
    site = make_site("ordinary")
    half = site.var / "postgres.init"
    half.mkdir(mode=0o700)
    (half / "PG_VERSION").write_text("18\n")
    if site.uid:
        os.chown(half, site.uid, site.uid)
        os.chown(half / "PG_VERSION", site.uid, site.uid)
    keeper = site.start()
    assert keeper.url, keeper.refused
    assert keeper.stop() == 0


def test_foreign_content_in_the_data_folder_is_not_touched(
    make_site: Callable[[str], Site],
) -> None:
    site = make_site("root" if AS_ROOT else "ordinary")
    (site.var / "postgres").mkdir()
    (site.var / "postgres" / "letter.txt").write_text("mine")
    keeper = site.start()
    assert "holds no database" in keeper.refused
    assert (site.var / "postgres" / "letter.txt").read_text() == "mine"


def test_data_of_another_version_are_refused_in_words(plain_site: Site) -> None:
    site = plain_site
    version = site.data / "PG_VERSION"
    made_by = version.read_text()
    version.write_text("9\n")
    try:
        refused = site.start().refused
    finally:
        version.write_text(made_by)
    assert "made by PostgreSQL 9" in refused
    assert "version 18" in refused


def test_open_socket_folder_is_refused(site: Site) -> None:
    run = site.var / "run" / "db"
    run.mkdir(parents=True)
    run.chmod(0o777)
    refused = "" if site.kind == "root-closed" else site.start().refused
    if site.kind == "root-closed":  # the socket lies elsewhere then, and is refused there
        site.start().stop()
        Path(placement._noted(site.var)["run"]).chmod(0o777)
        refused = site.start().refused
    assert "only its owner can enter" in refused


def test_long_path_gets_a_short_closed_socket_folder(make_site: Callable[[str], Site]) -> None:
    for kind in ("ordinary", "root") if AS_ROOT else ("ordinary",):
        site = make_site(kind)
        site.base = site.base / ("long" * 20)
        (site.base / "a project").mkdir(parents=True)
        site.var.mkdir()
        site.var.chmod(0o711)
        if site.uid:
            os.chown(site.var, site.uid, site.uid)
        keeper = site.start()
        assert keeper.url == placement.database_url(site.var), keeper.refused
        run = placement._noted(site.var)["run"]
        try:
            assert not run.is_relative_to(site.var)
            assert run.stat().st_mode & 0o077 == 0
            assert keeper.stop() == 0
        finally:
            if kind == "ordinary":
                run.rmdir()


def test_other_accounts_cannot_connect(site: Site) -> None:
    keeper = site.start()
    if AS_ROOT:
        result = subprocess.run(
            [str(site.bindir / "psql"), "-w", keeper.url, "-c", "select 1"],
            capture_output=True,
            text=True,
            check=False,
            cwd="/",
            user=STRANGER_UID,
            group=STRANGER_UID,
            extra_groups=[],
        )
        assert "Permission denied" in result.stderr
        assert result.returncode != 0
    run = Path(str(psycopg.conninfo.conninfo_to_dict(keeper.url)["host"]))
    assert run.stat().st_mode & 0o777 == 0o700
    assert keeper.stop() == 0


def test_copied_project_does_not_share_the_database(make_site: Callable[[str], Site]) -> None:
    if not AS_ROOT:  # then everything lies inside and is copied too
        site = make_site("ordinary")
        site.start().stop()
        assert placement._noted(site.var) == {}
        return
    site = make_site("root-closed")
    site.start().stop()
    copy = make_site("root-closed")
    copy.base = site.base
    note = (site.var / placement.NOTE).read_text()
    other = site.base / "copied var"
    other.mkdir(mode=0o700)
    (other / placement.NOTE).write_text(note)
    with pytest.raises(placement.PlacementError, match="looks like a copy"):
        placement.place(other, site.bindir, elsewhere=site.elsewhere)


def test_moved_project_keeps_its_database(site: Site) -> None:
    keeper = site.start()
    write_row(keeper.url)
    assert keeper.stop() == 0
    moved = site.base.with_name("moved " + site.base.name)
    site.base.rename(moved)
    site.base = moved
    again = site.start()
    assert again.url, again.refused
    assert_row(again.url)
    assert again.stop() == 0


def test_new_project_at_an_old_path_gets_an_empty_database(
    make_site: Callable[[str], Site],
) -> None:
    site = make_site(KINDS[-1])  # as root, the old data lie elsewhere and are still there
    keeper = site.start()
    write_row(keeper.url)
    assert keeper.stop() == 0
    site.var.rename(site.var.with_name("old var"))
    site.var.mkdir()
    site.var.chmod(0o711)
    if site.uid:
        os.chown(site.var, site.uid, site.uid)
    again = site.start()
    with psycopg.connect(again.url) as connection:
        assert connection.execute("select to_regclass('kept')").fetchone() == (None,)
    assert again.stop() == 0
