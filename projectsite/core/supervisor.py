"""Keeps the parts of a small installation running: database, web server, job worker.

One process in the foreground starts the parts, starts a part again when it
stops, and stops all of them in the reverse order when it is asked to.  What
a killed supervisor left behind is found by a mark in its environment and
stopped by the next start, so nobody has to look for processes.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Protocol

from projectsite.core import processes
from projectsite.core.embedded import LOG_LIMIT_BYTES, DatabaseError
from projectsite.core.placement import PlacementError, make_passable

MARK = "PLENUM_SUPERVISED"  # environment variable of all our children: the var folder
STEADY_S = 30.0  # a part that ran this long starts again at once when it stops
LONGEST_PAUSE_S = 15.0
STOP_LIMIT_S = 20.0
TICK_S = 1.0


class AlreadyRunningError(Exception):
    """Another supervisor runs on the same folder."""


class Part(Protocol):
    """What the supervisor keeps running."""

    name: str

    def start(self) -> None:
        """Start it; raise DatabaseError or OSError when that fails."""

    def poll(self) -> int | None:
        """Exit status; None while it runs."""

    def stop(self) -> None:
        """Stop it and all that belongs to it; harmless when it doesn't run."""


@dataclass
class Program:
    """A child process whose output goes to a log file."""

    name: str
    command: list[str]
    log: Path
    environment: Mapping[str, str]
    folder: Path
    pass_fds: tuple[int, ...] = ()
    stop_limit_s: float = STOP_LIMIT_S
    _child: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start the process; its output is added to the log."""
        with contextlib.suppress(FileNotFoundError):
            if self.log.stat().st_size > LOG_LIMIT_BYTES:
                self.log.replace(self.log.with_name(self.log.name + ".1"))
        with self.log.open("ab") as log:
            self._child = subprocess.Popen(  # noqa: S603  our own commands
                self.command,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd=self.folder,
                env=dict(self.environment),
                pass_fds=self.pass_fds,
                start_new_session=True,  # Ctrl-C reaches the supervisor only
                preexec_fn=processes.die_with_parent(signal.SIGTERM),  # noqa: PLW1509  no threads
            )

    @property
    def pid(self) -> int | None:
        """Number of the process; None before the start and after the stop."""
        return self._child.pid if self._child else None

    def poll(self) -> int | None:
        """Exit status; None while it runs or when it wasn't started."""
        return self._child.poll() if self._child else None

    def stop(self) -> None:
        """Ask the process to end, wait, then end it and its helpers."""
        child, self._child = self._child, None
        if child is None:
            return
        if child.poll() is None:
            child.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(self.stop_limit_s)
        # The group is the child's own session: helpers that outlived it end here.
        # Its number is not free for others while the group has members.
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)
        child.wait()


@dataclass
class _Watched:
    part: Part
    started_at: float = 0.0
    failures: int = 0
    start_at: float | None = 0.0  # None while it runs


@dataclass
class Supervisor:
    """Runs parts in order until it is asked to stop.

    Parameters
    ----------
    say : Callable[[str], None]
        Takes one line for the person who looks on.
    clock : Callable[[], float]
        Monotonic clock in seconds.
    """

    say: Callable[[str], None]
    clock: Callable[[], float] = time.monotonic
    _watched: list[_Watched] = field(default_factory=list)
    _stopping: bool = False
    _wake: tuple[int, int] | None = None

    def add(self, part: Part) -> None:
        """Start a part and keep it running from now on."""
        part.start()
        self._watched.append(_Watched(part, started_at=self.clock(), start_at=None))

    def listen_for_signals(self) -> None:
        """Let SIGINT and SIGTERM end ``run``; a second one changes nothing."""
        if self._wake is not None:
            return
        self._wake = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        signal.set_wakeup_fd(self._wake[1], warn_on_full_buffer=False)
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._ask_to_stop)
        if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:  # as under nohup
            signal.signal(signal.SIGHUP, self._ask_to_stop)
        signal.signal(signal.SIGCHLD, lambda *_: None)  # only so that the pause below ends

    def _ask_to_stop(self, _number: int, _frame: object) -> None:
        self._stopping = True

    @property
    def stopping(self) -> bool:
        """Whether somebody asked to stop."""
        return self._stopping

    @property
    def has_parts(self) -> bool:
        """Whether any part was started."""
        return bool(self._watched)

    def run(self, every_tick: Callable[[], None] = lambda: None) -> None:
        """Watch the parts until a signal asks to stop."""
        self.listen_for_signals()
        assert self._wake is not None
        while not self._stopping:
            self.tend()
            every_tick()
            due = [w.start_at - self.clock() for w in self._watched if w.start_at is not None]
            processes.wait_readable(self._wake[0], min([TICK_S, *due]))

    def tend(self) -> None:
        """Look at every part once: note what stopped, start again what is due."""
        for watched in self._watched:
            if self._stopping:
                return
            if watched.start_at is None and (status := watched.part.poll()) is not None:
                self._note_end(watched, status)
            if watched.start_at is not None and watched.start_at <= self.clock():
                self._start_again(watched)

    def _note_end(self, watched: _Watched, status: int) -> None:
        if self.clock() - watched.started_at >= STEADY_S:
            watched.failures = 0
        watched.failures += 1
        watched.start_at = self.clock() + pause_s(watched.failures)
        self.say(f"{watched.part.name} {describe_status(status)}; starting it again")

    def _start_again(self, watched: _Watched) -> None:
        try:
            watched.part.stop()  # ends what is left of it and releases its locks
            watched.part.start()
        except (DatabaseError, PlacementError, OSError) as error:
            watched.failures += 1
            watched.start_at = self.clock() + pause_s(watched.failures)
            self.say(f"{watched.part.name} can't start: {error}")
        else:
            watched.started_at = self.clock()
            watched.start_at = None

    def stop(self) -> None:
        """Stop all parts, the last one first."""
        self._stopping = True
        while self._watched:
            self._watched.pop().part.stop()


