"""Adding, describing, archiving and restoring photos and files."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import IntegrityError, transaction

from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.pictures import PHOTOS, media_type, photo
from projectsite.core.scope import Scope
from zones.work.domain.types import SubjectRef
from zones.work.models import Attachment, CheckoutPoint, PunchItem, Step
from zones.work.queries.subjects import COLUMNS, column_of, pair_of, subject, subjects

MAX_FILE_BYTES = 25 * 1024**2
"""Largest photo or file."""
_ENDINGS = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "application/pdf": "pdf",
    "text/plain": "txt",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet": "xlsx",
    "application/vnd.openxmlformats-officedocument.wordprocessingml.document": "docx",
}


@dataclass(frozen=True, slots=True)
class _Taken:
    """A file as it is stored, and what is known of it."""

    content: bytes
    thumbnail: bytes
    columns: dict[str, Any]


def add_file(
    scope: Scope,
    *,
    kind: str,
    subject_id: int,
    content: bytes,
    file_name: str,
    caption: str,
    client_key: uuid.UUID,
    at: datetime,
    punch_item_id: int | None = None,
    step_id: int | None = None,
    checkout_point_id: int | None = None,
) -> int:
    """Store a photo or a file of a subject and give its id; the same key again gives the same.

    What it is, is told by its content. Photos are turned upright; position and time are kept
    beside them and taken out of the picture.

    Parameters
    ----------
    kind, subject_id
        What it is about.
    content
        Up to 25 MB.

    Raises
    ------
    NotFound
        The subject, punch item, step or checkout point is not in the project.
    InvalidInput
        A file that can't be taken, or links that are about something else.
    Conflict
        The key belongs to a file of another project.
    """
    scope.require(Action.ADD_FILE)
    about = subject(scope, kind, subject_id)
    known = _known(scope, client_key)
    if known is not None:
        return known
    caption = _checked_caption(caption)
    _check_links(scope, about, punch_item_id, step_id, checkout_point_id)
    taken = _taken(scope, content)
    row = Attachment(
        project_id=scope.project.id,
        file_name=_plain_name(file_name),
        caption=caption,
        punch_item_id=punch_item_id,
        step_id=step_id,
        checkout_point_id=checkout_point_id,
        added_by_id=scope.person.id,
        added_at=at,
        client_key=client_key,
        **{column_of(kind): about.id},
        **taken.columns,
    )
    try:
        with _stored(taken, at) as (file, thumbnail), transaction.atomic():
            row.file.name, row.thumbnail.name = file, thumbnail
            row.save()
    except IntegrityError:
        # The same file was sent twice at once; the other one was first.
        known = _known(scope, client_key)
        if known is None:
            raise
        return known
    return row.pk


def _known(scope: Scope, client_key: uuid.UUID) -> int | None:
    found = Attachment.objects.filter(client_key=client_key).values_list("id", "project_id").first()
    if found is None:
        return None
    if found[1] != scope.project.id:
        raise Conflict("This key was used for another file. Send the file with a new one.")
    return found[0]


@contextmanager
def _stored(taken: _Taken, at: datetime) -> Iterator[tuple[str, str]]:
    """Write the files under names that nobody can guess; remove them when anything fails."""
    ending = _ENDINGS[taken.columns["media_type"]]
    name = f"work/{at:%Y/%m}/{uuid.uuid4().hex}"
    written: list[str] = []
    try:
        written.append(default_storage.save(f"{name}.{ending}", ContentFile(taken.content)))
        if taken.thumbnail:
            small = ContentFile(taken.thumbnail)
            written.append(default_storage.save(f"{name}-small.jpg", small))
        yield written[0], written[1] if taken.thumbnail else ""
    except BaseException:
        for one in written:
            default_storage.delete(one)
        raise


def _taken(scope: Scope, content: bytes) -> _Taken:
    if len(content) > MAX_FILE_BYTES:
        message = f"At most {MAX_FILE_BYTES // 1024**2} MB are accepted."
        raise InvalidInput(message, fields={"file": message})
    try:
        # A photo names its own format when it can't be taken, so it is asked first.
        looks_heic = content[4:8] == b"ftyp"
        kind = "image/jpeg" if looks_heic or not content else media_type(content)
        taken = photo(content) if kind in PHOTOS else None
    except InvalidInput as error:
        raise InvalidInput(error.message, fields={"file": error.message}) from error
    if taken is None:
        return _Taken(content, b"", {"kind": "file", **_measures(content, kind)})
    columns = {
        "kind": "photo",
        **_measures(taken.content, taken.media_type),
        "width_px": taken.width_px,
        "height_px": taken.height_px,
        "taken_at": _moment(scope, taken.taken_at),
        "latitude_deg": taken.latitude_deg,
        "longitude_deg": taken.longitude_deg,
    }
    return _Taken(taken.content, taken.thumbnail, columns)


def _measures(content: bytes, kind: str) -> dict[str, Any]:
    digest = hashlib.sha256(content).hexdigest()
    return {"media_type": kind, "size": len(content), "sha256": digest}


def _moment(scope: Scope, text: str) -> datetime | None:
    """When a photo was taken; a camera without a time zone is on the project's time."""
    if not text:
        return None
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(scope.project.time_zone))


