"""Import of 10,000 rows x 35 columns against its floor: ``python -m tests.benchmarks.imports``.

The floor is what cannot be saved: the guarded read of the workbook, COPY of the typed values
into a temporary table, and an upsert from there into a plain table without history. Ours is
the preview (read, check, compare, keep every row's outcome) and the apply with history and
with every deferred constraint checked. Runs in a database of its own, each round in one
transaction that is rolled back; medians of the rounds.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

from django.db import connection, transaction  # noqa: E402  # after the set-up

from projectsite.core.scope import Scope  # noqa: E402
from projectsite.core.workbook import ColumnOut, SheetOut, read_sheet, write_xlsx  # noqa: E402
from tests.builders.accounts import make_cast  # noqa: E402
from zones.inventory.imports import work  # noqa: E402
from zones.inventory.models import (  # noqa: E402
    BoxInlet,
    BoxModel,
    ControllerModel,
    ScheduleImport,
    TerminalUnit,
)
from zones.inventory.operations.applying import Applied, apply_import  # noqa: E402
from zones.inventory.operations.imports import MappedColumn, store_mapping  # noqa: E402
from zones.inventory.queries import imports as queries  # noqa: E402

ROWS = 10_000
ROUNDS = 3
AT = datetime(2026, 11, 25, 14, 5, tzinfo=UTC)

HEADINGS = (
    ("Tag", ""),
    ("Air handler", ""),
    ("Zone", ""),
    ("Floor", ""),
    ("Room", ""),
    ("X", "ft"),
    ("Y", "ft"),
    ("Fan", ""),
    ("Reheat", ""),
    ("Box model", ""),
    ("Inlet", "in"),
    ("Controller", ""),
    ("Cooling max", "cfm"),
    ("Cooling min", "cfm"),
    ("Heating max", "cfm"),
    ("Heating min", "cfm"),
    ("Standby min", "cfm"),
    ("Water flow", "gpm"),
    ("EWT", "°F"),
    ("LWT", "°F"),
    ("Coil rows", ""),
    ("Valve Cv", ""),
    ("Heater", "kW"),
    ("Voltage", "V"),
    ("Phases", ""),
    ("Stages", ""),
    ("Discharge limit", "°F"),
    ("Network number", ""),
    ("MAC address", ""),
    ("Device instance", ""),
    ("Remarks", ""),
    ("Sheet", ""),
    ("Approved by", ""),
    ("Price code", ""),
    ("Ordered", ""),
)


def row(i: int) -> list[Any]:
    """One unit, all good, no two alike."""
    top = 300.0 + (i * 7) % 1500
    return [
        f"VAV-{i // 100:03d}-{i % 100:02d}",
        f"AHU-{i // 500 + 1}",
        f"Z-{i // 4:05d}",
        str(i // 1000 + 1),
        f"Room {i}",
        round((i % 97) * 3.3, 1),
        round((i % 89) * 2.7, 1),
        ("none", "parallel", "series")[i % 3],
        ("hot water", "electric", "none")[i % 3],
        "Single duct",
        (6, 8, 10, 12)[i % 4],
        "Standard",
        top,
        round(top * 0.3),
        round(top * 0.5),
        round(top * 0.3),
        round(top * 0.15),
        1.5 + i % 5,
        140.0,
        120.0,
        1 + i % 4,
        1.6,
        2.5 + i % 6,
        277.0,
        1,
        1 + i % 3,
        95.0,
        100 + i // 500,
        i % 128,
        100_000 + i,
        f"See detail {i % 40}",
        f"M-{i % 30}",
        "office",
        f"P{i % 9}",
        "no",
    ]


def workbook() -> bytes:
    """The schedule as a file."""
    sheet = SheetOut(
        "Schedule", tuple(ColumnOut(*head) for head in HEADINGS), map(row, range(ROWS))
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "schedule.xlsx")
        write_xlsx(path, [sheet])
        return path.read_bytes()


def library() -> None:
    """One box model and one controller model."""
    model = BoxModel.objects.create(name="Single duct")
    for inches in (6, 8, 10, 12):
        diameter_m = inches * 0.0254
        BoxInlet.objects.create(
            box_model=model,
            label=f"{inches} in",
            diameter_m=diameter_m,
            free_area_m2=0.76 * diameter_m**2,
            nominal_k_m3_s_sqrt_pa=0.02 * inches,
        )
    ControllerModel.objects.create(name="Standard")


def floor(content: bytes) -> None:
    """Read, COPY and upsert the same cells, nothing more."""
    cells = read_sheet(content).rows[1:]
    names = [f"c{j}" for j in range(len(HEADINGS))]
    is_text = [isinstance(cell, str) for cell in cells[0]]
    types = ["text" if text else "double precision" for text in is_text]
    columns = ", ".join(f"{n} {t}" for n, t in zip(names, types, strict=True))
    updates = ", ".join(f"{n} = excluded.{n}" for n in names[1:])
    with connection.cursor() as cursor:
        cursor.execute(
            f"CREATE TEMP TABLE plain ({columns}, PRIMARY KEY (c0));"
            f"CREATE TEMP TABLE staged ({columns})"
        )
        with cursor.copy("COPY staged FROM STDIN") as copy:
            for line in cells:
                copy.write_row(line)
        cursor.execute(
            f"INSERT INTO plain SELECT * FROM staged ON CONFLICT (c0) DO UPDATE SET {updates}"
        )
        assert cursor.rowcount == ROWS
        cursor.execute("DROP TABLE plain; DROP TABLE staged")


def receive(scope: Scope, content: bytes) -> int:
    """Take the file in and take every proposal as it is."""
    work.DIRECT_ROWS = 10**9
    import_id = work.receive(scope, name="schedule.xlsx", content=content, target="units", at=AT)
    found = queries.import_facts(scope, import_id)
    columns = [
        MappedColumn(c["index"], c["heading"], c["field"], c["unit"])
        for c in found.proposal["columns"]
    ]
    assert sum(bool(column.field) for column in columns) == 31
    store_mapping(
        scope,
        import_id=import_id,
        version=found.version,
        layout=work.layout_of(found),
        columns=columns,
        box_model_id=None,
        is_na_empty=False,
    )
    return import_id


def preview(scope: Scope, import_id: int) -> None:
    """Read, check and compare."""
    work.start(scope, import_id, task="preview", words="Reading")


def apply(scope: Scope, import_id: int) -> Applied:
    """Store the good rows."""
    version = queries.import_facts(scope, import_id).version
    done = apply_import(scope, import_id=import_id, version=version, is_whole=True, at=AT)
    with connection.cursor() as cursor:
        # What a commit would check; the round is rolled back and would never pay for it.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")
    return done


def timed(act: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds and result."""
    begun = time.perf_counter()
    result = act()
    return time.perf_counter() - begun, result


