"""Pages of documents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.files.storage import default_storage
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError, NotFound
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.fragments import part_of
from projectsite.ui.lists import Listing
from reports import operations, queries
from reports.forms import DocumentFilterForm, IssueForm, LabelForm, NewDocumentForm
from reports.queries import DocumentFilter, DocumentRow
from reports.tables import difference_table, document_table, state_mark


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a document is, in the words of the page."""

    is_running: bool
    has_failed: bool
    done: int
    total: int
    words: str


def progress_of(row: DocumentRow) -> Progress:
    """Say how far a document is."""
    count = f"{row.sections_done} of {row.sections_total} parts are made."
    words = {
        "waiting": "The document waits for its turn.",
        "running": count if row.sections_total else "The document is being made.",
        "done": f"The document is made, {row.page_count} pages.",
        "failed": f"The document was not made. {row.render_error}",
        "cancelled": "Somebody stopped this document.",
    }
    return Progress(
        row.is_running,
        row.can_retry,
        row.sections_done,
        row.sections_total,
        words[row.render_state],
    )


def _asked(request: HttpRequest) -> tuple[DocumentFilter, DocumentFilterForm]:
    form = DocumentFilterForm(request.GET)
    form.is_valid()  # what can't be understood is shown beside its field and left out
    data = form.cleaned_data
    wanted = DocumentFilter(data.get("q", ""), data.get("kind", ""), data.get("state", ""))
    return wanted, form


