"""Draft, issue, stop and take documents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial
from zoneinfo import ZoneInfo

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Max

from projectsite.accounts.access import Action
from projectsite.core import jobs
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.scope import Scope
from reports.domain.dossier import Dossier
from reports.domain.frames import number_text
from reports.domain.readiness import readiness
from reports.models import Document, DocumentState, Download, RenderState
from reports.queries.documents import DRAFT_ACTION, stored_file, visible
from reports.queries.dossiers import Subject, assemble

RENDER_JOB = "reports.render"
NOTE_LIMIT = 240


@transaction.atomic
def draft_document(
    scope: Scope, *, kind: str, subject: Subject, address: str, at: datetime, note: str = ""
) -> int:
    """Draft a document from the record as it stands and give its id; rendering follows.

    Raises
    ------
    Forbidden
        The role does not draft documents of this kind.
    InvalidInput
        An unknown kind, a subject that does not suit it, or one without units.
    """
    if kind not in DRAFT_ACTION:
        raise InvalidInput("There is no such kind of document.", fields={"kind": "Choose a kind."})
    scope.require(DRAFT_ACTION[kind])
    _check_note(note)
    dossier, title = assemble(scope, kind, subject, date=_day(scope, at), address=address)
    dossier = replace(dossier, frame=replace(dossier.frame, note=note))
    document = Document(
        project_id=scope.project.id,
        kind=kind,
        title=title,
        unit_id=subject.unit_id,
        air_handler_id=subject.air_handler_id,
        options=subject.options,
        note=note,
        dossier=dossier.to_json(),
        created_by_id=scope.person.id,
        created_at=at,
    )
    document.full_clean(exclude=["file", "dossier"])
    document.save()
    _start(document)
    return document.pk


@transaction.atomic
def issue_document(
    scope: Scope, *, document_id: int, address: str, at: datetime, note: str | None = None
) -> int:
    """Issue a draft: freeze what the record says now, give number and issue, render it.

    Parameters
    ----------
    note
        Said on the document; needed when it goes out with open items. None keeps the draft's.

    Raises
    ------
    Conflict
        It was issued already, or something is missing; the message lists what.
    InvalidInput
        Open items, and no note that says so.
    """
    scope.require(Action.ISSUE_DOCUMENT)
    document = _locked(scope, document_id)
    if document.state == DocumentState.ISSUED:
        raise Conflict(f"{document.title} was issued already.")
    words = document.note if note is None else note
    _check_note(words)
    subject = Subject(document.unit_id, document.air_handler_id, **document.options)
    dossier, title = assemble(scope, document.kind, subject, date=_day(scope, at), address=address)
    _check_ready(dossier, words)
    _stop_job(document)
    _give_number(document)
    document.title, document.note = title, words
    document.state = DocumentState.ISSUED
    document.issued_at, document.issued_by_id = at, scope.person.id
    document.dossier = _framed(dossier, document).to_json()
    _forget_file(document)
    document.save()
    _start(document)
    return document.pk


@transaction.atomic
def cancel_rendering(scope: Scope, *, document_id: int) -> None:
    """Stop a rendering that waits or runs; the document itself stays and can be tried again."""
    document = _locked(scope, document_id)
    _require_own(scope, document)
    if document.render_state not in {RenderState.WAITING, RenderState.RUNNING}:
        raise Conflict(f"{document.title} is not being made now.")
    _stop_job(document)
    Document.objects.filter(pk=document.pk).update(render_state=RenderState.CANCELLED)


@transaction.atomic
def retry_rendering(scope: Scope, *, document_id: int) -> None:
    """Render a document again, from the same dossier, after it failed or was stopped."""
    document = _locked(scope, document_id)
    _require_own(scope, document)
    if document.render_state not in {RenderState.FAILED, RenderState.CANCELLED}:
        raise Conflict(f"{document.title} is made already, or is being made now.")
    _start(document)


@transaction.atomic
def discard_draft(scope: Scope, *, document_id: int) -> None:
    """Remove a draft and its file; issued documents stay."""
    document = _locked(scope, document_id)
    _require_own(scope, document)
    if document.state == DocumentState.ISSUED:
        raise Conflict("An issued document stays. Issue a newer one instead.")
    _stop_job(document)
    _forget_file(document)
    document.delete()


@transaction.atomic
def record_download(scope: Scope, *, document_id: int, at: datetime) -> tuple[str, str]:
    """Note that the person takes a copy; give the file's name in the storage and for the reader."""
    names = stored_file(scope, document_id)
    Download.objects.create(
        project_id=scope.project.id, document_id=document_id, person_id=scope.person.id, at=at
    )
    return names


# -- what the job does with the row; it acts for nobody and takes no scope ------------------


