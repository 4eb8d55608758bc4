"""What happens to a received schedule before it is applied: kept, mapped, previewed, dropped."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

import orjson
from django.core.files.base import ContentFile
from django.db import connection, transaction

from projectsite.accounts.access import Action
from projectsite.core import jobs, numeric
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.scope import Scope
from zones.inventory.domain.schedule.types import TARGETS, Layout, Row
from zones.inventory.models import (
    BoxModel,
    ColumnMemory,
    ImportState,
    ScheduleImport,
    ScheduleRow,
    WorkState,
)

JOB = "inventory.read-schedule"
"""Name of the job that reads a large file."""
MANY_ROWS = 1_000


@dataclass(frozen=True, slots=True)
class MappedColumn:
    """What a column is: its place from 0, its heading, the field and the unit of bare numbers."""

    column: int
    heading: str
    field: str
    unit: str = ""


class Stopped(Conflict):
    """Somebody stopped the work on this import, or started it anew."""

    code = "stopped"


def _locked(scope: Scope, import_id: int, version: int | None = None) -> ScheduleImport:
    rows = ScheduleImport.objects.select_for_update()
    found = rows.filter(project_id=scope.project.id, id=import_id).first()
    if found is None:
        raise NotFound("There is no such import in this project.")
    if version is not None and found.version != version:
        raise Conflict(
            "Somebody else worked on this import in the meantime. "
            "Look at it as it is now, then go on."
        )
    return found


def _require_open(found: ScheduleImport) -> None:
    if found.state in {ImportState.APPLIED, ImportState.DROPPED}:
        raise Conflict(f"This import was {found.get_state_display()} already.")


@transaction.atomic
def receive_file(
    scope: Scope,
    *,
    name: str,
    content: bytes,
    target: str,
    label: str,
    sheets: Sequence[Mapping[str, Any]],
    at: datetime,
) -> int:
    """Keep a received file whole, with its digest, and give the id of its import."""
    scope.require(Action.IMPORT_SCHEDULE)
    if target not in TARGETS:
        raise InvalidInput("Say what the file lists.", fields={"target": "Units or outlets."})
    if len(label) > 80:
        raise InvalidInput("The name is too long.", fields={"label": "At most 80 characters."})
    found = ScheduleImport(
        project_id=scope.project.id,
        label=label.strip(),
        target=target,
        file_name=name[-200:],
        file_size=len(content),
        sha256=hashlib.sha256(content).hexdigest(),
        sheets=list(sheets),
        created_by_id=scope.person.id,
        created_at=at,
    )
    suffix = ".xlsx" if content[:2] == b"PK" else ".csv"
    # The stored name is ours: what a stranger calls a file never becomes a path.
    found.file.save(f"{found.sha256[:16]}{suffix}", ContentFile(content), save=False)
    found.save()
    return found.pk


@transaction.atomic
def begin_work(scope: Scope, *, import_id: int, words: str, as_job: bool) -> int:
    """Mark that the file is being read and give the key of this piece of work."""
    scope.require(Action.IMPORT_SCHEDULE)
    found = _locked(scope, import_id)
    _require_open(found)
    found.work_key += 1
    found.work_state = WorkState.WAITING if as_job else WorkState.RUNNING
    found.work_done, found.work_total, found.work_words = 0, 0, words
    found.work_job = None
    found.save()
    if as_job:
        found.work_job = jobs.enqueue(
            JOB,
            import_id=import_id,
            project_id=scope.project.id,
            person_id=scope.person.id,
            work_key=found.work_key,
        )
        found.save(update_fields=["work_job"])
    return found.work_key


@transaction.atomic
def ask_layout(scope: Scope, *, import_id: int, wanted: Mapping[str, Any]) -> None:
    """Keep which sheet and rows a person wants to be read instead of the proposed ones."""
    scope.require(Action.IMPORT_SCHEDULE)
    found = _locked(scope, import_id)
    _require_open(found)
    found.proposal = {**found.proposal, "wanted": dict(wanted)}
    found.save(update_fields=["proposal"])


def report_progress(*, import_id: int, work_key: int, done: int, total: int, words: str) -> None:
    """Say how far the work is; Stopped when it was stopped or begun anew."""
    changed = ScheduleImport.objects.filter(id=import_id, work_key=work_key).update(
        work_state=WorkState.RUNNING, work_done=done, work_total=total, work_words=words
    )
    if not changed:
        raise Stopped("The reading was stopped.")


@transaction.atomic
def stop_work(scope: Scope, *, import_id: int) -> None:
    """Stop the reading of a file; what was there before stays."""
    scope.require(Action.IMPORT_SCHEDULE)
    found = _locked(scope, import_id)
    if found.work_state not in {WorkState.WAITING, WorkState.RUNNING}:
        return
    if found.work_job is not None:
        jobs.cancel(found.work_job)
    found.work_key += 1
    found.work_state = WorkState.FAILED
    found.work_words = "The reading was stopped. Nothing was changed."
    found.save()


@transaction.atomic
def settle(scope: Scope, *, import_id: int) -> None:
    """Forget a piece of work that was refused before it changed anything."""
    scope.require(Action.IMPORT_SCHEDULE)
    found = _locked(scope, import_id)
    if found.work_state == WorkState.FAILED:
        found.work_state, found.work_words = WorkState.IDLE, ""
        found.save(update_fields=["work_state", "work_words"])


def fail_work(*, import_id: int, work_key: int, words: str) -> None:
    """Record why the work ended without a result."""
    ScheduleImport.objects.filter(id=import_id, work_key=work_key).update(
        work_state=WorkState.FAILED, work_words=words[:400]
    )


@transaction.atomic
def store_proposal(
    scope: Scope,
    *,
    import_id: int,
    work_key: int,
    sheet: str,
    layout: Layout,
    proposal: Mapping[str, Any],
) -> None:
    """Keep how the program would read the file; the person decides on it next."""
    scope.require(Action.IMPORT_SCHEDULE)
    found = _locked(scope, import_id)
    _require_current(found, work_key)
    found.sheet = sheet
    for name, value in asdict(layout).items():
        setattr(found, name, value or None)
    found.proposal = dict(proposal)
    found.mapping = {
        str(column["index"]): {"field": column["field"], "unit": column["unit"]}
        for column in proposal["columns"]
    }
    found.state = ImportState.UPLOADED
    found.counts, found.notes = {}, []
    found.rows.all().delete()
    _finish(found)


def _require_current(found: ScheduleImport, work_key: int) -> None:
    _require_open(found)
    if found.work_key != work_key:
        raise Stopped("The reading was stopped.")


def _finish(found: ScheduleImport) -> None:
    found.work_state, found.work_words = WorkState.IDLE, ""
    found.work_done = found.work_total = 0
    found.version += 1
    found.save()


@transaction.atomic
def store_mapping(
    scope: Scope,
    *,
    import_id: int,
    version: int,
    layout: Layout,
    columns: Sequence[MappedColumn],
    box_model_id: int | None,
    is_na_empty: bool,
    label: str | None = None,
) -> None:
    """Keep what each column is, and remember it for the next file of the project.

    Raises
    ------
    InvalidInput
        No tag column, a field given twice, an inlet size without a box model.
    """
    scope.require(Action.IMPORT_SCHEDULE)
    found = _locked(scope, import_id, version)
    _require_open(found)
    check_mapping(found.target, columns, box_model_id=box_model_id)
    if box_model_id and not BoxModel.objects.filter(id=box_model_id, archived_at=None).exists():
        raise InvalidInput(
            "There is no such box model in the library.",
            fields={"box_model": "Choose another one."},
        )
    for name, value in asdict(layout).items():
        setattr(found, name, value or None)
    found.mapping = {
        str(column.column): {"field": column.field, "unit": column.unit} for column in columns
    }
    found.choices = {"box_model_id": box_model_id, "is_na_empty": is_na_empty}
    if label is not None:
        found.label = label.strip()[:80]
    found.version += 1
    found.save()
    _remember(scope, found.target, columns)


def check_mapping(
    target: str, columns: Sequence[MappedColumn], *, box_model_id: int | None
) -> None:
    """Refuse a mapping that can't be read, with a message for each column at fault."""
    fields = {f.name: f for f in TARGETS[target]}
    given: dict[str, int] = {}
    wrong: dict[str, str] = {}
    for column in columns:
        if not column.field:
            continue
        if column.field not in fields:
            wrong[f"field_{column.column}"] = "There is no such field."
            continue
        for name in _filled_by(column.field):
            if name in given:
                wrong[f"field_{column.column}"] = (
                    f"{fields[name].label} is already taken from another column. "
                    "Leave one of the two out."
                )
            given.setdefault(name, column.column)
    for field in fields.values():
        if field.required and field.name not in given:
            wrong.setdefault(
                "mapping",
                f"Say which column holds the {field.label.lower()}; "
                "nothing can be read without it.",
            )
    if "box_model" in given and "inlet" not in given:
        wrong[f"field_{given['box_model']}"] = (
            "A box model comes with its inlet size. Map the inlet size too, or leave this out."
        )
    if "inlet" in given and "box_model" not in given and box_model_id is None:
        wrong["box_model"] = (
            "The file names only the inlet size. Choose the box model that it is of."
        )
    if wrong:
        raise InvalidInput(next(iter(wrong.values())), fields=wrong)


