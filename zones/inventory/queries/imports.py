"""Schedule imports: the list, one import, its rows, and revisions against each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.models import F, Q, QuerySet

from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.inventory.domain.fields import UNIT_FIELDS
from zones.inventory.domain.schedule.differences import Line, compare
from zones.inventory.domain.schedule.headings import Meaning
from zones.inventory.models import (
    BoxInlet,
    ColumnMemory,
    ControllerModel,
    ScheduleImport,
    ScheduleRow,
)

OUTCOMES: Mapping[str, str] = {
    "new": "new",
    "changed": "changed",
    "unchanged": "unchanged",
    "refused": "refused",
    "ignored": "not a unit",
}
"""Outcomes of rows in the order of pages."""
MISSING = "missing"
"""Filter for units that the project has and the file does not name."""

_FACTS = (
    "id", "label", "target", "file_name", "file_size", "sha256", "sheet", "heading_row",
    "heading_end_row", "units_row", "first_row", "last_row", "sheets", "proposal", "mapping",
    "choices", "state", "revision", "counts", "notes", "base_mark", "work_state", "work_key",
    "work_done", "work_total", "work_words", "created_at", "applied_at", "version",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ImportFacts:
    """One import as pages and the API show it."""

    id: int
    label: str
    target: str
    file_name: str
    file_size: int
    sha256: str
    sheet: str
    heading_row: int | None
    heading_end_row: int | None
    units_row: int | None
    first_row: int | None
    last_row: int | None
    sheets: list[dict[str, Any]]
    proposal: dict[str, Any]
    mapping: dict[str, dict[str, str]]
    choices: dict[str, Any]
    state: str
    revision: int | None
    counts: dict[str, int]
    notes: list[str]
    base_mark: str
    work_state: str
    work_key: int
    work_done: int
    work_total: int
    work_words: str
    created_at: datetime
    applied_at: datetime | None
    version: int
    created_by: str = ""
    applied_by: str = ""

    @property
    def is_working(self) -> bool:
        """Tell whether the file is being read right now."""
        return self.work_state in {"waiting", "running"}

    @property
    def name(self) -> str:
        """What people call it: its label, else the file's name."""
        return self.label or self.file_name

    @property
    def task(self) -> str:
        """What the work is: "propose" or "preview"; "" when it ended."""
        task, mark, _ = self.work_words.partition(": ")
        return task if mark and task in {"propose", "preview"} else ""

    @property
    def work_text(self) -> str:
        """How far the work is, or why it ended, as a person reads it."""
        return self.work_words.removeprefix(f"{self.task}: ") if self.task else self.work_words

    @property
    def is_open(self) -> bool:
        """Tell whether it can still be mapped, applied or dropped."""
        return self.state in {"uploaded", "preview"}

    @property
    def sheet_names(self) -> list[str]:
        """Names of the sheets of the file."""
        return [sheet["name"] for sheet in self.sheets]

    @property
    def state_word(self) -> str:
        """Where it stands, in words."""
        if self.is_working:
            return "being read"
        if self.work_state == "failed" and self.is_open:
            return "stopped"
        words = {
            "uploaded": "received",
            "preview": "in preview",
            "applied": "applied",
            "dropped": "dropped",
        }
        if self.state == "applied" and self.revision is not None:
            return f"applied as revision {self.revision}"
        return words[self.state]


def _facts(rows: QuerySet[ScheduleImport]) -> list[ImportFacts]:
    people = {
        "created_by_name": F("created_by__full_name"),
        "applied_by_name": F("applied_by__full_name"),
    }
    found = []
    for row in rows.values(*_FACTS, **people):
        created_by = row.pop("created_by_name") or ""
        applied_by = row.pop("applied_by_name") or ""
        found.append(ImportFacts(**row, created_by=created_by, applied_by=applied_by))
    return found


def list_imports(scope: Scope, *, offset: int = 0, limit: int | None = None) -> list[ImportFacts]:
    """Imports of the project, the newest first."""
    rows = ScheduleImport.objects.filter(project_id=scope.project.id).order_by("-created_at", "-id")
    return _facts(rows[offset:] if limit is None else rows[offset : offset + limit])


def count_imports(scope: Scope) -> int:
    """Count the imports of the project."""
    return ScheduleImport.objects.filter(project_id=scope.project.id).count()


def import_facts(scope: Scope, import_id: int) -> ImportFacts:
    """One import; NotFound when it is not in the project."""
    found = _facts(ScheduleImport.objects.filter(project_id=scope.project.id, id=import_id))
    if not found:
        raise NotFound("There is no such import in this project.")
    return found[0]


def import_file(scope: Scope, import_id: int) -> tuple[str, bytes]:
    """Name and content of the received file."""
    found = ScheduleImport.objects.filter(project_id=scope.project.id, id=import_id).first()
    if found is None:
        raise NotFound("There is no such import in this project.")
    with found.file.open("rb") as stream:
        return found.file_name, stream.read()


