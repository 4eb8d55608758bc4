"""A small supervisor for the tests: keeps one private database until it is told to stop.

python keeper.py VAR ELSEWHERE BINDIR UID      (UID 0 stays as it is)
Prints "ready PID URL", then "back PID" after each restart, or "refused REASON".
"""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

import psycopg

from projectsite.core import embedded, placement
from projectsite.core.supervisor import RunningLock, Supervisor, write


def become(uid: int) -> None:
    # What is imported on first use comes from folders that only root may be able to read.
    with contextlib.suppress(psycopg.OperationalError):
        psycopg.connect("host=/nonexistent")
    os.setgroups([])
    os.setgid(uid)
    os.setuid(uid)


def main(var: Path, elsewhere: Path, bindir: Path, uid: int) -> int:
    if uid:
        become(uid)
    supervisor = Supervisor(say=write)
    lock = RunningLock(var)
    try:
        supervisor.listen_for_signals()
        place = placement.place(var, bindir, elsewhere=elsewhere)
        server = embedded.PrivatePostgres(
            place.data, place.run, place.bindir, var / "database.log", account=place.account
        )
        supervisor.add(server)
        lock.take()
        write(f"ready {server.pid} {server.url()}")
        known = server.pid

        def tell() -> None:
            nonlocal known
            if server.pid != known:
                known = server.pid
                write(f"back {known}")

        supervisor.run(every_tick=tell)
    except (placement.PlacementError, embedded.DatabaseError) as error:
        write(f"refused {error}")
        return 1
    finally:
        supervisor.stop()
        lock.release()
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4])))
