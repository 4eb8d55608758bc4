"""Start everything that a small installation needs, and keep it running in the foreground."""

from __future__ import annotations

import argparse
import hashlib
import ipaddress
import os
import socket
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.staticfiles.finders import get_finders
from django.core.management.base import BaseCommand, CommandParser
from psycopg import sql

from projectsite.core import embedded, placement
from projectsite.core.supervisor import (
    MARK,
    AlreadyRunningError,
    Program,
    RunningLock,
    Supervisor,
    Tail,
    listen,
    stop_leftovers,
    write,
)

ANSWER_LIMIT_S = 60.0
EVERYWHERE = ("0.0.0.0", "::", "")  # noqa: S104  compared with, not listened on


class StartError(Exception):
    """The start can't go on; the text says why, for a person."""


class Command(BaseCommand):
    """Database, web server and job worker under one roof; Ctrl-C stops all of them."""

    help = "Start the database, the web server and the job worker, and stay in the foreground."
    requires_system_checks: list[str] = []  # the parts check themselves; the database isn't up yet

    def add_arguments(self, parser: CommandParser) -> None:
        """Declare the options."""
        parser.add_argument("--port", type=_port, default=8000, help="port of the site (8000)")
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
        parser.add_argument(
            "--empty", action="store_true", help="first start: leave the sample project out"
        )
        parser.add_argument(
            "--with-sample-people",
            action="store_true",
            help="let the sample people sign in from other machines too",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Run until a signal asks to stop."""
        del args
        start = Start(
            host=options["host"],
            port=options["port"],
            empty=options["empty"],
            with_sample_people=options["with_sample_people"],
        )
        try:
            start.run()
        except (StartError, AlreadyRunningError) as error:
            sys.stderr.write(f"{error}\n")
            sys.exit(1)


class Start:
    """One run of the installation, step by step."""

    def __init__(self, *, host: str, port: int, empty: bool, with_sample_people: bool) -> None:
        self.host = host
        self.port = port
        self.with_sample_people = with_sample_people
        self.var: Path = settings.VAR_DIR
        self.project: Path = settings.BASE_DIR
        self.logs = self.var / "log"
        self.passwords = self.var / "sample-passwords"
        self.empty_mark = self.var / "started-empty"
        self.empty = empty or self.empty_mark.exists()
        self.welcome = ""
        self.supervisor = Supervisor(say=_say)

    def run(self) -> None:
        """Start everything, watch it, stop it."""
        os.umask(0o077)  # what is written from here on is for this account only
        lock = RunningLock(self.var)
        try:
            lock.take()
        except AlreadyRunningError as error:
            raise StartError(f"Plenum Ledger is already {error}.") from None
        try:
            self.supervisor.listen_for_signals()
            self._run_locked(lock)
        except _StoppedEarly:
            pass
        finally:
            if self.supervisor.has_parts:
                _say("stopping")
            self.supervisor.stop()
            lock.release()
        _say("stopped; all data are kept")

    def _run_locked(self, lock: RunningLock) -> None:
        if left := stop_leftovers(self.var):
            _say(f"stopped {len(left)} processes that an earlier start left behind")
        self._check_sample_people()
        listener = self._listen()
        lock.describe(self.address)
        self.logs.mkdir(mode=0o700, exist_ok=True)
        environment = self._environment(self._start_database())
        self._prepare(environment)
        self._check_sample_people()
        web = self._web(environment, listener)
        self.supervisor.add(web)
        self.supervisor.add(self._jobs(environment))
        tails = [Tail(web.log, "web"), Tail(self.logs / "jobs.log", "jobs")]
        self._wait_for_answer(web)
        self._print_welcome()
        self.supervisor.run(every_tick=lambda: _show(tails))

    # -- before anything runs ------------------------------------------------

    @property
    def address(self) -> str:
        """Address to open in a browser."""
        host = "127.0.0.1" if self.host in EVERYWHERE else self.host
        return f"http://{f'[{host}]' if ':' in host else host}:{self.port}/"

    def _check_sample_people(self) -> None:
        if _is_loopback(self.host) or self.with_sample_people or not self.passwords.exists():
            return
        raise StartError(
            f"--host {self.host} would let other machines in, and this installation has the "
            f"sample people, whose passwords are in {self.passwords}. Say --with-sample-people "
            "if that is meant; or change their passwords and remove that file."
        )

    def _listen(self) -> socket.socket:
        try:
            return listen(self.host, self.port)
        except (OSError, OverflowError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise StartError(
                f"Port {self.port} on {self.host} can't be used ({reason}). "
                "Choose another one with --port."
            ) from None

    def _start_database(self) -> str:
        if given := os.environ.get("DATABASE_URL"):
            _say("using the database of DATABASE_URL")
            return given
        try:
            place = placement.place(self.var, embedded.find_bindir())
            database = embedded.PrivatePostgres(
                place.data,
                place.run,
                place.bindir,
                self.logs / "database.log",
                account=place.account,
            )
            first = not place.data.exists()
            _say("making the database" if first else "starting the database")
            self.supervisor.add(database)
        except (placement.PlacementError, embedded.DatabaseError, OSError) as error:
            raise StartError(f"The database can't be started. {error}") from None
        return database.url()

    def _environment(self, database_url: str) -> dict[str, str]:
        environment = {
            **os.environ,
            "DATABASE_URL": database_url,
            "DJANGO_SETTINGS_MODULE": "projectsite.settings",
            "PLENUM_NO_BOOTSTRAP": "1",
            "PLENUM_VAR": str(self.var),
            "PYTHONUNBUFFERED": "1",
            MARK: str(self.var.resolve()),
        }
        environment.setdefault("PLENUM_ADDRESS", self.address.rstrip("/"))
        environment.setdefault("PLENUM_ALLOWED_HOSTS", ",".join(_names(self.host)))
        return environment

    # -- steps that end ----------------------------------------------------------

    def _prepare(self, environment: dict[str, str]) -> None:
        _say("bringing the database up to date")
        self._step("migrate", ["--no-input", "--verbosity", "0"], environment)
        self._collect_static(environment)
        if self._has_people(environment["DATABASE_URL"]):
            return
        if self.empty:
            self.empty_mark.touch()
            self.welcome = self._step("first_link", [], environment)
            return
        if not _is_loopback(self.host) and not self.with_sample_people:
            raise StartError(
                f"--host {self.host} lets other machines in, and a first start loads a sample "
                "project with people whose passwords are shown here. Say --with-sample-people if "
                "that is meant, or --empty to begin without them."
            )
        _say("loading the sample project")
        self.welcome = self._step(
            "load_sample", ["--credentials", str(self.passwords)], environment
        )

    def _step(self, name: str, arguments: list[str], environment: dict[str, str]) -> str:
        """Run a command to its end and return what it printed."""
        log = self.logs / f"{name}.log"
        log.unlink(missing_ok=True)
        log.touch(mode=0o600)
        step = Program(name, self._manage(name, *arguments), log, environment, self.project)
        step.start()
        try:
            while (status := step.poll()) is None:
                self._go_on_unless_stopping()
                self.supervisor.tend()
                time.sleep(0.02)
        finally:
            step.stop()
        output = log.read_text(errors="replace").strip()
        if status != 0:
            last = "\n".join(output.splitlines()[-5:])
            raise StartError(f"{last}\nThe step {name} failed; all it said is in {log}.")
        log.unlink()  # may hold passwords that are shown once
        return output

    def _collect_static(self, environment: dict[str, str]) -> None:
        """Collect style sheets and scripts, unless the same ones were collected before."""
        digest = hashlib.sha256()
        for finder in get_finders():
            for path, storage in finder.list([]):
                found = os.stat(storage.path(path))  # noqa: PTH116  storages speak in strings
                digest.update(f"{path}|{found.st_size}|{found.st_mtime_ns}\n".encode())
        stamp = self.var / "static.stamp"
        manifest = Path(settings.STATIC_ROOT) / "staticfiles.json"
        if manifest.exists() and stamp.exists() and stamp.read_text() == digest.hexdigest():
            return
        _say("collecting style sheets and scripts")
        self._step("collectstatic", ["--no-input", "--verbosity", "0"], environment)
        stamp.write_text(digest.hexdigest())

    @staticmethod
    def _has_people(database_url: str) -> bool:
        table = sql.Identifier(get_user_model()._meta.db_table)  # noqa: SLF001  documented by Django
        try:
            with psycopg.connect(database_url, connect_timeout=10) as connection:
                query = sql.SQL("select exists (select from {})").format(table)
                found = connection.execute(query).fetchone()
        except psycopg.Error as error:
            raise StartError(f"The database can't be read: {error}") from None
        return bool(found and found[0])

    # -- parts that stay -----------------------------------------------------------

    def _manage(self, *words: str) -> list[str]:
        return [sys.executable, str(self.project / "manage.py"), *words]

    def _web(self, environment: dict[str, str], listener: socket.socket) -> Program:
        options = {
            "--bind": f"fd://{listener.fileno()}",
            "--worker-class": "gthread",
            "--workers": "2",
            "--threads": "4",
            "--graceful-timeout": "10",
            "--access-logfile": "-",
            "--access-logformat": "%(h)s %(m)s %(U)s %(s)s %(M)s ms",
            "--log-level": "warning",
        }
        words = [word for option in options.items() for word in option]
        return Program(
            "web",
            [
                *(sys.executable, "-m", "gunicorn", "projectsite.wsgi:application"),
                *("--no-control-socket", *words),
            ],
            self.logs / "web.log",
            environment,
            self.project,
            pass_fds=(listener.fileno(),),
        )

    def _jobs(self, environment: dict[str, str]) -> Program:
        return Program(
            "jobs", self._manage("work"), self.logs / "jobs.log", environment, self.project
        )

    def _wait_for_answer(self, web: Program) -> None:
        """Wait until the web server answers, whatever it answers."""
        deadline = time.monotonic() + ANSWER_LIMIT_S
        while time.monotonic() < deadline:
            self._go_on_unless_stopping()
            if web.poll() is not None:
                break
            try:
                urllib.request.urlopen(self.address, timeout=5).close()  # noqa: S310  our own http address
            except urllib.error.HTTPError:
                return
            except OSError:
                time.sleep(0.05)
            else:
                return
        last = "\n".join(web.log.read_text(errors="replace").splitlines()[-5:])
        raise StartError(f"{last}\nThe web server doesn't answer; its log is {web.log}.")

    def _go_on_unless_stopping(self) -> None:
        if self.supervisor.stopping:
            raise _StoppedEarly

    def _print_welcome(self) -> None:
        write("")
        write(f"Plenum Ledger is ready:  {self.address}")
        if self.welcome:
            write(self.welcome)
        elif self.passwords.exists():
            write(self.passwords.read_text(errors="replace").strip())
            write(f"(kept in {self.passwords})")
        write(f"All data are in {self.var}. Stop with Ctrl-C.")
        write("")


class _StoppedEarly(Exception):
    pass


def _say(line: str) -> None:
    write(f"{time.strftime('%H:%M:%S', time.gmtime())} UTC  {line}")


def _show(tails: list[Tail]) -> None:
    for tail in tails:
        tail.show()


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port; use a number from 1 to 65535")
    return int(text)


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _names(host: str) -> list[str]:
    """Names by which browsers may call the site when it listens on ``host``."""
    names = ["127.0.0.1", "localhost", "[::1]"]
    if host in EVERYWHERE:
        own = socket.gethostname()
        names += [own, socket.getfqdn()]
        try:
            found = {str(entry[4][0]) for entry in socket.getaddrinfo(own, None)}
        except OSError:
            found = set()
        found |= _outward_addresses()
    else:
        found = {host}
    names += [f"[{name}]" if ":" in name else name for name in sorted(found)]
    return list(dict.fromkeys(names))


def _outward_addresses() -> set[str]:
    """Address of this machine towards others; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: reserved for documentation
        except OSError:
            return set()
        return {str(probe.getsockname()[0])}
