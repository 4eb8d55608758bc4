"""Addresses of documents."""

from __future__ import annotations

from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from projectsite.accounts.models import User
from reports.models import Document
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.reports import issued, make_dossier
from tests.web.matrix import Entry, api, page
from zones.inventory.models import AirHandler, TerminalUnit

READERS = ("owner", "balancer", "controls", "office")
DRAFTERS = ("balancer", "controls", "office")


def make_document(cast: Cast, *, is_issued: bool = False, **values: Any) -> Document:
    """Store a finished sheet of a unit, drafted or issued."""
    unit = TerminalUnit.objects.filter(project=cast.project).first() or make_unit(cast.project)
    dossier = make_dossier()
    given: dict[str, Any] = {
        "kind": "unit-balance",
        "title": f"Air balance sheet, {unit.tag}",
        "unit": unit,
        "created_by": cast.office,
        "created_at": AT,
        "render_state": "done",
        "sha256": "0" * 64,
        "page_count": 2,
        "file": default_storage.save("documents/test.pdf", ContentFile(b"%PDF-1.7")),
    }
    if is_issued:
        number = Document.objects.filter(project=cast.project, state="issued").count() + 1
        dossier = issued(dossier, f"AB-{number:04d}", number)
        given |= {"state": "issued", "number": number, "issue": number}
        given |= {"issued_by": cast.office, "issued_at": AT}
    given["dossier"] = dossier.to_json()
    return Document.objects.create(project=cast.project, **(given | values))


def draft(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a draft."""
    del user
    return {"project_key": cast.project.key, "document_id": make_document(cast).pk}


def failed(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a draft whose rendering failed."""
    del user
    document = make_document(cast, render_state="failed")
    return {"project_key": cast.project.key, "document_id": document.pk}


def waiting(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a draft that waits to be rendered."""
    del user
    document = make_document(cast, render_state="waiting")
    return {"project_key": cast.project.key, "document_id": document.pk}


def one_issued(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an issued document."""
    del user
    document = make_document(cast, is_issued=True)
    return {"project_key": cast.project.key, "document_id": document.pk}


def two_issued(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name two issues of one subject."""
    other = make_document(cast, is_issued=True)
    return one_issued(cast, user) | {"other_id": other.pk}


def unit(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a unit."""
    del user
    found = TerminalUnit.objects.filter(project=cast.project).first() or make_unit(cast.project)
    return {"project_key": cast.project.key, "unit_id": found.pk}


def air_handler(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an air handler."""
    del user
    known = AirHandler.objects.filter(project=cast.project).first()
    found = known or make_air_handler(cast.project)
    return {"project_key": cast.project.key, "air_handler_id": found.pk}


def new_sheet(cast: Cast) -> dict[str, Any]:
    """Body that drafts a sheet of a unit."""
    return {"kind": "unit-balance", "unit": unit(cast, None)["unit_id"]}


# A draft is not there for those who may not draft its kind (404), before any right is asked.
_DRAFT_PAGE = {**page(to=READERS), "owner": 404}
_DRAFT_API = {**api(to=READERS), "owner": 404}

ENTRIES = [
    Entry("reports:documents", page(to=READERS)),
    Entry("reports:document-new", page(to=DRAFTERS)),
    Entry("reports:labels", page(to=("controls", "office"))),
    Entry("reports:document", _DRAFT_PAGE, arguments=draft),
    Entry("reports:document-progress", page(302, to=READERS), arguments=one_issued),
    Entry("reports:document-issue", page(to=("office",)), arguments=draft),
    Entry("reports:document-cancel", page(302, to=DRAFTERS), "POST", arguments=waiting),
    Entry("reports:document-retry", page(302, to=DRAFTERS), "POST", arguments=failed),
    Entry("reports:document-discard", page(302, to=DRAFTERS), "POST", arguments=draft),
    Entry("reports:document-download", page(to=READERS), arguments=one_issued),
    Entry("reports:document-compare", page(to=READERS), arguments=two_issued),
    Entry("reports:project-panel", page(to=READERS)),
    Entry("reports:air-handler-documents", page(to=READERS), arguments=air_handler),
    Entry("reports:unit-documents", page(to=READERS), arguments=unit),
    Entry("reports:unit-draft", page(302, to=DRAFTERS), "POST", arguments=unit),
    Entry("reports-api:document-list", api(to=READERS)),
    Entry("reports-api:document-list", api(201, to=DRAFTERS), "POST", data=new_sheet),
    Entry("reports-api:document-detail", _DRAFT_API, arguments=draft),
    Entry("reports-api:document-detail", api(204, to=DRAFTERS), "DELETE", arguments=draft),
    # The unit has no accepted test, so even the office is refused, with a list of what is missing.
    Entry("reports-api:document-issue", api(409, to=("office",)), "POST", arguments=draft),
    Entry("reports-api:document-cancel", api(to=DRAFTERS), "POST", arguments=waiting),
    Entry("reports-api:document-retry", api(to=DRAFTERS), "POST", arguments=failed),
    Entry("reports-api:document-dossier", _DRAFT_API, arguments=draft),
    Entry("reports-api:document-compare", api(to=READERS), arguments=two_issued),
    Entry("reports-api:document-download", api(to=READERS), arguments=one_issued),
]