def begin_rendering(document_id: int) -> Dossier | None:
    """Take a document in hand and give its dossier; None when nothing is to be done any more."""
    waiting = Document.objects.filter(
        pk=document_id, render_state__in=[RenderState.WAITING, RenderState.RUNNING]
    )
    if not waiting.update(render_state=RenderState.RUNNING, sections_done=0, render_error=""):
        return None
    return Dossier.from_json(Document.objects.values_list("dossier", flat=True).get(pk=document_id))


def note_progress(document_id: int, done: int, total: int) -> bool:
    """Store how far the rendering is; tell whether it is still wanted."""
    running = Document.objects.filter(pk=document_id, render_state=RenderState.RUNNING)
    return bool(running.update(sections_done=done, sections_total=total))


def finish_rendering(
    document_id: int, *, content: bytes, sha256: str, pages: int, year: int
) -> bool:
    """Keep a finished file; tell whether it was still wanted."""
    name = default_storage.save(
        f"documents/{year}/{document_id}-{sha256[:12]}.pdf", ContentFile(content)
    )
    kept = Document.objects.filter(pk=document_id, render_state=RenderState.RUNNING).update(
        file=name,
        sha256=sha256,
        page_count=pages,
        render_state=RenderState.DONE,
        render_error="",
    )
    if not kept:
        default_storage.delete(name)
    return bool(kept)


def fail_rendering(document_id: int, message: str) -> None:
    """Say in plain words why there is no file."""
    Document.objects.filter(pk=document_id, render_state=RenderState.RUNNING).update(
        render_state=RenderState.FAILED, render_error=message
    )


# -- steps -----------------------------------------------------------------------------------


def _day(scope: Scope, at: datetime) -> str:
    return at.astimezone(ZoneInfo(scope.project.time_zone)).date().isoformat()


def _check_note(note: str) -> None:
    if len(note) > NOTE_LIMIT:
        message = f"The note is longer than {NOTE_LIMIT} characters."
        raise InvalidInput(message, fields={"note": message})


def _locked(scope: Scope, document_id: int) -> Document:
    document = visible(scope).select_for_update().filter(id=document_id).first()
    if document is None:
        raise NotFound("There is no such document in this project.")
    return document


def _require_own(scope: Scope, document: Document) -> None:
    """Stopping and starting again is for those who could have asked for it."""
    is_issued = document.state == DocumentState.ISSUED
    scope.require(Action.ISSUE_DOCUMENT if is_issued else DRAFT_ACTION[document.kind])


def _check_ready(dossier: Dossier, note: str) -> None:
    state = readiness(dossier)
    if state.missing:
        raise Conflict("This can't be issued yet. " + " ".join(state.missing))
    if state.open_items and not note.strip():
        raise InvalidInput(
            "This would go out with open items. " + " ".join(state.open_items),
            fields={"note": "Say in the note that it is issued with these open items."},
        )


def _give_number(document: Document) -> None:
    """Give the next number of the project and the next issue of the subject.

    Numbers follow each other without a gap, also when two people issue at once: the lock is
    held until the transaction ends.
    """
    take_turn(Turn.NUMBER_DOCUMENTS, document.project_id)
    issued = Document.objects.filter(project_id=document.project_id, state=DocumentState.ISSUED)
    document.number = (issued.aggregate(last=Max("number"))["last"] or 0) + 1
    same_subject = issued.filter(
        kind=document.kind,
        unit_id=document.unit_id,
        air_handler_id=document.air_handler_id,
        options=document.options,
    )
    document.issue = (same_subject.aggregate(last=Max("issue"))["last"] or 0) + 1


def _framed(dossier: Dossier, document: Document) -> Dossier:
    frame = replace(
        dossier.frame,
        state="issued",
        number=number_text(document.kind, document.number),
        issue=document.issue,
        note=document.note,
    )
    return replace(dossier, frame=frame)


def _forget_file(document: Document) -> None:
    """Let go of a draft's file; it is deleted when the transaction holds."""
    if document.file:
        remove: Callable[[], None] = partial(default_storage.delete, str(document.file.name))
        transaction.on_commit(remove)
    document.file, document.sha256, document.page_count = "", "", None
    document.render_state = RenderState.WAITING


def _stop_job(document: Document) -> None:
    if document.job_id is not None and document.render_state in {
        RenderState.WAITING,
        RenderState.RUNNING,
    }:
        jobs.cancel(document.job_id)


def _start(document: Document) -> None:
    """Have it rendered when the transaction holds."""
    job_id = jobs.enqueue(RENDER_JOB, lock=f"document-{document.pk}", document_id=document.pk)
    Document.objects.filter(pk=document.pk).update(
        job_id=job_id,
        render_state=RenderState.WAITING,
        render_error="",
        sections_done=0,
        sections_total=0,
    )
