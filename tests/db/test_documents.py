"""Documents in the database: what is issued stays, numbers follow each other."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.db import connection, connections, transaction
from django.db.utils import DatabaseError, IntegrityError

from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from reports import jobs, operations, queries
from reports.domain.dossier import Dossier
from reports.models import Document
from reports.queries import DocumentFilter, Subject
from reports.queries.evidence import proofs
from tests.builders import Cast, make_cast
from tests.builders.accounts import AT
from tests.builders.airflow import make_accepted_test
from tests.builders.inventory import make_unit, make_whole_unit
from tests.web.matrix.reports import make_document
from zones.inventory.models import TerminalUnit

ADDRESS = "https://ledger.example"
Recorder = Callable[[str], AbstractContextManager[None]]


def draft(cast: Cast, unit: TerminalUnit | None, role: str = "office", kind: str = "") -> int:
    """Draft a sheet of a unit, or a report of the whole project."""
    return operations.draft_document(
        cast.scope(role),
        kind=kind or ("unit-balance" if unit else "balance-report"),
        subject=Subject(unit_id=unit.pk if unit else None),
        address=ADDRESS,
        at=AT,
    )


def issue(cast: Cast, document_id: int, **values: Any) -> Document:
    """Issue as the office."""
    scope = cast.scope("office")
    operations.issue_document(scope, document_id=document_id, address=ADDRESS, at=AT, **values)
    return Document.objects.get(pk=document_id)


@pytest.fixture
def tested(cast: Cast) -> TerminalUnit:
    """A unit with an accepted test."""
    unit = make_whole_unit(cast.project)
    make_accepted_test(cast.scope("office"), cast.scope("balancer"), unit)
    return unit


def test_the_dossier_is_assembled_from_the_record(cast: Cast, tested: TerminalUnit) -> None:
    dossier = queries.assemble(
        cast.scope(), "unit-balance", Subject(unit_id=tested.pk), date="2026-11-25", address=ADDRESS
    )[0]
    (unit,) = dossier.units
    assert unit.state.word == "accepted"
    assert unit.address == f"{ADDRESS}/p/alder/units/{tested.pk}/"
    assert unit.test is not None
    assert unit.test.accepted_by == cast.office.full_name
    assert unit.test.technician == cast.balancer.full_name
    assert unit.test.instrument is not None
    assert unit.test.instrument.serial == "FH-1"
    assert [p.verdict.word for p in unit.test.points if p.setpoint == "cooling-max"]
    assert unit.test.working


def test_a_draft_has_neither_number_nor_issue(cast: Cast, tested: TerminalUnit) -> None:
    document = Document.objects.get(pk=draft(cast, tested))
    assert (document.state, document.number, document.issue) == ("draft", None, None)
    assert document.job_id is not None


def test_a_sheet_without_accepted_test_is_not_issued(cast: Cast) -> None:
    unit = make_whole_unit(cast.project)
    with pytest.raises(Conflict, match=r"Not tested: TU-2-1\."):
        issue(cast, draft(cast, unit), note="all the same")


def test_open_items_need_a_note(cast: Cast, tested: TerminalUnit) -> None:
    make_whole_unit(cast.project, "TU-2-2")
    document_id = draft(cast, None)
    with pytest.raises(InvalidInput, match=r"Not tested: TU-2-2\."):
        issue(cast, document_id)
    document = issue(cast, document_id, note="Issued with TU-2-2 open.")
    assert document.number == 1
    assert Dossier.from_json(document.dossier).frame.note == "Issued with TU-2-2 open."


def test_an_issue_takes_the_record_as_it_stands_then(cast: Cast, tested: TerminalUnit) -> None:
    document_id = draft(cast, tested)
    TerminalUnit.objects.filter(pk=tested.pk).update(location="moved to the north")
    frozen = Dossier.from_json(issue(cast, document_id, note="as agreed").dossier)
    assert frozen.units[0].location == "moved to the north"
    assert (frozen.frame.state, frozen.frame.number, frozen.frame.issue) == ("issued", "AB-0001", 1)


def test_issues_of_one_subject_are_counted(cast: Cast, tested: TerminalUnit) -> None:
    first = issue(cast, draft(cast, tested), note="first")
    report = issue(cast, draft(cast, None), note="report")
    second = issue(cast, draft(cast, tested), note="second")
    assert [d.number for d in (first, report, second)] == [1, 2, 3]
    assert [d.issue for d in (first, report, second)] == [1, 1, 2]
    row = queries.document(cast.scope(), second.pk)
    assert [d.issue for d in queries.history(cast.scope(), row)] == [2, 1]


def test_a_document_is_issued_once(cast: Cast, tested: TerminalUnit) -> None:
    document_id = draft(cast, tested)
    issue(cast, document_id, note="x")
    with pytest.raises(Conflict, match="issued already"):
        issue(cast, document_id, note="x")


@pytest.mark.parametrize("role", ["controls", "balancer", "owner", "installer"])
def test_only_the_office_issues(cast: Cast, role: str) -> None:
    document = make_document(cast)
    with pytest.raises(Forbidden):
        operations.issue_document(cast.scope(role), document_id=document.pk, address=ADDRESS, at=AT)


def test_the_balancer_drafts_sheets_and_nothing_else(cast: Cast, tested: TerminalUnit) -> None:
    assert draft(cast, tested, "balancer")
    with pytest.raises(Forbidden):
        draft(cast, None, "balancer")


def test_drafts_are_not_there_for_the_owner(cast: Cast) -> None:
    hidden, shown = make_document(cast), make_document(cast, is_issued=True)
    owner = cast.scope("owner")
    assert [row.id for row in queries.documents(owner, DocumentFilter())] == [shown.pk]
    with pytest.raises(NotFound):
        queries.document(owner, hidden.pk)
    with pytest.raises(NotFound):
        operations.record_download(owner, document_id=hidden.pk, at=AT)


def test_a_download_is_noted(cast: Cast) -> None:
    document = make_document(cast, is_issued=True)
    owner = cast.scope("owner")
    _, shown = operations.record_download(owner, document_id=document.pk, at=AT)
    assert shown == "AB-0001-issue-1-26-041-Air-balance-sheet-TU-2-1.pdf"
    assert queries.document(owner, document.pk).downloads == 1


CHANGES = [
    "dossier = '{}'",
    "number = 99",
    "issue = 99",
    "state = 'draft'",
    "issued_at = now()",
    "sha256 = 'x'",
    "file = 'x'",
    "title = 'x'",
    "note = 'x'",
]


@pytest.mark.parametrize("change", CHANGES)
def test_sql_cannot_change_an_issued_document(cast: Cast, change: str) -> None:
    document = make_document(cast, is_issued=True)
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"update reports_document set {change} where id = %s", [document.pk])


@pytest.mark.parametrize("change", CHANGES[:5])
def test_figures_stay_also_while_an_issue_is_rendered(cast: Cast, change: str) -> None:
    document = make_document(cast, is_issued=True, render_state="running")
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"update reports_document set {change} where id = %s", [document.pk])


def test_sql_cannot_delete_an_issued_document(cast: Cast) -> None:
    document = make_document(cast, is_issued=True)
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("delete from reports_document where id = %s", [document.pk])


def test_sql_cannot_give_a_number_twice(cast: Cast) -> None:
    make_document(cast, is_issued=True)
    with pytest.raises(IntegrityError, match="document_number_unique"), transaction.atomic():
        make_document(cast, is_issued=True, number=1)


@pytest.mark.django_db(transaction=True)
def test_numbers_follow_each_other_when_many_issue_at_once() -> None:
    cast = make_cast()
    unit = make_whole_unit(cast.project)
    make_accepted_test(cast.scope("office"), cast.scope("balancer"), unit)
    drafts = [draft(cast, unit) for _ in range(6)]
    start, problems = threading.Barrier(6), []

    def run(document_id: int) -> None:
        try:
            start.wait(10)
            issue(cast, document_id, note="at once")
        except Exception as error:  # noqa: BLE001  # a thread's error must reach the test
            problems.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(document_id,)) for document_id in drafts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []
    rows = Document.objects.filter(pk__in=drafts)
    assert sorted(row.number or 0 for row in rows) == [1, 2, 3, 4, 5, 6]
    assert sorted(row.issue or 0 for row in rows) == [1, 2, 3, 4, 5, 6]


def test_the_job_makes_the_file_and_its_hash(
    cast: Cast, tested: TerminalUnit, settings: Any, tmp_path: Any
) -> None:
    settings.VAR_DIR = tmp_path
    document_id = draft(cast, tested)
    jobs.render(document_id)
    row = queries.document(cast.scope(), document_id)
    assert (row.render_state, row.render_error) == ("done", "")
    assert (row.page_count or 0) >= 1
    assert len(row.sha256) == 64
    assert row.sections_done == row.sections_total == 2


def test_a_failure_is_recorded_in_plain_words(cast: Cast, settings: Any, tmp_path: Any) -> None:
    settings.VAR_DIR = tmp_path
    document = make_document(cast, render_state="waiting", dossier={"schema": 9})
    jobs.render(document.pk)
    row = queries.document(cast.scope(), document.pk)
    assert row.render_state == "failed"
    assert "schema 9" in row.render_error


def test_a_stopped_document_is_not_made_until_asked_again(cast: Cast) -> None:
    document = make_document(cast, render_state="waiting", created_at=AT - timedelta(days=1))
    scope = cast.scope("office")
    operations.cancel_rendering(scope, document_id=document.pk)
    assert operations.begin_rendering(document.pk) is None
    assert not operations.note_progress(document.pk, 1, 2)
    operations.retry_rendering(scope, document_id=document.pk)
    assert operations.begin_rendering(document.pk) is not None
    assert operations.note_progress(document.pk, 1, 2)


def test_a_dossier_takes_as_many_queries_for_four_units_as_for_two(
    cast: Cast, tested: TerminalUnit, recorded_queries: Recorder
) -> None:
    scope = cast.scope()

    def assemble() -> None:
        found = queries.assemble(
            scope, "balance-report", Subject(), date="2026-11-25", address=ADDRESS
        )
        assert any(unit.test for unit in found[0].units)

    make_whole_unit(cast.project, "TU-2-2")
    with recorded_queries("reports: dossier"):
        assemble()
    for tag in ("TU-2-3", "TU-2-4"):
        unit = make_whole_unit(cast.project, tag)
        make_accepted_test(cast.scope("office"), cast.scope("balancer"), unit)
    with recorded_queries("reports: dossier"):
        assemble()


def test_a_file_that_comes_after_the_stop_is_thrown_away(cast: Cast) -> None:
    document = make_document(cast, render_state="running", file="", sha256="")
    operations.cancel_rendering(cast.scope(), document_id=document.pk)
    was_wanted = operations.finish_rendering(
        document.pk, content=b"%PDF-1.7 late", sha256="a" * 64, pages=1, year=2031
    )
    assert not was_wanted
    document.refresh_from_db()
    assert (document.render_state, str(document.file), document.sha256) == ("cancelled", "", "")
    assert default_storage.listdir("documents/2031")[1] == []


@pytest.mark.parametrize(("days", "holds"), [(1, True), (-1, False)])
def test_an_issued_document_proves_its_step_until_the_next_test(
    cast: Cast, tested: TerminalUnit, days: int, *, holds: bool
) -> None:
    office = cast.scope("office")
    make_unit(cast.project, "TU-2-99")
    document_id = draft(cast, tested)
    assert proofs(office, [tested.pk]) == []
    operations.issue_document(
        office,
        document_id=document_id,
        address=ADDRESS,
        at=AT + timedelta(days=days),
        note="Complete.",
    )
    (proof,) = proofs(office, list(TerminalUnit.objects.values_list("id", flat=True)))
    assert (proof.step, proof.unit_id, proof.holds) == ("documents-issued", tested.pk, holds)
    assert ("Another flow test" in proof.text) is not holds
