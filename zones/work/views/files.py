"""Pages of the photos and files, their panels, and the files themselves."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import UploadedFile
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path, reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core import groups, numeric
from projectsite.core.errors import ApplicationError, NotFound
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.fragments import wants_fragment
from projectsite.ui.lists import Listing
from zones.inventory import queries as inventory
from zones.work.forms.files import FileAddForm, FileFilterForm
from zones.work.operations import files as operations
from zones.work.queries import files as queries
from zones.work.queries.subjects import subject
from zones.work.tables.files import file_table

MOST_AT_ONCE = 20
"""Files in one request."""


@require_GET
def file_list(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show the photos and files of the project."""
    scope = scope_for(request, project_key, Action.SEE)
    form = FileFilterForm(request.GET, choices=_choices(scope))
    wanted = form.wanted()
    listing = Listing.read(request.GET, sorts=queries.FILE_SORTS, default="-added", size=50)
    listing = listing.counted(queries.count_files(scope, wanted))
    if wants_file(kind := request.GET.get("format", "")):
        rows = queries.file_rows(scope, wanted, sort=listing.sort)
        return file_of(file_table(scope, rows, listing), kind, f"{project_key}-files")
    rows = queries.file_rows(
        scope, wanted, sort=listing.sort, offset=listing.offset, limit=listing.size
    )
    context = {
        "title": "Photos and files",
        "files": _shown(scope, rows),
        "listing": listing,
        "filters": form,
        "wanted": wanted,
        "next": request.get_full_path(),
    }
    return render(request, "work/files.html", context)


def _choices(scope: Scope) -> dict[str, list[tuple[Any, str]]]:
    floors = {unit.floor for unit in inventory.outlines(scope) if unit.floor}
    handlers = groups.grouping(scope, "air-handler").groups.values()
    return {
        "floor": [(floor, floor) for floor in sorted(floors, key=numeric.natural_key)],
        "air_handler": [(handler.id, handler.label) for handler in handlers],
        "person": list(queries.people_with_files(scope)),
    }


def _shown(scope: Scope, rows: list[queries.FileRow]) -> list[tuple[queries.FileRow, bool]]:
    """Each file with whether the person may describe and archive it."""
    return [(row, operations.may_change(scope, row.added_by_id)) for row in rows]


@require_GET
def file_content(request: HttpRequest, project_key: str, file_id: int) -> FileResponse:
    """Give a file; only pictures and PDFs may be shown by the browser."""
    scope = scope_for(request, project_key, Action.SEE)
    return content_of(queries.file_row(scope, file_id))


@require_GET
def file_thumbnail(request: HttpRequest, project_key: str, file_id: int) -> FileResponse:
    """Give the small copy of a photo."""
    scope = scope_for(request, project_key, Action.SEE)
    row = queries.file_row(scope, file_id)
    if not row.thumbnail:
        raise NotFound("Only photos have a small copy.")
    return _answer(row.thumbnail, "image/jpeg", row.file_name, is_inline=True)


def content_of(row: queries.FileRow) -> FileResponse:
    """Answer with a stored file, as what its content was found to be."""
    kind = row.media_type
    charset = "; charset=utf-8" if kind.startswith("text/") else ""
    return _answer(row.file, f"{kind}{charset}", row.file_name, is_inline=row.shows_inline)


def _answer(name: str, kind: str, file_name: str, *, is_inline: bool) -> FileResponse:
    try:
        stored = default_storage.open(name)
    except FileNotFoundError as error:
        raise NotFound("The file is missing from the store; ask who runs this site.") from error
    response = FileResponse(
        stored, content_type=kind, as_attachment=not is_inline, filename=file_name
    )
    # A stored file never changes under its address.
    response["Cache-Control"] = "private, max-age=604800, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    return response


