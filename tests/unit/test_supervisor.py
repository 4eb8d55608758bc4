"""The supervisor starts again what stops, more slowly each time, and stops in order."""

from __future__ import annotations

import socket
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from projectsite.core import supervisor
from projectsite.core.embedded import DatabaseError
from projectsite.core.supervisor import AlreadyRunningError, RunningLock, Supervisor, Tail


@dataclass
class FakePart:
    """A part that ends when the test says so."""

    name: str
    calls: list[str]
    status: int | None = None
    refusals: int = 0

    def start(self) -> None:
        if self.refusals:
            self.refusals -= 1
            raise DatabaseError("no room")
        self.calls.append(f"start {self.name}")
        self.status = None

    def poll(self) -> int | None:
        return self.status

    def stop(self) -> None:
        self.calls.append(f"stop {self.name}")


@dataclass
class Bench:
    """A supervisor with two parts and a clock that stands still."""

    calls: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    now: float = 1000.0

    def __post_init__(self) -> None:
        self.supervisor = Supervisor(say=self.said.append, clock=lambda: self.now)
        self.first = FakePart("first", self.calls)
        self.second = FakePart("second", self.calls)
        self.supervisor.add(self.first)
        self.supervisor.add(self.second)
        self.calls.clear()


def test_running_parts_are_left_alone() -> None:
    bench = Bench()
    bench.supervisor.tend()
    assert bench.calls == []
    assert bench.said == []


def test_part_that_stopped_starts_again_at_once_and_it_is_said() -> None:
    bench = Bench()
    bench.first.status = -9
    bench.supervisor.tend()
    assert bench.calls == ["stop first", "start first"]
    assert bench.said == ["first was stopped by SIGKILL; starting it again"]


def test_part_that_stops_again_and_again_waits_longer_each_time() -> None:
    bench = Bench()
    waits = []
    for _ in range(8):
        bench.first.status = 1
        stopped_at = bench.now
        bench.calls.clear()
        bench.supervisor.tend()
        while "start first" not in bench.calls:
            bench.now += 0.25
            bench.supervisor.tend()
        waits.append(bench.now - stopped_at)
    assert waits == [0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 15.0, 15.0]


def test_long_steady_run_is_forgiven() -> None:
    bench = Bench()
    for _ in range(3):
        bench.now += supervisor.STEADY_S
        bench.first.status = 1
        bench.calls.clear()
        bench.supervisor.tend()
        assert bench.calls == ["stop first", "start first"]


def test_failing_start_is_tried_again_and_said() -> None:
    bench = Bench()
    bench.first.status = 1
    bench.first.refusals = 1
    bench.supervisor.tend()
    assert bench.said[-1] == "first can't start: no room"
    bench.now += 1.0
    bench.supervisor.tend()
    assert bench.calls[-1] == "start first"


def test_parts_stop_in_reverse_order_once() -> None:
    bench = Bench()
    bench.supervisor.stop()
    bench.supervisor.stop()
    assert bench.calls == ["stop second", "stop first"]


def test_nothing_starts_again_while_stopping() -> None:
    bench = Bench()
    bench.supervisor._ask_to_stop(15, None)
    bench.first.status = 1
    bench.supervisor.tend()
    assert bench.calls == []


def test_second_lock_is_refused_with_address_and_process(tmp_path: Path) -> None:
    first = RunningLock(tmp_path)
    first.take()
    with pytest.raises(AlreadyRunningError, match="being started"):
        RunningLock(tmp_path).take()
    first.describe("http://127.0.0.1:8000/")
    with pytest.raises(AlreadyRunningError, match=r"http://127\.0\.0\.1:8000/ \(process \d+\)"):
        RunningLock(tmp_path).take()
    first.release()
    second = RunningLock(tmp_path)
    second.take()
    second.release()


@pytest.mark.parametrize("content", ["", "{", "[]", '{"pid": 1}'])
def test_broken_note_still_says_that_it_runs(tmp_path: Path, content: str) -> None:
    first = RunningLock(tmp_path)
    first.take()
    (tmp_path / "run" / "supervisor.json").write_text(content)
    with pytest.raises(AlreadyRunningError, match="being started"):
        RunningLock(tmp_path).take()
    first.release()


def test_busy_port_is_an_error() -> None:
    first = supervisor.listen("127.0.0.1", 0)
    try:
        with pytest.raises(OSError, match="in use"):
            supervisor.listen("127.0.0.1", first.getsockname()[1])
    finally:
        first.close()


def test_listener_survives_into_the_web_server() -> None:
    listener = supervisor.listen("127.0.0.1", 0)
    try:
        assert listener.get_inheritable()
        assert listener.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN) == 1
    finally:
        listener.close()


def test_tail_shows_complete_lines_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "web.log"
    log.write_text("before\n")
    tail = Tail(log, "web")
    with log.open("a") as file:
        file.write("one\ntw")
    tail.show()
    with log.open("a") as file:
        file.write("o\n")
    tail.show()
    tail.show()
    assert capsys.readouterr().out == "web      one\nweb      two\n"


def test_tail_follows_into_a_new_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "web.log"
    log.write_text("a long line of before\n")
    tail = Tail(log, "web")
    log.write_text("new\n")
    tail.show()
    assert capsys.readouterr().out == "web      new\n"
