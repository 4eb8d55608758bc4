"""Lists of 100 out of 10,000 units against their floor: ``python -m tests.benchmarks.lists``.

The floor is the same query answered by raw WSGI, psycopg and orjson. Both run in gunicorn
(gthread, 2 workers of 4 threads) against one throwaway database on the server of
``DATABASE_URL``; one client, kept-alive connections, signed in, rounds interleaved. The
ratios count, not the times: API at most 2.5, page at most 3, and a filtered, sorted or
searched page at most twice the page without.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

import django
import psycopg
from django.core.management import call_command
from psycopg.conninfo import conninfo_to_dict, make_conninfo

UNITS = 10_000
ROUNDS, REQUESTS = 7, 60
OFFSET = 4_900
NAME = f"plenum_lists_{os.getpid()}"
FLOOR, SITE = "floor", "site"
PAGE = "/p/alder/units/"
API = "/api/v1/projects/alder/units/"
VARIANTS = {
    "floor": (FLOOR, "/"),
    "API list of 100": (SITE, f"{API}?page=50"),
    "page of 100": (SITE, f"{PAGE}?page=50"),
    "page, filtered": (SITE, f"{PAGE}?page=5&heat=electric&floor=4"),
    "page, sorted": (SITE, f"{PAGE}?page=50&sort=-cooling_max_m3_s"),
    "page, searched": (SITE, f"{PAGE}?page=5&q=room"),
    "API, searched": (SITE, f"{API}?page=5&q=room"),
    "page of 1,000": (SITE, f"{PAGE}?size=1000&page=5"),
}
GOALS = (
    ("API list of 100", "floor", 2.5),
    ("page of 100", "floor", 3.0),
    ("page, filtered", "page of 100", 2.0),
    ("page, sorted", "page of 100", 2.0),
    ("page, searched", "page of 100", 2.0),
    ("API, searched", "API list of 100", 2.0),
)


@contextmanager
def throwaway_database() -> Iterator[str]:
    """Give the address of a new database on the server at hand; it is dropped afterwards."""
    given: dict[str, Any] = dict(conninfo_to_dict(os.environ["DATABASE_URL"]))
    server = make_conninfo(**{**given, "dbname": "postgres"})
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'create database "{NAME}"')
        try:
            yield make_conninfo(**{**given, "dbname": NAME})
        finally:
            connection.execute(f'drop database "{NAME}" with (force)')


def fill() -> str:
    """Store 10,000 units with every field filled, and give the key of a session."""
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.db import connection

    from projectsite.accounts.signed_in import SessionStore
    from projectsite.core.numeric import natural_key
    from tests.builders import inventory as build
    from tests.builders.accounts import make_cast
    from zones.inventory.models import TerminalUnit

    cast = make_cast()
    draw = random.Random(1)
    model = build.make_box_model()
    inlets = [
        build.make_inlet(model, f"{size} in", diameter_m=size * 0.0254) for size in range(4, 18, 2)
    ]
    controllers = [build.make_controller_model(f"Controller {i}") for i in range(3)]
    handlers = [build.make_air_handler(cast.project, f"AH-{i}") for i in range(1, 21)]
    zones = [build.make_zone(cast.project, f"Z-{i}") for i in range(1, 2001)]
    units = []
    for i in range(UNITS):
        tag, flow = f"TU-{1 + i % 12}-{i}", draw.uniform(0.05, 0.6)
        units.append(
            TerminalUnit(
                project=cast.project,
                tag=tag,
                sort_key=natural_key(tag),
                air_handler=draw.choice(handlers),
                zone=draw.choice(zones),
                floor=str(1 + i % 12),
                location=f"Room {i}",
                position_x_m=draw.uniform(0, 90),
                position_y_m=draw.uniform(0, 60),
                heat=draw.choice(["none", "hot-water", "electric"]),
                inlet=draw.choice(inlets),
                controller_model=draw.choice(controllers),
                cooling_max_m3_s=flow,
                cooling_min_m3_s=flow * 0.3,
                heating_max_m3_s=flow * 0.5,
                heating_min_m3_s=flow * 0.3,
                standby_min_m3_s=flow * 0.1,
                network_number=100,
                mac_address=i % 128,
                device_instance=i,
                note="Above the ceiling, by the column",
                entered={"cooling_max_m3_s": f"{flow:.3f} m3/s"},
            )
        )
    TerminalUnit.objects.bulk_create(units, batch_size=1000)
    with connection.cursor() as cursor:
        cursor.execute("vacuum analyze")
    session = SessionStore()
    session[SESSION_KEY] = str(cast.office.pk)
    session[BACKEND_SESSION_KEY] = "projectsite.accounts.signed_in.PersonBackend"
    session[HASH_SESSION_KEY] = cast.office.get_session_auth_hash()
    session.create()
    assert session.session_key
    return session.session_key


def floor_query() -> dict[str, Any]:
    """Query of the API's list, as the database gets it."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from projectsite.accounts.access import scope_of
    from projectsite.accounts.models import User
    from zones.inventory import queries

    scope = scope_of(User.objects.get(username="office").pk, "alder")
    with CaptureQueriesContext(connection) as captured:
        queries.list_units(scope, queries.UnitFilter(), offset=OFFSET, limit=100)
    sql = captured[-1]["sql"].replace("%", "%%")
    return {"sql": sql, "values": [], "names": list(queries.LISTED)}