def _plain_name(file_name: str) -> str:
    """The name without folders and signs that no file name should hold."""
    last = file_name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable()).strip()[-200:] or "file"


def _checked_caption(caption: str) -> str:
    caption = " ".join(caption.split())
    if len(caption) > 200:
        message = "At most 200 characters."
        raise InvalidInput(message, fields={"caption": message})
    return caption


def _check_links(
    scope: Scope,
    about: SubjectRef,
    punch_item_id: int | None,
    step_id: int | None,
    checkout_point_id: int | None,
) -> None:
    """Refuse links into another project, or to what is about something else."""
    mine = {"project_id": scope.project.id}
    if punch_item_id is not None:
        item = PunchItem.objects.filter(**mine, id=punch_item_id).values(*COLUMNS.values()).first()
        if item is None:
            raise NotFound("There is no such punch item in this project.")
        pair = pair_of(item)
        of_item = subjects(scope, [pair]).get(pair)
        is_same = pair == (about.kind, about.id)
        shares_unit = of_item is not None and of_item.unit_id == about.unit_id is not None
        if not (is_same or shares_unit):
            _refuse_link("punch_item_id", f"The punch item is not about {about.label}.")
    if step_id is not None and not Step.objects.filter(**mine, id=step_id).exists():
        raise NotFound("There is no such step in this project.")
    if checkout_point_id is not None:
        points = CheckoutPoint.objects.filter(**mine, id=checkout_point_id)
        unit_id = points.values_list("checkout__unit_id", flat=True).first()
        if unit_id is None:
            raise NotFound("There is no such checkout point in this project.")
        if unit_id != about.unit_id:
            _refuse_link("checkout_point_id", f"The checkout is not one of {about.label}.")


def _refuse_link(field: str, message: str) -> None:
    raise InvalidInput(message, fields={field: message})


@transaction.atomic
def change_caption(scope: Scope, *, file_id: int, caption: str) -> None:
    """Describe a file anew; only who added it and the office may."""
    row = _locked(scope, file_id)
    row.caption = _checked_caption(caption)
    row.save(update_fields=["caption"])


@transaction.atomic
def archive_file(scope: Scope, *, file_id: int, at: datetime) -> None:
    """Take a file out of the lists; it can be restored. Only who added it and the office may."""
    row = _locked(scope, file_id)
    row.archived_at = row.archived_at or at
    row.save(update_fields=["archived_at"])


@transaction.atomic
def restore_file(scope: Scope, *, file_id: int) -> None:
    """Put an archived file back into the lists; only who added it and the office may."""
    row = _locked(scope, file_id)
    row.archived_at = None
    row.save(update_fields=["archived_at"])


def may_change(scope: Scope, added_by_id: int) -> bool:
    """Tell whether the person may describe or archive a file that this person added."""
    return scope.allows(Action.ADD_FILE) and (
        scope.role == "office" or scope.person.id == added_by_id
    )


def _locked(scope: Scope, file_id: int) -> Attachment:
    scope.require(Action.ADD_FILE)
    rows = Attachment.objects.select_for_update(of=("self",))
    row = rows.filter(project_id=scope.project.id, id=file_id).first()
    if row is None:
        raise NotFound("There is no such file in this project.")
    if not may_change(scope, row.added_by_id):
        raise Forbidden("Only the person who added the file and the office may change it.")
    return row