def _filled_by(field: str) -> tuple[str, ...]:
    if field == "heater_voltage_and_phases":
        return ("heater_voltage_v", "heater_phases")
    return (field,)


def _remember(scope: Scope, target: str, columns: Sequence[MappedColumn]) -> None:
    """Keep one line for each heading; the last decision counts."""
    lines = {
        column.heading.casefold()[:200]: ColumnMemory(
            project_id=scope.project.id,
            target=target,
            heading=column.heading.casefold()[:200],
            field=column.field,
            unit=column.unit,
        )
        for column in columns
        if column.heading
    }
    ColumnMemory.objects.bulk_create(
        [lines[key] for key in sorted(lines)],
        update_conflicts=True,
        unique_fields=["project", "target", "heading"],
        update_fields=["field", "unit"],
    )


_COPY = """
COPY inventory_schedulerow (project_id, schedule_import_id, row_number, tag, sort_key, key, reason,
    outcome, unit_id, values, entered, changes, problems, reopens) FROM STDIN
"""


def _stored(row: Row, opened: Sequence[str]) -> tuple[Any, ...]:
    """Give the columns of ``_COPY`` after the first two; JSON is written here, once."""
    is_unit = row.outcome != "ignored"
    dumps = orjson.dumps
    return (
        row.number,
        row.tag[:200],
        numeric.natural_key(row.tag),
        row.key[:420] if is_unit else "",
        row.reason[:300],
        row.outcome,
        row.unit_id,
        dumps(row.values).decode() if is_unit else "{}",
        dumps(row.entered).decode() if row.entered else "{}",
        dumps(row.changes).decode() if row.changes else "{}",
        dumps([asdict(p) for p in row.problems]).decode() if row.problems else "[]",
        dumps(list(opened)).decode() if opened else "[]",
    )


