"""Photos and files: lists, one file, those of a subject, counts by unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, F, Q, QuerySet
from django.db.models.functions import Coalesce

from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.work.domain.types import SubjectRef
from zones.work.models import Attachment
from zones.work.queries.subjects import COLUMNS, column_of, pair_of, subjects

FILE_SORTS: Mapping[str, str] = {
    "added": "added_at",
    "taken": "taken_at",
    "name": "file_name",
    "floor": "floor",
    "size": "size",
}
"""What the list can be ordered by, and the column that it means."""
SHOWN_INLINE = frozenset({"image/jpeg", "image/png", "image/webp", "application/pdf"})
"""Media types that a browser may show; all others are only saved."""
_COLUMNS = (
    "id",
    *COLUMNS.values(),
    "kind",
    "file",
    "thumbnail",
    "file_name",
    "media_type",
    "size",
    "sha256",
    "width_px",
    "height_px",
    "taken_at",
    "latitude_deg",
    "longitude_deg",
    "caption",
    "punch_item_id",
    "step_id",
    "checkout_point_id",
    "added_by_id",
    "added_at",
    "archived_at",
)


@dataclass(frozen=True, slots=True)
class FileFilter:
    """Which files are wanted; an empty value leaves the filter out."""

    text: str = ""
    floor: str = ""
    air_handler: int | None = None
    kind: str = ""
    person: int | None = None
    archived: bool = False


@dataclass(frozen=True, slots=True)
class FileRow:
    """A photo or a file as lists and pages show it.

    Attributes
    ----------
    file, thumbnail
        Names in the store; the small copy is "" for what is no photo.
    size
        Length of the stored file [bytes].
    """

    id: int
    kind: str
    subject: SubjectRef
    file: str
    thumbnail: str
    file_name: str
    media_type: str
    size: int
    sha256: str
    width_px: int | None
    height_px: int | None
    taken_at: datetime | None
    latitude_deg: float | None
    longitude_deg: float | None
    caption: str
    punch_item_id: int | None
    punch_number: int | None
    step_id: int | None
    step: str
    checkout_point_id: int | None
    checkout_point: str
    added_by_id: int
    added_by: str
    added_at: datetime
    archived_at: datetime | None

    @property
    def title(self) -> str:
        """What the file is called: its caption, else the name that it came with."""
        return self.caption or self.file_name

    @property
    def shows_inline(self) -> bool:
        """Tell whether a browser may show it."""
        return self.media_type in SHOWN_INLINE

    @property
    def size_text(self) -> str:
        """Length for reading."""
        kilo = self.size / 1000
        return f"{kilo / 1000:.1f} MB" if kilo >= 1000 else f"{max(kilo, 1):.0f} kB"


def _matching(scope: Scope, wanted: FileFilter) -> QuerySet[Attachment]:
    floor = Coalesce("unit__floor", "outlet__unit__floor")
    found = Attachment.objects.filter(
        project_id=scope.project.id, archived_at__isnull=not wanted.archived
    ).annotate(floor=floor)
    if wanted.text:
        words = Q(caption__icontains=wanted.text) | Q(file_name__icontains=wanted.text)
        for tag in ("unit__tag", "outlet__tag", "outlet__unit__tag", "air_handler__tag"):
            words |= Q(**{f"{tag}__icontains": wanted.text})
        found = found.filter(words)
    if wanted.floor:
        found = found.filter(floor=wanted.floor)
    if wanted.kind:
        found = found.filter(kind=wanted.kind)
    if wanted.person is not None:
        found = found.filter(added_by_id=wanted.person)
    if wanted.air_handler is not None:
        found = found.filter(
            Q(air_handler_id=wanted.air_handler)
            | Q(unit__air_handler_id=wanted.air_handler)
            | Q(outlet__unit__air_handler_id=wanted.air_handler)
        )
    return found


def count_files(scope: Scope, wanted: FileFilter) -> int:
    """Count the files that match."""
    return _matching(scope, wanted).count()


def file_rows(
    scope: Scope,
    wanted: FileFilter,
    *,
    sort: str = "-added",
    offset: int = 0,
    limit: int | None = None,
) -> list[FileRow]:
    """Files that match, in a fixed number of queries; those without the sorted value come last."""
    column = F(FILE_SORTS[sort.removeprefix("-")])
    is_down = sort.startswith("-")
    order = column.desc(nulls_last=True) if is_down else column.asc(nulls_last=True)
    found = _matching(scope, wanted).order_by(order, "-id" if is_down else "id")
    return _rows(scope, found[offset:] if limit is None else found[offset : offset + limit])


def _in_use(scope: Scope) -> QuerySet[Attachment]:
    return Attachment.objects.filter(project_id=scope.project.id, archived_at=None).order_by("id")


def files_of(scope: Scope, kind: str, subject_id: int) -> list[FileRow]:
    """Files of one subject, the newest first; those of a unit's outlets are its own too."""
    mine = Q(**{column_of(kind): subject_id})
    if kind == "unit":
        mine |= Q(outlet__unit_id=subject_id)
    return _rows(scope, _in_use(scope).filter(mine).order_by("-added_at", "-id"))


