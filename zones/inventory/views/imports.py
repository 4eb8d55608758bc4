"""Pages of schedule imports."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import ApplicationError, Conflict, InvalidInput
from projectsite.core.scope import Scope
from projectsite.ui.files import file_of, wants_file
from projectsite.ui.lists import Listing
from zones.inventory.forms.imports import LayoutForm, MappingForm, UploadForm, refuse
from zones.inventory.imports import work
from zones.inventory.operations import imports as operations
from zones.inventory.queries import import_base
from zones.inventory.queries import imports as queries
from zones.inventory.tables.imports import Shower, comparison_table, imports_table, rows_table

OFFICE = Action.IMPORT_SCHEDULE


def _address(scope: Scope, name: str, import_id: int | None = None) -> str:
    arguments: dict[str, Any] = {"project_key": scope.project.key}
    return reverse(
        f"inventory:{name}", kwargs=arguments | ({"import_id": import_id} if import_id else {})
    )


def _unit_address(scope: Scope, unit_id: int) -> str:
    return reverse("inventory:unit", kwargs={"project_key": scope.project.key, "unit_id": unit_id})


def _trail(scope: Scope, found: queries.ImportFacts | None = None) -> list[tuple[str, str]]:
    trail = [("Imports", _address(scope, "imports"))]
    return [*trail, (found.name, _address(scope, "import", found.id))] if found else trail


@require_GET
def import_list(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the received schedules."""
    scope = scope_for(request, project_key, Action.SEE)
    listing = Listing.read(request.GET, sorts=(), default="", size=50)
    listing = listing.counted(queries.count_imports(scope))
    rows = queries.list_imports(scope, offset=listing.offset, limit=listing.size)
    add = _address(scope, "import-new") if scope.allows(OFFICE) else ""
    table = imports_table(rows, scope, listing, lambda key: _address(scope, "import", key), add)
    kind = request.GET.get("format", "")
    if wants_file(kind):
        return file_of(table, kind, f"{scope.project.key}-imports")
    return render(
        request,
        "inventory/imports.html",
        {"title": "Imports", "table": table, "revisions": queries.revisions(scope)},
    )


@require_http_methods(["GET", "POST"])
def import_new(request: HttpRequest, project_key: str) -> HttpResponse:
    """Take a file in."""
    scope = scope_for(request, project_key, OFFICE)
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm()
    if request.method == "POST" and form.is_valid():
        try:
            return redirect(_address(scope, "import", _receive(request, scope, form)))
        except ApplicationError as error:
            form.add_error("file", error.message)
    context = {"title": "Import a schedule", "form": form, "trail": _trail(scope)}
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "inventory/import_new.html", context, status=status)


def _receive(request: HttpRequest, scope: Scope, form: UploadForm) -> int:
    given = form.cleaned_data["file"]
    import_id = work.receive(
        scope,
        name=given.name,
        content=given.read(),
        target=form.cleaned_data["target"],
        label=form.cleaned_data["label"],
        at=timezone.now(),
    )
    found = queries.import_facts(scope, import_id)
    same = queries.same_files(scope, found.sha256, besides=import_id)
    if same:
        day = same[0].created_at.date().isoformat()
        messages.warning(
            request, f"Exactly this file was received before, on {day} ({same[0].state_word})."
        )
    return import_id


@require_GET
def import_page(request: HttpRequest, project_key: str, import_id: int) -> HttpResponse:
    """One import, wherever it stands."""
    scope = scope_for(request, project_key, Action.SEE)
    found = queries.import_facts(scope, import_id)
    if found.is_open and (found.is_working or found.work_state == "failed"):
        return render(request, "inventory/import_work.html", _work_context(scope, found))
    if found.state == "uploaded" and scope.allows(OFFICE):
        return redirect(_address(scope, "import-mapping", import_id))
    return _rows_page(request, scope, found)


def _work_context(scope: Scope, found: queries.ImportFacts) -> dict[str, Any]:
    job = {
        "is_running": found.is_working,
        "has_failed": found.work_state == "failed",
        "words": found.work_text,
        "done": found.work_done,
        "total": found.work_total,
    }
    return {
        "title": found.name,
        "found": found,
        "job": job,
        "address": _address(scope, "import-work", found.id),
        "cancel": _address(scope, "import-stop", found.id) if scope.allows(OFFICE) else "",
        "trail": _trail(scope),
    }