def one_round(content: bytes) -> dict[str, float]:
    """Measure all of it once, in a transaction that leaves nothing behind."""
    with transaction.atomic():
        scope = make_cast().scope()
        library()
        found: dict[str, float] = {}
        found["floor"], _ = timed(lambda: floor(content))
        found["receive"], import_id = timed(lambda: receive(scope, content))
        found["preview"], _ = timed(lambda: preview(scope, import_id))
        found["apply"], applied = timed(lambda: apply(scope, import_id))
        assert (applied.added, applied.changed) == (ROWS, 0)
        events = TerminalUnit.pgh_event_model.objects  # type: ignore[attr-defined]  # set by the tracker
        assert events.filter(project_id=scope.project.id).count() == ROWS
        again = receive(scope, content)
        found["again"], _ = timed(lambda: preview(scope, again))
        counts = ScheduleImport.objects.get(id=again).counts
        assert (counts["unchanged"], counts["new"], counts["changed"]) == (ROWS, 0, 0), counts
        assert events.filter(project_id=scope.project.id).count() == ROWS
        transaction.set_rollback(True)
    return found


def main() -> int:
    """Print the figures; the goal is three times the floor."""
    content = workbook()
    given = connection.settings_dict["NAME"]
    connection.settings_dict["TEST"]["NAME"] = f"plenum_imports_{os.getpid()}"
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    try:
        rounds = [one_round(content) for _ in range(ROUNDS)]
    finally:
        connection.creation.destroy_test_db(given, verbosity=0)
    median = {key: statistics.median(r[key] for r in rounds) for key in rounds[0]}
    for key, seconds in median.items():
        sys.stdout.write(f"{key:8} {seconds:6.2f} s  {seconds / median['floor']:5.2f} x floor\n")
    ratio = (median["preview"] + median["apply"]) / median["floor"]
    sys.stdout.write(
        f"import of {ROWS:,} rows x {len(HEADINGS)} columns, checked and stored with history: "
        f"{ratio:.2f} x its floor (goal: at most 3)\n"
        f"re-import of the same file: {median['again'] / median['floor']:.2f} x, 0 rows written\n"
    )
    return 0 if ratio <= 3 else 1


if __name__ == "__main__":
    raise SystemExit(main())
