"""Pages and API of documents."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from reports import queries
from reports.models import Document
from tests.builders import Cast
from tests.builders.inventory import make_air_handler, make_unit
from tests.web.matrix.reports import make_document

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
Recorder = Callable[[str], AbstractContextManager[None]]


def page(name: str, *args: int) -> str:
    """Address of a page of the project."""
    return reverse(f"reports:{name}", args=["alder", *args])


def test_an_empty_list_says_what_to_do_first(cast: Cast, sign_in: SignIn) -> None:
    text = sign_in(cast.office).get(page("documents")).content.decode()
    assert "No documents yet." in text
    assert page("document-new") in text
    assert "has not issued" in sign_in(cast.owner).get(page("documents")).content.decode()


def test_the_owner_sees_issued_documents_only(cast: Cast, sign_in: SignIn) -> None:
    draft, shown = make_document(cast), make_document(cast, is_issued=True)
    client = sign_in(cast.owner)
    text = client.get(page("documents")).content.decode()
    assert page("document", shown.pk) in text
    assert page("document", draft.pk) not in text
    for name in ("document", "document-progress", "document-download"):
        assert client.get(page(name, draft.pk)).status_code == 404
    answer = client.get(page("document-download", shown.pk))
    assert answer.getvalue() == b"%PDF-1.7"
    assert "AB-0001-issue-1" in answer["Content-Disposition"]


def test_the_page_shows_the_hash_and_the_history(cast: Cast, sign_in: SignIn) -> None:
    first = make_document(cast, is_issued=True)
    second = make_document(cast, is_issued=True)
    text = sign_in(cast.owner).get(page("document", second.pk)).content.decode()
    assert "0" * 64 in text
    assert page("document-compare", second.pk, first.pk) in text


def test_progress_is_asked_for_while_it_runs_and_then_no_more(cast: Cast, sign_in: SignIn) -> None:
    document = make_document(
        cast, render_state="running", sections_done=3, sections_total=9, file="", sha256=""
    )
    client = sign_in(cast.office)
    running = client.get(page("document-progress", document.pk), headers={"HX-Request": "true"})
    assert "3 of 9 parts are made." in running.content.decode()
    assert "hx-get" in running.content.decode()
    Document.objects.filter(pk=document.pk).update(render_state="failed", render_error="Too big.")
    ended = client.get(page("document-progress", document.pk), headers={"HX-Request": "true"})
    assert ended["HX-Refresh"] == "true"
    assert "hx-get" not in ended.content.decode()
    whole = client.get(page("document", document.pk)).content.decode()
    assert "Too big." in whole
    assert page("document-retry", document.pk) in whole


def test_a_sheet_is_drafted_by_tag(cast: Cast, sign_in: SignIn) -> None:
    unit = make_unit(cast.project)
    client = sign_in(cast.balancer)
    data = {"kind": "unit-balance", "unit": unit.tag.lower(), "note": "before the visit"}
    answer = client.post(page("document-new"), data)
    document = Document.objects.get()
    assert answer.headers["Location"] == page("document", document.pk)
    assert (document.unit_id, document.note) == (unit.pk, "before the visit")


@pytest.mark.parametrize(
    ("unit", "words"), [("", "choose it"), ("TU-99", "no terminal unit TU-99")]
)
def test_what_was_typed_is_kept_and_the_error_says_why(
    cast: Cast, sign_in: SignIn, unit: str, words: str
) -> None:
    data = {"kind": "unit-balance", "unit": unit, "note": "kept words"}
    answer = sign_in(cast.office).post(page("document-new"), data)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert "kept words" in answer.content.decode()
    assert not Document.objects.exists()


def test_a_refused_issue_lists_what_is_missing(cast: Cast, sign_in: SignIn) -> None:
    document = make_document(cast)
    answer = sign_in(cast.office).post(page("document-issue", document.pk), {"note": "go"})
    assert answer.status_code == 422
    assert "Not tested: TU-2-1." in answer.content.decode()
    assert Document.objects.get().state == "draft"


def test_the_api_drafts_lists_and_compares(cast: Cast, api_as: ApiAs) -> None:
    unit = make_unit(cast.project)
    client = api_as(cast.office)
    root = "/api/v1/projects/alder/documents/"
    made = client.post(root, {"kind": "unit-balance", "unit": unit.pk}, format="json")
    assert made.status_code == 201
    assert client.get(root, {"kind": "point-list"}).json()["count"] == 0
    assert client.get(root, {"unit": unit.pk}).json()["count"] == 1
    assert client.get(root, {"sort": "colour"}).json()["fields"] == {
        "sort": f"Sort by one of: {', '.join(queries.DOCUMENT_SORTS)}."
    }
    first, second = make_document(cast, is_issued=True), make_document(cast, is_issued=True)
    found = client.get(f"{root}{second.pk}/compare/{first.pk}/").json()
    assert (found["old"]["issue"], found["new"]["issue"]) == (1, 2)
    assert found["differences"] == []


def test_the_list_goes_out_as_a_workbook_and_as_text(cast: Cast, sign_in: SignIn) -> None:
    make_document(cast, is_issued=True)
    client = sign_in(cast.owner)
    assert client.get(page("documents"), {"format": "xlsx"}).content.startswith(b"PK")
    assert b"AB-0001" in client.get(page("documents"), {"format": "csv"}).content


def test_the_unit_page_gets_a_fragment(cast: Cast, sign_in: SignIn) -> None:
    document = make_document(cast)
    assert document.unit_id is not None
    client = sign_in(cast.office)
    part = client.get(page("unit-documents", document.unit_id), headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert page("document", document.pk) in part.content.decode()


def test_the_panel_of_the_project_tells_what_there_is(cast: Cast, sign_in: SignIn) -> None:
    make_document(cast)
    shown = make_document(cast, is_issued=True)
    office = sign_in(cast.office).get(page("project-panel")).content.decode()
    assert "1 document</a>" in office
    assert page("document", shown.pk) in office
    assert office.count(">Draft the ") == 2
    owner = sign_in(cast.owner).get(page("project-panel")).content.decode()
    assert page("document", shown.pk) in owner
    assert "state=draft" not in owner
    assert "Draft the" not in owner
    # The balancer drafts sheets of units, not reports.
    assert "Draft the" not in sign_in(cast.balancer).get(page("project-panel")).content.decode()


def test_a_report_is_drafted_from_the_page_of_an_air_handler(cast: Cast, sign_in: SignIn) -> None:
    handler = make_air_handler(cast.project, "AH-7")
    make_unit(cast.project, air_handler=handler)
    client = sign_in(cast.office)
    own_page = reverse("inventory:air-handler", args=["alder", handler.pk])
    assert page("air-handler-documents", handler.pk) in client.get(own_page).content.decode()
    answer = client.post(
        page("document-new"), {"kind": "balance-report", "air_handler": handler.pk}
    )
    document = Document.objects.get()
    assert answer.headers["Location"] == page("document", document.pk)
    assert (document.kind, document.air_handler_id) == ("balance-report", handler.pk)
    panel = client.get(page("air-handler-documents", handler.pk)).content.decode()
    assert page("document", document.pk) in panel
    assert "waits to be made" in panel


def test_the_pages_of_documents_take_few_queries(
    cast: Cast, sign_in: SignIn, recorded_queries: Recorder
) -> None:
    """Three documents or one: the number stays the same."""
    for _ in range(3):
        shown = make_document(cast, is_issued=True)
    client = sign_in(cast.office)
    with recorded_queries("reports:documents"):
        client.get(page("documents"))
    with recorded_queries("reports:document"):
        client.get(page("document", shown.pk))
