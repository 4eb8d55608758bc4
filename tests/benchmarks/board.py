"""The grid of 2,000 units and 26 steps against its floor: ``python -m tests.benchmarks.board``.

The floor reads the same 2,000 units with psycopg and sends them as JSON by raw WSGI. Site and
floor run in gunicorn as in ``tests.benchmarks.lists``; one client, kept-alive connections,
signed in, rounds interleaved. About half of the 52,000 cells are marked. The ratios count, not
the times.
"""

from __future__ import annotations

import json
import os
import random
import statistics
import tempfile
import time
from typing import Any

import django
from django.core.management import call_command

from tests.benchmarks.lists import FLOOR, SITE, SocketConnection, served, throwaway_database

UNITS = 2_000
CELLS = 200
ROUNDS, REQUESTS = 5, 12
GRID = "/p/alder/work/"
CSRF = "b" * 32
PAGES = {
    "floor": (FLOOR, "/"),
    "grid page of 50": (SITE, f"{GRID}?page=20"),
    "grid page of 250": (SITE, f"{GRID}?page=4&size=250"),
    "grid, walking order": (SITE, f"{GRID}?page=20&sort=walking"),
    "grid, own trade and ready": (SITE, f"{GRID}?page=5&trade=controls&state=ready"),
    "my work": (SITE, f"{GRID}mine/?trade=controls"),
    "panel of a unit": (SITE, "/p/alder/units/{unit}/steps/"),
}
MARKING = "marking 200 cells"
GOALS = (
    ("grid page of 50", "floor", 12.0),
    ("grid page of 250", "grid page of 50", 3.0),
    ("grid, walking order", "grid page of 50", 1.5),
    ("grid, own trade and ready", "grid page of 50", 1.5),
    ("my work", "grid page of 50", 1.5),
    (MARKING, "grid page of 50", 3.0),
)


def fill() -> tuple[str, str, list[str]]:
    """Store units, steps and marks; give the key of a session, a unit and the cells to mark."""
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.db import connection

    from projectsite.accounts.signed_in import SessionStore
    from projectsite.core.numeric import natural_key
    from tests.builders import inventory as build
    from tests.builders.accounts import AT, make_cast
    from tests.builders.work import make_catalogue
    from zones.inventory.models import TerminalUnit
    from zones.work.models import StepMark

    cast = make_cast()
    draw = random.Random(1)
    handlers = [build.make_air_handler(cast.project, f"AH-{i}") for i in range(1, 21)]
    tags = [f"TU-{1 + i % 12}-{i}" for i in range(UNITS)]
    units = TerminalUnit.objects.bulk_create(
        TerminalUnit(
            project=cast.project,
            tag=tag,
            sort_key=natural_key(tag),
            air_handler=draw.choice(handlers),
            floor=str(1 + i % 12),
            location=f"Room {i}",
            position_x_m=draw.uniform(0, 90),
            position_y_m=draw.uniform(0, 60),
            heat=draw.choice(["none", "hot-water", "electric"]),
        )
        for i, tag in enumerate(tags)
    )
    steps = [step for step in make_catalogue(cast.project).values() if step.per == "unit"]
    marks = [
        StepMark(project=cast.project, unit=unit, step=step, state="done", by=cast.office, at=AT)
        for unit in units
        for step in steps[: draw.randint(4, 16)]
    ]
    StepMark.objects.bulk_create(marks, batch_size=5_000)
    with connection.cursor() as cursor:
        cursor.execute("vacuum analyze")
    session = SessionStore()
    session[SESSION_KEY] = str(cast.office.pk)
    session[BACKEND_SESSION_KEY] = "projectsite.accounts.signed_in.PersonBackend"
    session[HASH_SESSION_KEY] = cast.office.get_session_auth_hash()
    session.create()
    assert session.session_key
    cells = [f"{unit.pk}-{step.pk}" for unit in units[:40] for step in steps[-7:-2]]
    return session.session_key, str(units[0].pk), cells[:CELLS]


def floor_query() -> dict[str, Any]:
    """Query that reads the units of the project, as it is sent to the database."""
    from django.db import connection

    columns = (
        "id, tag, sort_key, floor, location, air_handler_id, heat, fan, controller_model_id, "
        "discharge_sensor, occupancy_sensor, position_x_m, position_y_m, mac_address, "
        "device_instance, revision, version"
    )
    sql = (
        f"SELECT {columns} FROM inventory_terminalunit "
        "WHERE archived_at IS NULL ORDER BY sort_key, id"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql)
        assert len(cursor.fetchall()) == UNITS
    return {"sql": sql, "values": [], "names": columns.split(", ")}


def _timed(client: SocketConnection, method: str, path: str, **more: Any) -> float:
    begun = time.perf_counter()
    client.request(method, path, **more)
    response = client.getresponse()
    body = response.read()
    spent = time.perf_counter() - begun
    if response.status != 200:
        raise SystemExit(f"{path}: {response.status} {body[:300]!r}")
    return spent * 1000


def measure(session: str, unit: str, cells: list[str], folder: str) -> dict[str, list[float]]:
    """Times of each page and of marking in milliseconds, rounds interleaved."""
    times: dict[str, list[float]] = {name: [] for name in (*PAGES, MARKING)}
    clients = {server: SocketConnection(f"{folder}/{server}") for server in (FLOOR, SITE)}
    cookie = {"Cookie": f"sessionid={session}; csrftoken={CSRF}"}
    posted = {
        **cookie,
        "X-CSRFToken": CSRF,
        "HX-Request": "true",
        "Content-Type": "application/x-www-form-urlencoded",
    }
    for turn in range(ROUNDS + 1):
        for name, (server, template) in PAGES.items():
            path = template.format(unit=unit)
            for _ in range(REQUESTS):
                spent = _timed(clients[server], "GET", path, headers=cookie)
                if turn:  # the first round warms everything up
                    times[name].append(spent)
        for i in range(REQUESTS):
            # In turns, so that every request changes all of its cells.
            body = f"cell={','.join(cells)}&mark={'done' if i % 2 else 'in-hand'}"
            address = f"{GRID}mark/?page=1"
            spent = _timed(clients[SITE], "POST", address, body=body, headers=posted)
            if turn:
                times[MARKING].append(spent)
    return {name: sorted(spent) for name, spent in times.items()}


def main() -> int:
    """Fill, serve, measure, and tell which goals hold."""
    with throwaway_database() as address:
        os.environ["DATABASE_URL"] = address
        os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
        django.setup()
        call_command("migrate", verbosity=0)
        session, unit, cells = fill()
        given = {"conninfo": address, **floor_query()}
        with (
            tempfile.TemporaryDirectory() as folder,
            served(
                "tests.benchmarks.floor", f"{folder}/{FLOOR}", {"PLENUM_FLOOR": json.dumps(given)}
            ),
            served("projectsite.wsgi", f"{folder}/{SITE}", {}),
        ):
            found = measure(session, unit, cells, folder)
    middle = {name: statistics.median(spent) for name, spent in found.items()}
    for name, spent in found.items():
        quick = spent[len(spent) // 10]
        print(f"{name:26} median {middle[name]:7.1f} ms, tenth percentile {quick:7.1f} ms")
    missed = 0
    for name, against, goal in GOALS:
        ratio = middle[name] / middle[against]
        missed += ratio > goal
        word = "holds" if ratio <= goal else "MISSED"
        print(f"{name:26} {ratio:5.2f} x {against}, goal {goal}: {word}")
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
