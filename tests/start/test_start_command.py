"""``manage.py start`` as a person meets it: one installation, walked through its faults."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from projectsite.core import processes
from projectsite.core.supervisor import MARK
from tests.start.sites import PROJECT, open_folder, wait_until


class Installation:
    """An empty installation with its own private database."""

    def __init__(self, folder: Path) -> None:
        self.var = folder / "some where" / "var"
        self.var.mkdir(parents=True)
        self.log = folder / "start.log"
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.process: subprocess.Popen[bytes] | None = None

    def environment(self) -> dict[str, str]:
        names = ("DATABASE_URL", "DJANGO_SETTINGS_MODULE", "PLENUM_SECRET_KEY")
        return {
            **{key: value for key, value in os.environ.items() if key not in names},
            "PLENUM_NO_BOOTSTRAP": "1",
            "PLENUM_SECRET_KEY": "only-for-this-test-0123456789-0123456789-0123456789",
            "PLENUM_VAR": str(self.var),
        }

    def command(self, *options: str) -> list[str]:
        words = ["start", "--empty", "--port", str(self.port), *options]
        return [sys.executable, str(PROJECT / "manage.py"), *words]

    def start(self) -> None:
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                self.command(), stdout=log, stderr=log, cwd="/", env=self.environment()
            )
        wait_until(lambda: "is ready" in self.said() or self.ended(), 90)
        assert "is ready" in self.said(), self.said()

    def said(self) -> str:
        return self.log.read_text(errors="replace")

    def ended(self) -> bool:
        return self.process is not None and self.process.poll() is not None

    def answer(self) -> int:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/", timeout=20) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code

    def parts(self) -> list[int]:
        """Web server, its workers and the job worker."""
        mark = str(self.var.resolve())
        return [
            pid
            for pid in processes.process_ids()
            if not processes.is_zombie(pid) and processes.environment_value(pid, MARK) == mark
        ]

    def part(self, word: str) -> int:
        """The process of a part that the supervisor itself started."""
        assert self.process is not None
        found = [
            pid
            for pid in processes.process_ids()
            if _parent(pid) == self.process.pid and word in " ".join(processes.command_line(pid))
        ]
        return found[0] if found else 0

    def end(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            self.process.wait(60)


def _parent(pid: int) -> int:
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return 0
    return int(stat.rpartition(")")[2].split()[1])


@pytest.fixture(scope="module")
def installation() -> Iterator[Installation]:
    with open_folder() as folder:
        made = Installation(folder)
        made.start()
        yield made
        made.end()


def test_first_start_answers_and_says_how_to_go_on(installation: Installation) -> None:
    said = installation.said()
    assert f"http://127.0.0.1:{installation.port}/" in said
    assert "Stop with Ctrl-C" in said
    assert installation.answer() < 500


def test_second_start_is_refused_with_address_and_process(installation: Installation) -> None:
    assert installation.process is not None
    second = subprocess.run(
        installation.command(),
        capture_output=True,
        text=True,
        check=False,
        env=installation.environment(),
    )
    assert second.returncode == 1
    place = f"http://127.0.0.1:{installation.port}/ (process {installation.process.pid})"
    assert second.stderr.strip() == f"Plenum Ledger is already running at {place}."
    assert installation.answer() < 500


@pytest.mark.parametrize("word", ["gunicorn", "manage.py work", "/postgres"])
def test_killed_part_comes_back(installation: Installation, word: str) -> None:
    former = installation.part(word)
    assert former
    os.kill(former, signal.SIGKILL)
    wait_until(lambda: installation.part(word) not in (0, former), 30)
    wait_until(lambda: installation.answer() < 500, 30)


def test_start_after_kill_of_the_supervisor(installation: Installation) -> None:
    assert installation.process is not None
    left = {*installation.parts(), installation.part("/postgres")}
    installation.process.kill()
    installation.process.wait(10)
    began = time.monotonic()
    installation.start()
    assert time.monotonic() - began < 60
    assert installation.answer() < 500
    assert not left & {*installation.parts(), installation.part("/postgres")}


def test_term_stops_everything_and_succeeds(installation: Installation) -> None:
    assert installation.process is not None
    database = installation.part("/postgres")
    installation.process.terminate()
    assert installation.process.wait(60) == 0
    assert installation.parts() == []
    assert processes.command_line(database) == []
    assert re.search(r"stopped; all data are kept\n\Z", installation.said())
    assert (
        "database system is shut down"
        in ((installation.var / "log" / "database.log").read_text().splitlines()[-1])
    )


def test_busy_port_is_said_plainly(installation: Installation) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        busy = str(other.getsockname()[1])
        refused = subprocess.run(
            installation.command("--port", busy),
            capture_output=True,
            text=True,
            check=False,
            env=installation.environment(),
        )
    assert refused.returncode == 1
    assert f"Port {busy} on 127.0.0.1 can't be used (Address already in use)" in refused.stderr


def test_sample_people_are_not_shown_to_other_machines(installation: Installation) -> None:
    passwords = installation.var / "sample-passwords"
    passwords.write_text("somebody  secret\n")
    try:
        refused = subprocess.run(
            installation.command("--host", "0.0.0.0"),
            capture_output=True,
            text=True,
            check=False,
            env=installation.environment(),
        )
    finally:
        passwords.unlink()
    assert refused.returncode == 1
    assert "--with-sample-people" in refused.stderr
    assert installation.parts() == []