def _rows_page(request: HttpRequest, scope: Scope, found: queries.ImportFacts) -> HttpResponse:
    outcome = request.GET.get("outcome", "")
    wanted = _wanted(request, found)
    listing = Listing.read(request.GET, sorts=(), default="", size=100)
    listing = listing.counted(queries.count_rows(scope, found.id, wanted))
    kind = request.GET.get("format", "")
    is_file = wants_file(kind)
    offset, limit = (0, None) if is_file else (listing.offset, listing.size)
    rows = queries.list_rows(scope, found.id, wanted, offset=offset, limit=limit)
    show = Shower(found.target, scope, queries.link_names())
    table = rows_table(rows, show, listing, lambda key: _unit_address(scope, key))
    if is_file:
        return file_of(table, kind, f"{scope.project.key}-import-{found.id}")
    is_missing = outcome == queries.MISSING
    context = {
        "title": found.name,
        "found": found,
        "table": table,
        "trail": _trail(scope),
        "tabs": _tabs(found, outcome),
        "text": wanted.text,
        "outcome": outcome,
        "missing": queries.missing_units(scope, found.id) if is_missing else None,
        "may_change": scope.allows(OFFICE),
        "good": found.counts.get("new", 0) + found.counts.get("changed", 0),
    }
    return render(request, "inventory/import.html", context)


def _wanted(request: HttpRequest, found: queries.ImportFacts) -> queries.RowFilter:
    outcome = request.GET.get("outcome", "")
    del found
    return queries.RowFilter(
        outcome=outcome if outcome in queries.OUTCOMES else "",
        text=request.GET.get("text", "")[:60],
        reopening=outcome == "reopening",
    )


def _tabs(found: queries.ImportFacts, outcome: str) -> list[tuple[str, str, int, bool]]:
    counts = found.counts
    whole = sum(counts.get(name, 0) for name in queries.OUTCOMES)
    listed = [
        ("", "all rows", whole),
        *((k, w, counts.get(k, 0)) for k, w in queries.OUTCOMES.items()),
    ]
    if counts.get("reopening"):
        listed.append(("reopening", "reopening", counts["reopening"]))
    if found.target == "units":
        listed.append((queries.MISSING, "not in this file", counts.get(queries.MISSING, 0)))
    return [(key, word, count, key == outcome) for key, word, count in listed]


@require_http_methods(["GET", "POST"])
def import_mapping(request: HttpRequest, project_key: str, import_id: int) -> HttpResponse:
    """Say what each column is."""
    scope = scope_for(request, project_key, OFFICE)
    found = queries.import_facts(scope, import_id)
    if not found.is_open or found.is_working or not found.proposal.get("columns"):
        return redirect(_address(scope, "import", import_id))
    models = [(model.id, model.name) for model in import_base.library_models()]
    form = MappingForm(found, models, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            _store_mapping(scope, found, form)
        except (Conflict, InvalidInput) as error:
            refuse(form, error)
        else:
            return redirect(_address(scope, "import", import_id))
    return _mapping_page(request, scope, found, form)


def _store_mapping(scope: Scope, found: queries.ImportFacts, form: MappingForm) -> None:
    operations.store_mapping(
        scope,
        import_id=found.id,
        version=form.cleaned_data["version"],
        layout=form.layout(),
        columns=form.mapped(),
        box_model_id=form.cleaned_data.get("box_model"),
        is_na_empty=form.cleaned_data["is_na_empty"],
    )
    work.start(scope, found.id, task="preview", words="Reading the file")


def _mapping_page(
    request: HttpRequest,
    scope: Scope,
    found: queries.ImportFacts,
    form: MappingForm,
    rows: LayoutForm | None = None,
) -> HttpResponse:
    rows = rows or LayoutForm(found)
    context = {
        "title": f"Columns of {found.name}",
        "found": found,
        "form": form,
        "rows_form": rows,
        "trail": _trail(scope, found),
        "drop": _address(scope, "import-drop", found.id),
    }
    wrong = (form.is_bound and form.errors) or (rows.is_bound and rows.errors)
    return render(request, "inventory/import_mapping.html", context, status=422 if wrong else 200)


@require_POST
def import_layout(request: HttpRequest, project_key: str, import_id: int) -> HttpResponse:
    """Read another sheet, or other rows of it."""
    scope = scope_for(request, project_key, OFFICE)
    found = queries.import_facts(scope, import_id)
    rows = LayoutForm(found, request.POST)
    if rows.is_valid():
        try:
            wanted = rows.wanted(found)
            work.start(scope, import_id, task="propose", words="Reading the file", wanted=wanted)
        except (Conflict, InvalidInput) as error:
            operations.settle(scope, import_id=import_id)
            refuse(rows, error)
        else:
            return redirect(_address(scope, "import", import_id))
    models = [(model.id, model.name) for model in import_base.library_models()]
    return _mapping_page(request, scope, found, MappingForm(found, models), rows)


@require_GET
def import_work(request: HttpRequest, project_key: str, import_id: int) -> HttpResponse:
    """How far the reading is, for the page that waits for it."""
    scope = scope_for(request, project_key, Action.SEE)
    found = queries.import_facts(scope, import_id)
    if found.is_working:
        return render(request, "ui/progress.html", _work_context(scope, found))
    response = HttpResponse(status=200)
    response["HX-Redirect"] = _address(scope, "import", import_id)
    return response


@require_POST
def import_stop(request: HttpRequest, project_key: str, import_id: int) -> HttpResponse:
    """Stop the reading."""
    scope = scope_for(request, project_key, OFFICE)
    operations.stop_work(scope, import_id=import_id)
    return redirect(_address(scope, "import", import_id))


@require_POST
def import_apply(request: HttpRequest, project_key: str, import_id: int) -> HttpResponse:
    """Write the good rows, or all rows or none."""
    scope = scope_for(request, project_key, OFFICE)
    try:
        done = work.apply_or_renew(
            scope,
            import_id=import_id,
            version=int(request.POST.get("version") or 0),
            is_whole=request.POST.get("rows") == "whole",
            at=timezone.now(),
        )
    except (Conflict, InvalidInput) as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"Applied: {done.added} added, {done.changed} changed.")
    return redirect(_address(scope, "import", import_id))


