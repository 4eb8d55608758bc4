"""The work on a received file: propose how to read it, read it, hold it against the record.

Small files are read while the person waits, large ones by a job; both run ``work``.
"""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from typing import Any

from projectsite.core import reopens
from projectsite.core.errors import ApplicationError, Conflict
from projectsite.core.scope import Scope
from projectsite.core.workbook import WorkbookError
from projectsite.core.workbook.types import MAX_FILE_BYTES, MAX_ROWS
from zones.inventory.domain.schedule import rows as schedule_rows
from zones.inventory.domain.schedule.types import TARGETS, Choices, Layout, Mapped, Row, tag_key
from zones.inventory.imports import reading
from zones.inventory.imports.book import BOOK, kind_of, line, shower
from zones.inventory.operations import applying
from zones.inventory.operations import imports as operations
from zones.inventory.queries import import_base
from zones.inventory.queries import imports as queries

DIRECT_ROWS = 2_000
"""Files of up to this many rows are read in the request; the person waits a second or two."""
STEPS = 5


def receive(
    scope: Scope, *, name: str, content: bytes, target: str, label: str = "", at: datetime
) -> int:
    """Take a file in, propose how to read it, and give the id of its import.

    Raises
    ------
    WorkbookError
        The file can't be read as a table at all; nothing is kept then.
    """
    sheets = reading.sheets_of(content)
    if all(info.rows > MAX_ROWS for info in sheets):
        raise WorkbookError(
            f"The sheet has {sheets[0].rows:,} rows; at most {MAX_ROWS:,} are read. "
            "Split the schedule, one file for each air handler, and upload the parts."
        )
    import_id = operations.receive_file(
        scope,
        name=name,
        content=content,
        target=target,
        label=label,
        sheets=[asdict(info) for info in sheets],
        at=at,
    )
    try:
        start(scope, import_id, task="propose", words="Looking for the headings")
    except ApplicationError:
        found = queries.import_facts(scope, import_id)
        operations.drop_import(scope, import_id=import_id, version=found.version)
        raise
    return import_id


def start(
    scope: Scope, import_id: int, *, task: str, words: str, wanted: Mapping[str, Any] | None = None
) -> None:
    """Begin a piece of work: at once for a small file, as a job for a large one."""
    found = queries.import_facts(scope, import_id)
    as_job = _is_large(found)
    if wanted:
        # A job is started by ids alone, so what the person asked for goes along in the record.
        operations.ask_layout(scope, import_id=import_id, wanted=wanted)
    key = operations.begin_work(scope, import_id=import_id, words=f"{task}: {words}", as_job=as_job)
    if not as_job:
        work(scope, import_id, key)


def _is_large(found: queries.ImportFacts) -> bool:
    sheets = [
        s for s in found.sheets if not found.sheet or s["name"] == found.sheet
    ] or found.sheets
    return (
        sum(sheet["rows"] for sheet in sheets) > DIRECT_ROWS
        or found.file_size > MAX_FILE_BYTES // 8
    )


def work(scope: Scope, import_id: int, work_key: int) -> None:
    """Do the piece of work that was begun under this key, and record how it ends.

    A refusal is recorded and raised again; stopping by a person is not an error.
    """
    found = queries.import_facts(scope, import_id)
    if found.work_key != work_key:
        return
    try:
        with _collector_at_rest():
            if found.task == "propose":
                _propose(scope, found)
            else:
                _preview(scope, found)
    except operations.Stopped:
        return
    except ApplicationError as error:
        operations.fail_work(import_id=import_id, work_key=work_key, words=error.message)
        raise