@transaction.atomic
def store_preview(
    scope: Scope,
    *,
    import_id: int,
    work_key: int,
    rows: Sequence[Row],
    reopens: Mapping[int, Sequence[str]],
    counts: Mapping[str, int],
    notes: Sequence[str],
    base_mark: str,
) -> None:
    """Keep the outcome of every row; the rows of an earlier preview go."""
    scope.require(Action.IMPORT_SCHEDULE)
    found = _locked(scope, import_id)
    _require_current(found, work_key)
    ScheduleRow.objects.filter(schedule_import_id=import_id).delete()
    with connection.cursor() as cursor:
        with cursor.copy(_COPY) as copy:
            for row in rows:
                opened = reopens.get(row.unit_id, ()) if row.unit_id and row.changes else ()
                copy.write_row((scope.project.id, import_id, *_stored(row, opened)))
        if len(rows) > MANY_ROWS:
            # Applying joins these rows at once; the automatic statistics come minutes too late.
            cursor.execute("ANALYZE inventory_schedulerow")
    found.counts, found.notes = dict(counts), list(notes)
    found.base_mark = base_mark
    found.state = ImportState.PREVIEW
    _finish(found)


@transaction.atomic
def drop_import(scope: Scope, *, import_id: int, version: int) -> None:
    """Put an import aside; the file and what was found stay to be looked at."""
    scope.require(Action.IMPORT_SCHEDULE)
    found = _locked(scope, import_id, version)
    _require_open(found)
    if found.work_job is not None and found.work_state != WorkState.IDLE:
        jobs.cancel(found.work_job)
    found.state = ImportState.DROPPED
    found.work_state, found.work_key = WorkState.IDLE, found.work_key + 1
    found.version += 1
    found.save()