@require_http_methods(["GET", "POST"])
def import_drop(request: HttpRequest, project_key: str, import_id: int) -> HttpResponse:
    """Put an import aside."""
    scope = scope_for(request, project_key, OFFICE)
    found = queries.import_facts(scope, import_id)
    if request.method == "GET":
        context = {
            "title": f"Drop {found.name}?",
            "what": "The preview is put aside and can't be applied any more. "
            "The record stays as it is.",
            "undo": "The file is kept; upload it again to go on with it.",
            "submit": "Drop it",
            "cancel": _address(scope, "import", import_id),
        }
        return render(request, "ui/confirm.html", context)
    operations.drop_import(scope, import_id=import_id, version=found.version)
    messages.success(request, "The import was dropped. Nothing was written.")
    return redirect(_address(scope, "imports"))


@require_GET
def import_file(request: HttpRequest, project_key: str, import_id: int) -> HttpResponse:
    """Give the received file back as it came."""
    scope = scope_for(request, project_key, OFFICE)
    name, content = queries.import_file(scope, import_id)
    # Never shown in the browser: it is somebody else's file.
    response = HttpResponse(content, content_type="application/octet-stream")
    safe = "".join(c if c.isalnum() or c in "-_. " else "_" for c in name)
    response["Content-Disposition"] = f'attachment; filename="{safe}"'
    return response


@require_GET
def import_compare(request: HttpRequest, project_key: str) -> HttpResponse:
    """Two revisions against each other."""
    scope = scope_for(request, project_key, Action.SEE)
    known = queries.revisions(scope)
    first, second = _chosen(request, known)
    if first is not None and second is not None:
        return _comparison(request, scope, known, (first, second))
    context = {"title": "Compare revisions", "revisions": known, "trail": _trail(scope)}
    return render(request, "inventory/import_compare.html", context)


def _comparison(
    request: HttpRequest, scope: Scope, known: list[queries.ImportFacts], pair: tuple[int, int]
) -> HttpResponse:
    found = queries.compare_revisions(scope, *pair)
    count = len(found.lines)
    show = Shower("units", scope, queries.link_names())
    kind = request.GET.get("format", "")
    if wants_file(kind):
        whole = comparison_table(found, show, Listing((), "", 1, max(count, 1), count))
        return file_of(whole, kind, f"{scope.project.key}-revision-{pair[0]}-to-{pair[1]}")
    listing = Listing.read(request.GET, sorts=(), default="", size=250).counted(count)
    context = {
        "title": "Compare revisions",
        "revisions": known,
        "trail": _trail(scope),
        "first": pair[0],
        "second": pair[1],
        "found": found,
        "table": comparison_table(found, show, listing),
        "counts": {word: found.count(word) for word in ("added", "missing", "changed")},
    }
    return render(request, "inventory/import_compare.html", context)


def _chosen(
    request: HttpRequest, known: list[queries.ImportFacts]
) -> tuple[int | None, int | None]:
    """Revisions of the address; without them the last two."""
    numbers = [found.revision for found in known if found.revision is not None]
    asked = [request.GET.get(name, "") for name in ("first", "second")]
    chosen = [int(text) if text.isdecimal() and len(text) < 7 else None for text in asked]
    if None not in chosen:
        return chosen[0], chosen[1]
    return (numbers[-2], numbers[-1]) if len(numbers) > 1 else (None, None)