def pause_s(failures: int) -> float:
    """Seconds before a part starts again after so many failures in a row.

    >>> [pause_s(n) for n in (1, 2, 3, 8)]
    [0.0, 0.5, 1.0, 15.0]
    """
    if failures <= 1:
        return 0.0
    return float(min(0.5 * 2 ** min(failures - 2, 10), LONGEST_PAUSE_S))


def describe_status(status: int) -> str:
    """Exit status in words.

    >>> describe_status(-9), describe_status(3)
    ('was stopped by SIGKILL', 'ended with status 3')
    """
    if status < 0:
        with contextlib.suppress(ValueError):
            return f"was stopped by {signal.Signals(-status).name}"
    return f"ended with status {status}"


class RunningLock:
    """The mark that a supervisor runs on this folder; it falls with its process."""

    def __init__(self, var: Path) -> None:
        self._path = var / "run" / "supervisor.lock"
        self._note = var / "run" / "supervisor.json"
        self._file: IO[str] | None = None

    def take(self) -> None:
        """Take the lock.

        Raises
        ------
        AlreadyRunningError
            Somebody else holds it; the text says who, as far as known.
        """
        make_passable(self._path.parent, 0o711)
        file = self._path.open("a")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.close()
            raise AlreadyRunningError(self._describe_holder()) from None
        self._file = file
        self._note.unlink(missing_ok=True)

    def describe(self, address: str) -> None:
        """Note for a second start under which address this one is reached."""
        making = self._note.with_suffix(".new")
        making.write_text(json.dumps({"pid": os.getpid(), "address": address}))
        making.replace(self._note)

    def release(self) -> None:
        """Give the lock back."""
        if self._file is not None:
            self._note.unlink(missing_ok=True)
            self._file.close()
            self._file = None

    def _describe_holder(self) -> str:
        try:
            note = json.loads(self._note.read_text())
            return f"running at {note['address']} (process {note['pid']})"
        except (OSError, ValueError, KeyError, TypeError):
            return f"being started on the folder {self._path.parent.parent}"


def stop_leftovers(var: Path) -> list[int]:
    """Stop web server and worker processes that a killed supervisor left on this folder.

    Call it while holding the lock: nobody else supervises them then.
    """
    mark = str(var.resolve())

    def is_ours(pid: int) -> bool:
        return not processes.is_zombie(pid) and processes.environment_value(pid, MARK) == mark

    def find() -> list[int]:
        return [pid for pid in processes.process_ids() if is_ours(pid)]

    return processes.stop_all(find, is_ours, [(signal.SIGTERM, 5.0), (signal.SIGKILL, 5.0)])


def listen(host: str, port: int) -> socket.socket:
    """Open the socket of the web server here, so that it outlives the web server.

    Raises
    ------
    OSError
        The address can't be had.
    """
    family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen(512)
        listener.set_inheritable(True)
    except OSError:
        listener.close()
        raise
    return listener


class Tail:
    """Shows what is added to a log file, line by line."""

    def __init__(self, path: Path, label: str) -> None:
        self._path = path
        self._label = label
        self._rest = b""
        try:
            self._position = path.stat().st_size
        except FileNotFoundError:
            self._position = 0

    def show(self) -> None:
        """Print the complete lines that came since the last call."""
        try:
            with self._path.open("rb") as file:
                if os.fstat(file.fileno()).st_size < self._position:
                    self._position = 0  # a new file after the old one grew too long
                file.seek(self._position)
                added = file.read(1_000_000)
        except FileNotFoundError:
            return
        self._position += len(added)
        *lines, self._rest = (self._rest + added).split(b"\n")
        for line in lines:
            write(f"{self._label:9}{line.decode(errors='replace')}")


def write(line: str) -> None:
    """Print one line; a reader that went away doesn't stop the installation."""
    with contextlib.suppress(BrokenPipeError):
        print(line, flush=True)
        return
    # Nothing can be shown any more, and the exit must not try again.
    sys.stdout = Path(os.devnull).open("w")  # noqa: SIM115  lives until the end