class SocketConnection(http.client.HTTPConnection):
    """A connection over a socket file: a network's delayed acknowledgements would count too."""

    def __init__(self, path: str) -> None:
        super().__init__("localhost", timeout=30)
        self._path = path

    def connect(self) -> None:
        """Open the socket."""
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.connect(self._path)


@contextmanager
def served(module: str, path: str, env: dict[str, str]) -> Iterator[None]:
    """Serve a WSGI application at a socket file, as the site is served."""
    command = [
        sys.executable, "-m", "gunicorn", f"{module}:application", "--bind", f"unix:{path}",
        "--worker-class", "gthread", "--workers", "2", "--threads", "4", "--keep-alive", "75",
        "--log-level", "warning",
    ]  # fmt: skip
    process = subprocess.Popen(command, env={**os.environ, **env})
    try:
        for _ in range(200):
            with suppress(OSError):
                SocketConnection(path).connect()
                break
            time.sleep(0.1)
        yield
    finally:
        process.terminate()
        process.wait(20)


def measure(session: str, folder: str) -> dict[str, list[float]]:
    """Sorted times of each variant in milliseconds, rounds interleaved."""
    times: dict[str, list[float]] = {name: [] for name in VARIANTS}
    clients = {server: SocketConnection(f"{folder}/{server}") for server in (FLOOR, SITE)}
    for turn in range(ROUNDS + 1):
        for name, (server, path) in VARIANTS.items():
            client = clients[server]
            for _ in range(REQUESTS):
                begun = time.perf_counter()
                client.request("GET", path, headers={"Cookie": f"sessionid={session}"})
                response = client.getresponse()
                body = response.read()
                spent = time.perf_counter() - begun
                if response.status != 200:
                    raise SystemExit(f"{name}: {response.status} {body[:300]!r}")
                if turn:  # the first round warms everything up
                    times[name].append(spent * 1000)
    return {name: sorted(spent) for name, spent in times.items()}


def main() -> int:
    """Fill, serve, measure, and tell which goals hold."""
    with throwaway_database() as address:
        os.environ["DATABASE_URL"] = address
        os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
        django.setup()
        call_command("migrate", verbosity=0)
        session = fill()
        given = {"conninfo": address, **floor_query()}
        with (
            tempfile.TemporaryDirectory() as folder,
            served(
                "tests.benchmarks.floor", f"{folder}/{FLOOR}", {"PLENUM_FLOOR": json.dumps(given)}
            ),
            served("projectsite.wsgi", f"{folder}/{SITE}", {}),
        ):
            found = measure(session, folder)
    middle = {name: statistics.median(spent) for name, spent in found.items()}
    quick = {name: spent[len(spent) // 10] for name, spent in found.items()}
    for name, spent in middle.items():
        print(f"{name:20} median {spent:7.2f} ms, tenth percentile {quick[name]:7.2f} ms")
    missed = 0
    for name, against, goal in GOALS:
        ratio, undisturbed = middle[name] / middle[against], quick[name] / quick[against]
        missed += ratio > goal
        word = "holds" if ratio <= goal else "MISSED"
        print(f"{name:20} {ratio:5.2f} x {against} ({undisturbed:.2f}), goal {goal}: {word}")
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
