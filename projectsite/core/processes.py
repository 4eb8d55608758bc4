"""What the kernel knows of running processes: proof of identity before any signal.

Nothing here trusts a process number by itself, because numbers are used
again.  A process is signalled through a handle that was opened first and
checked afterwards, so the signal can't reach a successor of the same number.
Standard library only.  Without ``/proc`` every search finds nothing.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import select
import signal
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

PROC = Path("/proc")
_PR_SET_PDEATHSIG = 1  # prctl(2): signal sent to this process when its parent dies


def process_ids() -> Iterator[int]:
    """Yield the numbers of all visible processes but this one."""
    if not PROC.is_dir():
        return
    own = os.getpid()
    for entry in PROC.iterdir():
        if entry.name.isdigit() and int(entry.name) != own:
            yield int(entry.name)


def is_zombie(pid: int) -> bool:
    """Whether the process has ended and only waits to be collected by its parent."""
    try:
        stat = (PROC / str(pid) / "stat").read_text()
    except OSError:
        return False
    # The name stands in parentheses and may itself contain some.
    return stat.rpartition(")")[2].split()[:1] == ["Z"]


def working_folder(pid: int) -> Path | None:
    """Folder in which the process works; None when it ended or isn't ours to see."""
    try:
        return (PROC / str(pid) / "cwd").readlink()
    except OSError:
        return None


def command_line(pid: int) -> list[str]:
    """Words of the command line; empty when the process ended."""
    try:
        raw = (PROC / str(pid) / "cmdline").read_bytes()
    except OSError:
        return []
    return [word.decode(errors="replace") for word in raw.split(b"\0") if word]


def environment_value(pid: int, name: str) -> str | None:
    """Value of a variable with which the process was started, if it can be read."""
    try:
        raw = (PROC / str(pid) / "environ").read_bytes()
    except OSError:
        return None
    wanted = name.encode() + b"="
    for entry in raw.split(b"\0"):
        if entry.startswith(wanted):
            return entry[len(wanted) :].decode(errors="replace")
    return None


def send(pid: int, number: signal.Signals, is_ours: Callable[[int], bool]) -> bool:
    """Signal the process if it is, checked after its handle is open, one of ours.

    Parameters
    ----------
    pid : int
        Number of the process.
    number : signal.Signals
        Signal to send.
    is_ours : Callable[[int], bool]
        Proof of identity; called while the number can't be used again unseen.

    Returns
    -------
    bool
        Whether the signal was sent.
    """
    try:
        handle = os.pidfd_open(pid)
    except ProcessLookupError:
        return False
    except OSError:  # an old kernel or container forbids handles: the check alone has to do
        return _send_without_handle(pid, number, is_ours)
    try:
        if not is_ours(pid):
            return False
        signal.pidfd_send_signal(handle, number)
    except OSError:
        return False
    finally:
        os.close(handle)
    return True


def _send_without_handle(pid: int, number: signal.Signals, is_ours: Callable[[int], bool]) -> bool:
    if not is_ours(pid):
        return False
    try:
        os.kill(pid, number)
    except OSError:
        return False
    return True


def stop_all(
    find: Callable[[], list[int]],
    is_ours: Callable[[int], bool],
    steps: list[tuple[signal.Signals, float]],
) -> list[int]:
    """Stop all processes that ``find`` returns, by one signal after the other.

    Parameters
    ----------
    find : Callable[[], list[int]]
        Searches for the processes; asked again after every step.
    is_ours : Callable[[int], bool]
        Proof of identity of one process.
    steps : list[tuple[signal.Signals, float]]
        Signals in order, each with the longest wait in seconds after it.

    Returns
    -------
    list[int]
        Numbers of the processes that were found at first.
    """
    found = find()
    remaining = found
    for number, patience in steps:
        if not remaining:
            break
        for pid in remaining:
            send(pid, number, is_ours)
        deadline = time.monotonic() + patience
        while (remaining := find()) and time.monotonic() < deadline:
            time.sleep(0.02)
    return found


def die_with_parent(number: signal.Signals) -> Callable[[], None]:
    """Return a function for ``preexec_fn``: signal the child when its parent dies.

    Only Linux has this; elsewhere the function does nothing, and the next
    start stops what was left behind.  The library is loaded here, in the
    parent, since between fork and exec as little as possible may be done.
    """
    try:
        prctl = ctypes.CDLL(None).prctl
    except (OSError, AttributeError):
        return lambda: None
    parent = os.getpid()

    def arrange() -> None:
        prctl(_PR_SET_PDEATHSIG, int(number))
        if os.getppid() != parent:  # it died before the arrangement held
            os.kill(os.getpid(), number)

    return arrange


def wait_readable(descriptor: int, seconds: float) -> None:
    """Sleep until something can be read from the descriptor, which is then emptied."""
    if select.select([descriptor], [], [], max(seconds, 0))[0]:
        with contextlib.suppress(BlockingIOError):
            os.read(descriptor, 4096)
