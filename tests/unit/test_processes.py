"""A signal reaches only a process that was proven to be ours."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from projectsite.core import processes


@pytest.fixture
def sleeper(tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    environment = {**os.environ, "A_MARK": "here (and) there"}
    child = subprocess.Popen(["/bin/sleep", "60"], cwd=tmp_path, env=environment)
    while processes.command_line(child.pid)[:1] != ["/bin/sleep"]:
        time.sleep(0.01)
    yield child
    child.kill()
    child.wait()


def test_what_is_read_of_a_process(sleeper: subprocess.Popen[bytes], tmp_path: Path) -> None:
    assert sleeper.pid in list(processes.process_ids())
    assert os.getpid() not in list(processes.process_ids())
    assert processes.working_folder(sleeper.pid) == tmp_path
    assert processes.command_line(sleeper.pid) == ["/bin/sleep", "60"]
    assert processes.environment_value(sleeper.pid, "A_MARK") == "here (and) there"
    assert processes.environment_value(sleeper.pid, "A_MAR") is None
    assert not processes.is_zombie(sleeper.pid)


def test_nothing_is_read_of_a_process_that_ended(sleeper: subprocess.Popen[bytes]) -> None:
    sleeper.kill()
    sleeper.wait()
    assert processes.working_folder(sleeper.pid) is None
    assert processes.command_line(sleeper.pid) == []
    assert processes.environment_value(sleeper.pid, "A_MARK") is None
    assert not processes.send(sleeper.pid, signal.SIGTERM, lambda _pid: True)


@pytest.mark.parametrize("handles", [True, False])
def test_signal_needs_proof(
    sleeper: subprocess.Popen[bytes], handles: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not handles:

        def refuse(_pid: int) -> int:
            raise PermissionError

        monkeypatch.setattr(os, "pidfd_open", refuse)
    assert not processes.send(sleeper.pid, signal.SIGTERM, lambda _pid: False)
    assert sleeper.poll() is None
    assert processes.send(sleeper.pid, signal.SIGTERM, lambda pid: pid == sleeper.pid)
    assert sleeper.wait(10) == -signal.SIGTERM


def test_stop_all_goes_on_to_the_stronger_signal() -> None:
    deaf = (
        "import signal, time; signal.signal(15, signal.SIG_IGN); print(flush=True); time.sleep(60)"
    )
    stubborn = subprocess.Popen([sys.executable, "-c", deaf], stdout=subprocess.PIPE)
    assert stubborn.stdout is not None
    stubborn.stdout.readline()

    def find() -> list[int]:
        return [] if stubborn.poll() is not None else [stubborn.pid]

    steps = [(signal.SIGTERM, 0.1), (signal.SIGKILL, 10.0)]
    found = processes.stop_all(find, lambda pid: pid == stubborn.pid, steps)
    stubborn.stdout.close()
    assert found == [stubborn.pid]
    assert stubborn.returncode == -signal.SIGKILL


def test_child_ends_with_its_parent() -> None:
    parent = (
        "import signal, subprocess, sys, time\n"
        "from projectsite.core import processes\n"
        "child = subprocess.Popen(['/bin/sleep', '60'],"
        " preexec_fn=processes.die_with_parent(signal.SIGTERM))\n"
        "print(child.pid, flush=True)\n"
        "time.sleep(60)\n"
    )
    root = Path(__file__).resolve().parents[2]
    started = subprocess.Popen(
        [sys.executable, "-c", parent], cwd=root, stdout=subprocess.PIPE, text=True
    )
    assert started.stdout is not None
    child = int(started.stdout.readline())
    started.kill()
    started.wait()
    started.stdout.close()
    deadline = time.monotonic() + 10
    while processes.command_line(child) and not processes.is_zombie(child):
        assert time.monotonic() < deadline, "the child lives on"
        time.sleep(0.01)