def files_of_item(scope: Scope, punch_item_id: int) -> list[FileRow]:
    """Files of a punch item, the oldest first."""
    return _rows(scope, _in_use(scope).filter(punch_item_id=punch_item_id))


def files_of_points(scope: Scope, point_ids: Iterable[int]) -> dict[int, list[FileRow]]:
    """Files of these checkout points, by point, the oldest first."""
    by_point: dict[int, list[FileRow]] = {}
    for row in _rows(scope, _in_use(scope).filter(checkout_point_id__in=list(point_ids))):
        by_point.setdefault(row.checkout_point_id or 0, []).append(row)
    return by_point


def counts_by_unit(scope: Scope) -> dict[int, int]:
    """Number of files of each unit that has any, those of its outlets included."""
    rows = (
        _in_use(scope)
        .annotate(owner=Coalesce("unit_id", "outlet__unit_id"))
        .exclude(owner=None)
        .order_by("owner")
        .values_list("owner")
        .annotate(many=Count("id"))
    )
    return dict(rows)


def file_row(scope: Scope, file_id: int) -> FileRow:
    """One file, archived or not.

    Raises
    ------
    NotFound
        It is not in the project.
    """
    rows = _rows(scope, Attachment.objects.filter(project_id=scope.project.id, id=file_id))
    if not rows:
        raise NotFound("There is no such file in this project.")
    return rows[0]


def people_with_files(scope: Scope) -> list[tuple[int, str]]:
    """People who added files to the project, by name."""
    rows = Attachment.objects.filter(project_id=scope.project.id).order_by(
        "added_by__full_name", "added_by_id"
    )
    return list(rows.values_list("added_by_id", "added_by__full_name").distinct())


def _rows(scope: Scope, found: QuerySet[Attachment]) -> list[FileRow]:
    values: list[dict[str, Any]] = list(
        found.annotate(
            added_by_name=F("added_by__full_name"),
            punch_number=F("punch_item__number"),
            step_name=F("step__name"),
            point_name=F("checkout_point__name"),
        ).values(*_COLUMNS, "added_by_name", "punch_number", "step_name", "point_name")
    )
    names = subjects(scope, {pair_of(row) for row in values})
    return [_row(row, names) for row in values]


def _row(row: dict[str, Any], names: Mapping[tuple[str, int], SubjectRef]) -> FileRow:
    pair = pair_of(row)
    plain = {key: row[key] for key in _COLUMNS if key not in COLUMNS.values()}
    return FileRow(
        **plain,
        # An air handler that was archived is known by no name any more.
        subject=names.get(pair) or SubjectRef(pair[0], pair[1], f"{pair[0]} {pair[1]}"),  # type: ignore[arg-type]  # a kind, as stored
        added_by=row["added_by_name"],
        punch_number=row["punch_number"],
        step=row["step_name"] or "",
        checkout_point=row["point_name"] or "",
    )