@require_GET
def documents(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the documents that the person may see."""
    scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
    wanted, form = _asked(request)
    listing = Listing.read(request.GET, sorts=queries.DOCUMENT_SORTS, default="-created")
    kind = request.GET.get("format", "")
    if wants_file(kind):
        rows = queries.documents(scope, wanted, sort=listing.sort)
        return file_of(document_table(scope, rows), kind, "documents")
    listing = listing.counted(queries.count_documents(scope, wanted))
    rows = queries.documents(
        scope, wanted, sort=listing.sort, offset=listing.offset, limit=listing.size
    )
    context = {"table": document_table(scope, rows, listing=listing), "filters": form}
    context["may_draft"] = bool(queries.may_draft(scope))
    return render(request, "reports/documents.html", context)


@require_http_methods(["GET", "POST"])
def document_new(request: HttpRequest, project_key: str) -> HttpResponse:
    """Choose kind and subject of a new document."""
    scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
    start = {"kind": queries.may_draft(scope)[0], **request.GET.dict()}
    form = NewDocumentForm(request.POST or None, scope=scope, initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            found = _draft(scope, form)
        except ApplicationError as error:
            form.refuse(error)
        else:
            return redirect("reports:document", project_key, found)
    status = 422 if form.errors else 200
    return render(request, "reports/new.html", {"form": form}, status=status)


def _draft(scope: Scope, form: NewDocumentForm) -> int:
    return operations.draft_document(
        scope,
        kind=form.cleaned_data["kind"],
        subject=form.subject(),
        note=form.cleaned_data["note"],
        address=settings.PUBLIC_ADDRESS,
        at=timezone.now(),
    )


@require_http_methods(["GET", "POST"])
def labels(request: HttpRequest, project_key: str) -> HttpResponse:
    """Choose boxes and a sheet of labels; the sheets are made like a document."""
    scope = scope_for(request, project_key, Action.DRAFT_DOCUMENT)
    form = LabelForm(request.POST or None, scope=scope, initial=request.GET.dict())
    if request.method == "POST" and form.is_valid():
        try:
            found = operations.draft_document(
                scope,
                kind="label-sheet",
                subject=form.subject(),
                address=settings.PUBLIC_ADDRESS,
                at=timezone.now(),
            )
        except ApplicationError as error:
            form.refuse(error)
        else:
            return redirect("reports:document", project_key, found)
    status = 422 if form.errors else 200
    return render(request, "reports/labels.html", {"form": form}, status=status)


@require_GET
def document(request: HttpRequest, project_key: str, document_id: int) -> HttpResponse:
    """One document: how it stands, its file and hash, its history."""
    scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
    row = queries.document(scope, document_id)
    context = {
        "document": row,
        "state": state_mark(row),
        "job": progress_of(row),
        "history": queries.history(scope, row),
        "may_issue": scope.allows(Action.ISSUE_DOCUMENT) and not row.is_issued,
        "may_change": _may_change(scope, row),
        **_addresses(project_key, row),
    }
    return render(request, "reports/document.html", context)


def _may_change(scope: Scope, row: DocumentRow) -> bool:
    may_issue = scope.allows(Action.ISSUE_DOCUMENT)
    return may_issue or (not row.is_issued and row.kind in queries.may_draft(scope))


def _addresses(project_key: str, row: DocumentRow) -> dict[str, str]:
    """Addresses that the progress of a document needs."""
    args = [project_key, row.id]
    return {
        "address": reverse("reports:document-progress", args=args),
        "cancel": reverse("reports:document-cancel", args=args),
    }


@require_GET
def document_progress(request: HttpRequest, project_key: str, document_id: int) -> HttpResponse:
    """How far a document is; the page loads itself anew when it is made."""
    scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
    row = queries.document(scope, document_id)
    if not request.headers.get("HX-Request"):
        return redirect("reports:document", project_key, document_id)
    context: dict[str, Any] = {"job": progress_of(row), **_addresses(project_key, row)}
    if not _may_change(scope, row):
        context["cancel"] = ""
    response = render(request, "ui/progress.html", context)
    if not row.is_running:
        response["HX-Refresh"] = "true"
    return response


@require_http_methods(["GET", "POST"])
def document_issue(request: HttpRequest, project_key: str, document_id: int) -> HttpResponse:
    """Issue a draft, after saying what is open."""
    scope = scope_for(request, project_key, Action.ISSUE_DOCUMENT)
    row = queries.document(scope, document_id)
    form = IssueForm(request.POST or None, initial={"note": row.note})
    if request.method == "POST" and form.is_valid():
        try:
            _issue(scope, document_id, form.cleaned_data["note"])
        except ApplicationError as error:
            form.refuse(error)
        else:
            messages.success(request, f"{row.title} is issued.")
            return redirect("reports:document", project_key, document_id)
    context = {"document": row, "form": form}
    return render(request, "reports/issue.html", context, status=422 if form.errors else 200)


def _issue(scope: Scope, document_id: int, note: str) -> None:
    operations.issue_document(
        scope,
        document_id=document_id,
        note=note,
        address=settings.PUBLIC_ADDRESS,
        at=timezone.now(),
    )


def _act(
    request: HttpRequest, act: Callable[[], object], *, done: str, project_key: str, to: str = ""
) -> HttpResponse:
    """Do what a button asks, tell what came of it, and go on."""
    try:
        act()
    except NotFound:
        raise
    except ApplicationError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, done)
    return redirect(to or reverse("reports:documents", args=[project_key]))


@require_POST
def document_cancel(request: HttpRequest, project_key: str, document_id: int) -> HttpResponse:
    """Stop making a document."""
    scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
    to = reverse("reports:document", args=[project_key, document_id])

    def act() -> None:
        operations.cancel_rendering(scope, document_id=document_id)

    return _act(request, act, done="Stopped.", project_key=project_key, to=to)


@require_POST
def document_retry(request: HttpRequest, project_key: str, document_id: int) -> HttpResponse:
    """Make a document again after it failed or was stopped."""
    scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
    to = reverse("reports:document", args=[project_key, document_id])

    def act() -> None:
        operations.retry_rendering(scope, document_id=document_id)

    return _act(request, act, done="It is being made again.", project_key=project_key, to=to)


@require_http_methods(["GET", "POST"])
def document_discard(request: HttpRequest, project_key: str, document_id: int) -> HttpResponse:
    """Remove a draft, after asking once."""
    scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
    row = queries.document(scope, document_id)
    if request.method == "GET":
        cancel = reverse("reports:document", args=[project_key, document_id])
        context = {"document": row, "cancel": cancel, "title": "Remove a draft"}
        return render(request, "reports/discard.html", context)

    def act() -> None:
        operations.discard_draft(scope, document_id=document_id)

    return _act(request, act, done=f"The draft {row.title} is gone.", project_key=project_key)


@require_GET
def document_download(request: HttpRequest, project_key: str, document_id: int) -> FileResponse:
    """Give the file, and note who took it."""
    scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
    name, shown = operations.record_download(scope, document_id=document_id, at=timezone.now())
    return FileResponse(
        default_storage.open(name),
        as_attachment=True,
        filename=shown,
        content_type="application/pdf",
        headers={"Cache-Control": "private, no-store"},
    )


@require_GET
def document_compare(
    request: HttpRequest, project_key: str, document_id: int, other_id: int
) -> HttpResponse:
    """Which figures changed from one issue to another."""
    scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
    old, new, changes = queries.comparison(scope, document_id, other_id)
    context = {"old": old, "new": new, "table": difference_table(scope, changes)}
    return render(request, "reports/compare.html", context)


@require_GET
def unit_documents(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Documents of one unit, for its page."""
    scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
    rows = queries.documents(scope, DocumentFilter(unit=unit_id), limit=20)
    kinds = queries.may_draft(scope)
    context = {"rows": rows, "unit_id": unit_id, "may_draft": "unit-balance" in kinds}
    context["marks"] = [(row, state_mark(row)) for row in rows]
    return render(request, part_of(request, "reports/unit_documents.html"), context)


@require_GET
def air_handler_documents(
    request: HttpRequest, project_key: str, air_handler_id: int
) -> HttpResponse:
    """Documents of one air handler, for its page."""
    scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
    rows = queries.documents(scope, DocumentFilter(air_handler=air_handler_id), limit=20)
    context = {
        "marks": [(row, state_mark(row)) for row in rows],
        "air_handler_id": air_handler_id,
        "may_draft": scope.allows(Action.DRAFT_DOCUMENT),
    }
    return render(request, part_of(request, "reports/air_handler_documents.html"), context)


@require_GET
def project_panel(request: HttpRequest, project_key: str) -> HttpResponse:
    """How many documents the project has, the last one issued, and what can be drafted."""
    scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
    context = {
        "counts": queries.counts(scope),
        "last": queries.last_issued(scope),
        "sees_drafts": bool(queries.may_draft(scope)),
        "may_draft": scope.allows(Action.DRAFT_DOCUMENT),
    }
    return render(request, part_of(request, "reports/project_panel.html"), context)


@require_POST
def unit_draft(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Draft the air balance sheet of a unit from its page."""
    scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
    found = operations.draft_document(
        scope,
        kind="unit-balance",
        subject=queries.Subject(unit_id=unit_id),
        address=settings.PUBLIC_ADDRESS,
        at=timezone.now(),
    )
    return redirect("reports:document", project_key, found)