@require_POST
def file_add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add one or more photos or files to a subject."""
    scope = scope_for(request, project_key, Action.ADD_FILE)
    form = FileAddForm(request.POST)
    sent = request.FILES.getlist("file")
    if not form.is_valid():
        messages.error(request, _told(form))
    elif not sent:
        messages.error(request, "Choose a photo or a file first.")
    elif len(sent) > MOST_AT_ONCE:
        messages.error(request, f"At most {MOST_AT_ONCE} files at once; nothing was added.")
    else:
        _add_all(request, scope, form, sent)
    return redirect(_back(request) or reverse("work:files", args=[project_key]))


def _told(form: FileAddForm) -> str:
    """Every error of the form in one text."""
    return " ".join(
        f"{name.replace('_', ' ').capitalize()}: {error}"
        for name, errors in form.errors.items()
        for error in errors
    )


def _add_all(
    request: HttpRequest, scope: Scope, form: FileAddForm, sent: list[UploadedFile[Any]]
) -> None:
    """Add each file by itself, and say of each refused one why."""
    added = 0
    # Without a key of the form every sending is a new one.
    key = form.cleaned_data["client_key"] or uuid.uuid4()
    for number, file in enumerate(sent):
        try:
            operations.add_file(
                scope,
                **form.values(),
                content=_content(file),
                file_name=file.name or "",
                client_key=uuid.uuid5(key, str(number)),
                at=timezone.now(),
            )
        except ApplicationError as error:
            messages.error(request, f"{file.name}: {error.message}")
        else:
            added += 1
    if added:
        messages.success(request, f"{added} file{'' if added == 1 else 's'} added.")


def _content(file: UploadedFile[Any]) -> bytes:
    """Read no more than what shows that a file is too large."""
    return bytes(file.read(operations.MAX_FILE_BYTES + 1))


@require_POST
def file_caption(request: HttpRequest, project_key: str, file_id: int) -> HttpResponse:
    """Describe a file anew."""
    scope = scope_for(request, project_key, Action.ADD_FILE)
    try:
        operations.change_caption(scope, file_id=file_id, caption=request.POST.get("caption", ""))
    except ApplicationError as error:
        if not error.fields:
            raise
        messages.error(request, error.message)
    else:
        messages.success(request, "The caption is changed.")
    return redirect(_back(request) or reverse("work:files", args=[project_key]))


@require_POST
def file_archive(request: HttpRequest, project_key: str, file_id: int) -> HttpResponse:
    """Take a file out of the lists."""
    scope = scope_for(request, project_key, Action.ADD_FILE)
    operations.archive_file(scope, file_id=file_id, at=timezone.now())
    messages.success(request, "The file is archived; the list of archived files has it.")
    return redirect(_back(request) or reverse("work:files", args=[project_key]))


@require_POST
def file_restore(request: HttpRequest, project_key: str, file_id: int) -> HttpResponse:
    """Put an archived file back into the lists."""
    scope = scope_for(request, project_key, Action.ADD_FILE)
    operations.restore_file(scope, file_id=file_id)
    messages.success(request, "The file is in the lists again.")
    return redirect(_back(request) or reverse("work:files", args=[project_key]))


def _back(request: HttpRequest) -> str:
    """Page of this site that the request wants to go back to, or ""."""
    asked = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(asked, allowed_hosts=None)
    return asked if is_ours and asked.startswith("/") else ""


@require_GET
def unit_files(request: HttpRequest, project_key: str, unit_id: int) -> HttpResponse:
    """Show the photos and files of a unit and its outlets."""
    return _panel(request, project_key, "unit", unit_id)


@require_GET
def air_handler_files(request: HttpRequest, project_key: str, air_handler_id: int) -> HttpResponse:
    """Show the photos and files of an air handler."""
    return _panel(request, project_key, "air-handler", air_handler_id)


def _panel(request: HttpRequest, project_key: str, kind: str, subject_id: int) -> HttpResponse:
    scope = scope_for(request, project_key, Action.SEE)
    about = subject(scope, kind, subject_id)
    is_fragment = wants_fragment(request)
    context = {
        "title": f"Photos and files of {about.label}",
        "about": about,
        "files": _shown(scope, queries.files_of(scope, kind, subject_id)),
        "next": about.url,
        "trail": [(about.label, about.url)],
        "is_fragment": is_fragment,
    }
    name = "work/files_panel.html"
    return render(request, f"{name}#panel" if is_fragment else name, context)


_AT = "work/files/<int:file_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("work/files/", file_list, name="files"),
    path("work/files/add/", file_add, name="file-add"),
    path(f"{_AT}/", file_content, name="file"),
    path(f"{_AT}/thumbnail/", file_thumbnail, name="file-thumbnail"),
    path(f"{_AT}/caption/", file_caption, name="file-caption"),
    path(f"{_AT}/archive/", file_archive, name="file-archive"),
    path(f"{_AT}/restore/", file_restore, name="file-restore"),
    path("units/<int:unit_id>/files/", unit_files, name="unit-files-panel"),
    path(
        "air-handlers/<int:air_handler_id>/files/",
        air_handler_files,
        name="air-handler-files-panel",
    ),
]