def same_files(scope: Scope, sha256: str, *, besides: int | None = None) -> list[ImportFacts]:
    """Imports of exactly this file, the newest first."""
    rows = ScheduleImport.objects.filter(project_id=scope.project.id, sha256=sha256)
    if besides is not None:
        rows = rows.exclude(id=besides)
    return _facts(rows.order_by("-created_at", "-id"))


def revisions(scope: Scope) -> list[ImportFacts]:
    """Applied schedules in the order of their revisions."""
    rows = ScheduleImport.objects.filter(project_id=scope.project.id, revision__isnull=False)
    return _facts(rows.order_by("revision", "id"))


def column_memory(scope: Scope, target: str) -> dict[str, Meaning]:
    """What headings meant the last time, by heading in small letters."""
    rows = ColumnMemory.objects.filter(project_id=scope.project.id, target=target)
    return {
        heading.casefold(): Meaning(name, unit)
        for heading, name, unit in rows.order_by("id").values_list("heading", "field", "unit")
    }


@dataclass(frozen=True, slots=True)
class RowFilter:
    """Which rows of an import are wanted."""

    outcome: str = ""
    text: str = ""
    reopening: bool = False


_ROW = (
    "id", "row_number", "tag", "outcome", "reason", "unit_id", "values", "entered", "changes",
    "problems", "reopens",
)  # fmt: skip


def _rows(scope: Scope, import_id: int, wanted: RowFilter) -> QuerySet[ScheduleRow]:
    rows = ScheduleRow.objects.filter(project_id=scope.project.id, schedule_import_id=import_id)
    if wanted.outcome:
        rows = rows.filter(outcome=wanted.outcome)
    if wanted.text:
        rows = rows.filter(Q(tag__icontains=wanted.text) | Q(key__icontains=wanted.text))
    if wanted.reopening:
        rows = rows.exclude(reopens=[])
    return rows


def count_rows(scope: Scope, import_id: int, wanted: RowFilter) -> int:
    """Count the rows of an import that match."""
    return _rows(scope, import_id, wanted).count()


def list_rows(
    scope: Scope, import_id: int, wanted: RowFilter, *, offset: int = 0, limit: int | None = None
) -> list[dict[str, Any]]:
    """Rows of an import in the order of the file, as plain values."""
    rows = _rows(scope, import_id, wanted).order_by("row_number", "id").values(*_ROW)
    return list(rows[offset:] if limit is None else rows[offset : offset + limit])


_MISSING = """
SELECT unit.id, unit.tag FROM inventory_terminalunit unit
WHERE unit.project_id = %(project)s AND unit.archived_at IS NULL AND NOT EXISTS (
    SELECT 1 FROM inventory_schedulerow r
    WHERE r.schedule_import_id = %(import)s AND r.key = upper(unit.tag) AND r.outcome <> 'ignored')
ORDER BY unit.sort_key, unit.id
"""


def missing_units(scope: Scope, import_id: int) -> list[tuple[int, str]]:
    """Ids and tags of units in use that the file does not name, by tag."""
    with connection.cursor() as cursor:
        cursor.execute(_MISSING, {"project": scope.project.id, "import": import_id})
        found: list[tuple[int, str]] = cursor.fetchall()
    return found


@dataclass(frozen=True, slots=True)
class LinkNames:
    """Names of the library records that rows point to."""

    inlets: Mapping[int, str] = field(default_factory=dict)
    controllers: Mapping[int, str] = field(default_factory=dict)


def link_names() -> LinkNames:
    """Names of every inlet and controller model, in two queries."""
    inlets = BoxInlet.objects.values_list("id", "box_model__name", "label")
    return LinkNames(
        {key: f"{model}, {label}" for key, model, label in inlets},
        dict(ControllerModel.objects.values_list("id", "name")),
    )


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two revisions against each other."""

    first: ImportFacts
    second: ImportFacts
    lines: Sequence[Line]

    def count(self, what: str) -> int:
        """Number of units that are added, missing or changed."""
        return len({line.tag for line in self.lines if line.what == what})


def compare_revisions(scope: Scope, first: int, second: int) -> Comparison:
    """Compare two applied schedules by their revision numbers, in three queries."""
    known = {found.revision: found for found in revisions(scope)}
    if first not in known or second not in known:
        wrong = first if first not in known else second
        raise NotFound(f"There is no revision {wrong} in this project.")
    good_first, refused_first = _listed(known[first].id)
    good_second, refused_second = _listed(known[second].id)
    lines = compare(
        UNIT_FIELDS,
        good_first,
        good_second,
        refused_first=refused_first,
        refused_second=refused_second,
    )
    return Comparison(known[first], known[second], lines)


def _listed(import_id: int) -> tuple[dict[str, tuple[str, dict[str, Any]]], dict[str, str]]:
    good: dict[str, tuple[str, dict[str, Any]]] = {}
    refused: dict[str, str] = {}
    rows = ScheduleRow.objects.filter(schedule_import_id=import_id).exclude(outcome="ignored")
    for key, tag, outcome, values in rows.order_by("row_number").values_list(
        "key", "tag", "outcome", "values"
    ):
        if outcome == "refused":
            refused[key] = tag
        else:
            good[key] = (tag, values)
    return good, refused
