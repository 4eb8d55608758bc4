"""Sites for the tests: a folder of private state, its user, and the processes on it."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from projectsite.core import placement, processes

PROJECT = Path(__file__).resolve().parents[2]
KEEPER = Path(__file__).with_name("keeper.py")
# Accounts that every system has; the database is never given to them by us.
ORDINARY_UID = pwd.getpwnam("nobody").pw_uid
STRANGER_UID = pwd.getpwnam("daemon").pw_uid
AS_ROOT = os.geteuid() == 0
# Root can become an ordinary account; an ordinary account can only be itself.
KINDS = ("ordinary", "root", "root-closed") if AS_ROOT else ("ordinary",)


@dataclass
class Keeper:
    """A running keeper.py."""

    process: subprocess.Popen[str]
    server_pid: int = 0
    url: str = ""
    refused: str = ""

    def line(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().rstrip("\n")

    def wait_back(self) -> int:
        while not (line := self.line()).startswith("back "):
            assert line, "the keeper ended"
        self.server_pid = int(line.split()[1])
        return self.server_pid

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(10)

    def stop(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(60)


@dataclass
class Site:
    """A folder for private state, and who uses it."""

    kind: str
    base: Path
    bindir: Path
    keepers: list[Keeper] = field(default_factory=list)

    @property
    def var(self) -> Path:
        return self.base / "a project" / "var"

    @property
    def elsewhere(self) -> Path:
        return self.base.parent / "elsewhere"

    @property
    def data(self) -> Path:
        noted = placement._noted(self.var).get("data")
        return noted or self.var / "postgres"

    @property
    def uid(self) -> int:
        return ORDINARY_UID if self.kind == "ordinary" and AS_ROOT else 0

    def start(self) -> Keeper:
        arguments = [self.var, self.elsewhere, self.bindir, self.uid]
        process = subprocess.Popen(
            [sys.executable, str(KEEPER), *map(str, arguments)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=PROJECT,
            env={**os.environ, "PYTHONPATH": str(PROJECT)},
        )
        keeper = Keeper(process)
        self.keepers.append(keeper)
        words = keeper.line().split(" ")
        if words[0] == "ready":
            keeper.server_pid, keeper.url = int(words[1]), words[2]
        else:
            keeper.refused = " ".join(words)
            process.wait(10)
        return keeper

    def servers(self) -> list[int]:
        """All processes that work in the data folder."""
        data = self.data.resolve()
        return [
            pid
            for pid in processes.process_ids()
            if processes.working_folder(pid) == data and not processes.is_zombie(pid)
        ]

    def end(self) -> None:
        """Leave no process behind, whatever the test did."""
        for keeper in self.keepers:
            if keeper.process.poll() is None:
                keeper.kill()
            assert keeper.process.stdout is not None
            keeper.process.stdout.close()
        self.keepers.clear()
        for pid in self.servers():
            os.kill(pid, signal.SIGKILL)
        wait_until(lambda: not self.servers())

    def permissions(self) -> dict[Path, tuple[int, int, int]]:
        """Mode and owner of every folder above ours."""
        found = {}
        for path in (self.base / "a project", *(self.base / "a project").parents):
            status = path.stat()
            found[path] = (stat.S_IMODE(status.st_mode), status.st_uid, status.st_gid)
        return found


def wait_until(condition: Callable[[], bool], seconds: float = 15.0) -> None:
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "it didn't happen in time"
        time.sleep(0.02)


class open_folder:  # noqa: N801  used like a function
    """A temporary folder that other accounts can pass through."""

    def __enter__(self) -> Path:
        self.path = Path(tempfile.mkdtemp(prefix="plenum-test-", dir="/tmp"))
        self.path.chmod(0o755)
        return self.path

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self.path, ignore_errors=True)