@contextmanager
def _collector_at_rest() -> Iterator[None]:
    """Keep the collector from looking again and again through cells that are all in use.

    Limits on rows and columns bound what piles up meanwhile.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _propose(scope: Scope, found: queries.ImportFacts) -> None:
    _report(found, 1, "propose: Reading the file")
    _, content = queries.import_file(scope, found.id)
    wanted = dict(found.proposal.get("wanted", {}))
    name = wanted.pop("sheet", "")
    sheets = reading.sheets_of(content)
    sheet = (
        reading.open_sheet(content, name)
        if name
        else reading.choose_sheet(content, sheets, found.target)
    )
    _report(found, 3, "propose: Looking for the headings")
    proposal = reading.propose(
        sheet,
        found.target,
        system=scope.project.system,
        remembered=queries.column_memory(scope, found.target),
        wanted=wanted,
    )
    operations.store_proposal(
        scope,
        import_id=found.id,
        work_key=found.work_key,
        sheet=proposal.sheet,
        layout=proposal.layout,
        proposal={
            "columns": [asdict(column) for column in proposal.columns],
            "top": proposal.top,
            "notes": proposal.notes,
            "rows": len(sheet.rows),
        },
    )


def _report(found: queries.ImportFacts, done: int, words: str) -> None:
    operations.report_progress(
        import_id=found.id, work_key=found.work_key, done=done, total=STEPS, words=words
    )


def mapped_columns(found: queries.ImportFacts) -> list[Mapped]:
    """Columns of an import that fill a field, as the reader takes them."""
    fields = {f.name: f for f in TARGETS[found.target]}
    listed = []
    for column, chosen in sorted(found.mapping.items(), key=lambda item: int(item[0])):
        field = fields.get(chosen["field"])
        if field is None:
            continue
        kind = kind_of(field)
        unit = line(chosen["unit"], kind) if kind and chosen["unit"] else None
        listed.append(Mapped(int(column), field, unit))
    return listed


def layout_of(found: queries.ImportFacts) -> Layout:
    """Where the table stands, as chosen for an import."""
    return Layout(
        found.heading_row or 1,
        found.heading_end_row or 1,
        found.units_row or 0,
        found.first_row or 2,
        found.last_row or 2,
    )


def _preview(scope: Scope, found: queries.ImportFacts) -> None:
    _report(found, 1, "preview: Reading the file")
    _, content = queries.import_file(scope, found.id)
    sheet = reading.open_sheet(content, found.sheet)
    choices = Choices(found.choices.get("box_model_id"), bool(found.choices.get("is_na_empty")))
    mapping = mapped_columns(found)
    _report(found, 2, "preview: Checking the cells")
    rows, notes = schedule_rows.read_rows(
        sheet.rows,
        layout_of(found),
        mapping,
        target=found.target,
        book=BOOK,
        choices=choices,
        name_of=reading.cell_namer,
        faults=reading.faults_of(sheet),
    )
    _report(found, 3, "preview: Comparing with the record")
    # The digest is taken before the record is read: a change in between makes the preview stale,
    # never wrong without anyone noticing.
    mark = import_base.base_mark(scope)
    base = import_base.import_base(scope, found.target)
    schedule_rows.judge(
        rows,
        mapping,
        base,
        choices,
        target=found.target,
        name_of=reading.cell_namer,
        show=shower(scope.system),
    )
    opened = _reopened(scope, rows) if found.target == "units" else {}
    counts, more = _summary(rows, base.air_handlers, base.zones, base.records.keys(), opened)
    _report(found, 4, "preview: Keeping the preview")
    operations.store_preview(
        scope,
        import_id=found.id,
        work_key=found.work_key,
        rows=rows,
        reopens=opened,
        counts=counts,
        notes=[*sheet.notes, *notes, *more],
        base_mark=mark,
    )


def _reopened(scope: Scope, rows: list[Row]) -> dict[int, list[str]]:
    changes = {r.unit_id: r.changes for r in rows if r.outcome == "changed" and r.unit_id}
    found: dict[int, list[str]] = {}
    for item in reopens.collect(scope, changes):
        found.setdefault(item.unit_id, []).append(item.text)
    return found


def _summary(
    rows: list[Row],
    handlers: frozenset[str],
    zones: frozenset[str],
    known: Any,
    opened: Mapping[int, list[str]],
) -> tuple[dict[str, int], list[str]]:
    counts = dict.fromkeys(queries.OUTCOMES, 0) | Counter(row.outcome for row in rows)
    good = [row for row in rows if row.outcome in {"new", "changed"}]
    notes = []
    for name, word, there in (("air_handler", "air handler", handlers), ("zone", "zone", zones)):
        tags = {tag_key(row.values.get(name) or ""): row.values.get(name) for row in good}
        new = sorted(str(tag) for key, tag in tags.items() if key and key not in there)
        if new:
            shown = ", ".join(new[:8]) + (f" and {len(new) - 8} more" if len(new) > 8 else "")
            notes.append(f"New {word}{'s' if len(new) > 1 else ''}: {shown}.")
        counts[f"new_{name}s"] = len(new)
    named = {row.key for row in rows if row.outcome != "ignored"}
    counts[queries.MISSING] = len(set(known) - named)
    counts["reopening"] = len(opened)
    return counts, notes


def apply_or_renew(
    scope: Scope, *, import_id: int, version: int, is_whole: bool, at: datetime
) -> applying.Applied:
    """Apply a preview; when the record changed since, make the preview anew and say so."""
    try:
        return applying.apply_import(
            scope, import_id=import_id, version=version, is_whole=is_whole, at=at
        )
    except applying.Outdated as error:
        start(scope, import_id, task="preview", words="Comparing with the record again")
        raise Conflict(
            f"{error.message} The preview was made again against the record as it is now; "
            "look at it and apply it then."
        ) from error
