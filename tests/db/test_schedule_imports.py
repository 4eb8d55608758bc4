"""Schedules received, previewed and applied: exact outcomes of the sample's files."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, connections, transaction
from django.db.utils import IntegrityError

from projectsite.core import jobs, reopens
from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.scope import Scope
from tests.builders import Cast, make_cast
from tests.builders.accounts import AT
from tests.builders.imports import (
    SCHEDULES,
    apply,
    fixture,
    outcomes,
    preview,
    proposed,
    receive,
    refusals,
    schedule,
    starter_library,
)
from tests.builders.inventory import CFM, make_unit
from tests.recorded_queries import Recorder
from zones.inventory.imports import work
from zones.inventory.models import (
    AirHandler,
    BoxModel,
    ColumnMemory,
    Outlet,
    ScheduleImport,
    ScheduleRow,
    TerminalUnit,
    Zone,
)
from zones.inventory.operations import imports as operations
from zones.inventory.operations.applying import apply_import
from zones.inventory.queries import imports as queries
from zones.inventory.queries.imports import RowFilter

ADDENDUM = {
    "VAV-1-04": (1180, 1240),
    "VAV-1-10": (540, 600),
    "VAV-2-01": (640, 780),
    "VAV-2-02": (620, 700),
    "VAV-2-07": (500, 540),
    "VAV-2-14": (980, 1060),
    "VAV-3-02": (530, 580),
    "VAV-3-15": (1400, 1300),
}


@pytest.fixture
def office(cast: Cast) -> Scope:
    scope = cast.scope()
    starter_library(scope)
    return scope


def unit(tag: str) -> TerminalUnit:
    return TerminalUnit.objects.get(tag=tag)


def events(model: Any = TerminalUnit) -> int:
    return int(model.pgh_event_model.objects.count())


# -- the sample's files ---------------------------------------------------------------------


def test_inch_pound_schedule(office: Scope) -> None:
    found = fixture(office, "terminal-units-ip.xlsx")
    assert refusals(office, found) == {
        (11, "I11"): "The cooling minimum is above the cooling maximum.",
        (18, "K18"): "Can't be negative.",
        (23, "I23"): "“N/A” is not a number.",
        (30, "A30"): "The tag VAV-2-12 is also in row 31. Which one is right?",
        (31, "A31"): "The tag VAV-2-12 is also in row 30. Which one is right?",
        (43, "G43"): "Single duct with hot-water coil has no inlet of 9 in. "
        "It has: 4 in, 5 in, 6 in, 8 in, 10 in, 12 in, 14 in, 16 in.",
    }
    rows = outcomes(office, found)
    assert {n for n, outcome in rows.items() if outcome == "new"} == set(range(3, 52)) - {
        11, 18, 23, 30, 31, 43,
    }  # fmt: skip
    assert TerminalUnit.objects.count() == 0
    done = apply(office, found)
    assert (done.revision, done.added, done.changed) == (0, 43, 0)
    assert done.air_handlers == ("AHU-1", "AHU-2")
    first = unit("VAV-1-01")
    assert first.cooling_max_m3_s == pytest.approx(1275 * CFM)
    assert first.entered["cooling_max_m3_s"] == "1275 cfm"
    assert first.entering_water_degc == pytest.approx(60.0)
    assert (first.inlet and first.inlet.label, first.heat, first.fan) == (
        "12 in",
        "hot-water",
        "none",
    )
    assert (first.zone and first.zone.tag, first.floor, first.location) == (
        "Z-101",
        "1",
        "Entrance hall",
    )
    assert (first.source_row, first.revision, first.source_import_id) == (3, 0, found.id)


def test_addendum(office: Scope) -> None:
    apply(office, fixture(office, "terminal-units-ip.xlsx"))
    found = fixture(office, "addendum-1.xlsx")
    assert {k: found.counts[k] for k in queries.OUTCOMES} == {
        "new": 6,
        "changed": 8,
        "unchanged": 35,
        "refused": 0,
        "ignored": 0,
    }
    changed = queries.list_rows(office, found.id, RowFilter("changed"))
    told = {
        r["tag"]: tuple(round(v / CFM) for v in r["changes"]["cooling_max_m3_s"]) for r in changed
    }
    assert told == ADDENDUM
    assert all(set(r["changes"]) == {"cooling_max_m3_s", "note"} for r in changed)
    before = events()
    done = apply(office, found, is_whole=True)
    assert (done.revision, done.added, done.changed) == (1, 6, 8)
    assert events() == before + 14
    assert (unit("VAV-2-01").revision, unit("VAV-2-01").version) == (1, 2)
    assert unit("VAV-2-01").entered["cooling_max_m3_s"] == "780 cfm"
    assert unit("VAV-2-03").revision == 0
    lines = queries.compare_revisions(office, 0, 1).lines
    assert {each.tag for each in lines if each.what == "changed"} == set(ADDENDUM)
    added = {each.tag: each.note for each in lines if each.what == "added"}
    assert added["VAV-3-17"] == ""
    assert added["VAV-2-12"] == "refused in the first"
    assert not [each for each in lines if each.what == "missing"]


def test_si_schedule(office: Scope) -> None:
    found = fixture(office, "terminal-units-si.xlsx")
    assert outcomes(office, found) == dict.fromkeys(range(4, 24), "new")
    apply(office, found, is_whole=True)
    assert unit("SA-03").cooling_max_m3_s == pytest.approx(0.405)
    assert unit("SA-07").cooling_max_m3_s == pytest.approx(0.2525)
    inlet = unit("SA-01").inlet
    assert inlet is not None
    assert inlet.label == "10 in"  # 250 mm


def test_messy_schedule(office: Scope) -> None:
    model = BoxModel.objects.get(name="Single duct with electric coil")
    found = fixture(office, "terminal-units-messy.xlsx", box_model_id=model.pk)
    assert (found.sheet, found.heading_row, found.heading_end_row, found.units_row) == (
        "M-701", 5, 6, 7,
    )  # fmt: skip
    rows = outcomes(office, found)
    assert {n for n, outcome in rows.items() if outcome == "ignored"} == {8, 16, 17, 19, 28, 29, 30}
    assert {n for n, outcome in rows.items() if outcome == "new"} == {9, 10, 13, 23, 26}
    messages = refusals(office, found)
    assert {cell for _, cell in messages} == {
        "A11", "A14", "A15", "F20", "E21", "F22", "H24", "A25",
    }  # fmt: skip
    assert "never calculated" in messages[20, "F20"]
    assert "#REF!" in messages[22, "F22"]
    assert "see note 2" in messages[24, "H24"]
    assert any("formulas" in note for note in found.notes)
    apply(office, found)
    assert unit("WS-04").cooling_max_m3_s == pytest.approx(0.425)
    assert unit("WS-01").cooling_max_m3_s == pytest.approx(1250 * CFM)
    assert unit("WS-01").cooling_min_m3_s == pytest.approx(375 * CFM)
    assert (unit("WS-09").heater_voltage_v, unit("WS-09").heater_phases) == (480.0, 3)
    assert (unit("WS-09").heater_power_w, unit("WS-09").heat) == (9000.0, "electric")


def test_outlet_list(office: Scope) -> None:
    refused = fixture(office, "outlets-ip.csv", target="outlets")
    assert refused.counts["refused"] == 158
    assert "not in this project" in refusals(office, refused)[2, "A2"]
    apply(office, fixture(office, "terminal-units-ip.xlsx"))
    apply(office, fixture(office, "addendum-1.xlsx"))
    found = fixture(office, "outlets-ip.csv", target="outlets")
    done = apply(office, found, is_whole=True)
    assert (done.revision, done.added) == (None, 158)
    assert Outlet.objects.filter(unit__tag="VAV-1-01", kind="slot").count() == 6
    again = fixture(office, "outlets-ip.csv", target="outlets")
    assert again.counts["unchanged"] == 158


def test_an_outlet_that_changed(cast: Cast, office: Scope) -> None:
    make_unit(cast.project, "TU-1")
    lines = b"Unit tag,Outlet tag,Design flow (cfm)\nTU-1,A,200\n"
    apply(office, preview(office, lines, target="outlets", name="o.csv"))
    found = preview(office, lines.replace(b"200", b"220"), target="outlets", name="o.csv")
    assert apply(office, found).changed == 1
    outlet = Outlet.objects.get()
    assert outlet.design_m3_s == pytest.approx(220 * CFM)
    assert outlet.version == 2


# -- again, and in the meantime -------------------------------------------------------------


def test_the_same_file_again_writes_nothing(office: Scope) -> None:
    first = fixture(office, "addendum-1.xlsx")
    apply(office, first)
    before = events(), events(Zone), events(Outlet)
    again = fixture(office, "addendum-1.xlsx")
    assert again.counts["unchanged"] == 49
    assert [f.id for f in queries.same_files(office, again.sha256, besides=again.id)] == [first.id]
    with pytest.raises(InvalidInput, match="nothing to apply"):
        apply(office, again)
    assert (events(), events(Zone), events(Outlet)) == before


def test_the_file_is_kept_whole(office: Scope) -> None:
    found = fixture(office, "addendum-1.xlsx")
    name, content = queries.import_file(office, found.id)
    assert name == "addendum-1.xlsx"
    assert content == (SCHEDULES / "addendum-1.xlsx").read_bytes()


def test_whole_or_nothing(office: Scope) -> None:
    found = fixture(office, "terminal-units-ip.xlsx")
    with pytest.raises(InvalidInput, match="6 rows are refused, so nothing was written"):
        apply(office, found, is_whole=True)
    assert TerminalUnit.objects.count() == 0
    assert AirHandler.objects.count() == 0


def test_a_changed_record_is_previewed_again_and_said(cast: Cast, office: Scope) -> None:
    row = ["TU-1", "AH-1", 350, 100]
    found = preview(office, schedule(row))
    make_unit(cast.project, "TU-1")
    with pytest.raises(Conflict, match="preview was made again"):
        apply(office, found)
    now = queries.import_facts(office, found.id)
    assert (now.counts["new"], now.counts["changed"]) == (0, 1)
    assert apply(office, now).changed == 1


def test_a_preview_that_someone_else_made_anew_is_not_applied_unseen(office: Scope) -> None:
    found = preview(office, schedule(["TU-1", "AH-1", 350, 100]))
    work.start(office, found.id, task="preview", words="Reading")
    with pytest.raises(Conflict, match="changed in the meantime"):
        apply(office, found)


def test_units_that_the_file_does_not_name_are_listed_and_left_alone(
    cast: Cast, office: Scope
) -> None:
    other = make_unit(cast.project, "TU-9")
    found = preview(office, schedule(["TU-1", "AH-1", 350, 100]))
    assert queries.missing_units(office, found.id) == [(other.pk, "TU-9")]
    apply(office, found)
    assert unit("TU-9").version == 1


def test_a_tag_in_small_letters_is_the_same_unit(cast: Cast, office: Scope) -> None:
    make_unit(cast.project, "TU-1", cooling_max_m3_s=350 * CFM, cooling_min_m3_s=100 * CFM)
    found = preview(office, schedule(["tu-1", None, 350, 100]))
    assert found.counts["unchanged"] == 1


def test_only_what_the_file_names_changes(cast: Cast, office: Scope) -> None:
    make_unit(
        cast.project, "TU-1", note="keep", heat="electric", entered={"cooling_max_m3_s": "700 cfm"}
    )
    apply(office, preview(office, schedule(["TU-1", "AH-1", 650, 180])))
    now = unit("TU-1")
    assert (now.note, now.heat) == ("keep", "electric")
    assert now.entered == {"cooling_max_m3_s": "650 cfm"}
    assert now.cooling_min_m3_s == 180 * CFM


def test_archived_units_are_not_revived(cast: Cast, office: Scope) -> None:
    make_unit(cast.project, "TU-1", archived_at=AT)
    found = preview(office, schedule(["TU-1", "AH-1", 350, 100]))
    assert "archived" in refusals(office, found)[3, "A3"]


def test_what_a_change_reopens_is_told(cast: Cast, office: Scope) -> None:
    make_unit(cast.project, "TU-1")

    def provider(scope: Scope, changes: reopens.Changes) -> list[reopens.Reopened]:
        return [
            reopens.Reopened(
                key, f"Flow test 2 was made for {round(c['cooling_max_m3_s'][0] / CFM)} cfm."
            )
            for key, c in changes.items()
            if "cooling_max_m3_s" in c
        ]

    reopens.register("test", provider)
    try:
        found = preview(office, schedule(["TU-1", "AH-1", 650, 180]))
    finally:
        reopens.unregister("test")
    rows = queries.list_rows(office, found.id, RowFilter(reopening=True))
    assert rows[0]["reopens"] == ["Flow test 2 was made for 700 cfm."]
    assert found.counts["reopening"] == 1


# -- mapping --------------------------------------------------------------------------------


def test_a_file_without_a_tag_column_is_refused_plainly(office: Scope) -> None:
    with pytest.raises(InvalidInput) as caught:
        preview(office, schedule(["TU-1", "AH-1", 350, 100]), A=("", ""))
    assert "Say which column holds the tag" in caught.value.message


def test_two_columns_for_one_field_are_refused(office: Scope) -> None:
    with pytest.raises(InvalidInput) as caught:
        preview(office, schedule(["TU-1", "AH-1", 350, 100]), B=("tag", ""))
    assert "already taken" in caught.value.fields["field_1"]


def test_a_size_without_a_box_model_asks_for_one(office: Scope) -> None:
    head = (["Tag", "Inlet"], [None, "in"])
    with pytest.raises(InvalidInput) as caught:
        preview(office, schedule(["TU-1", 8], head=head))
    assert "box_model" in caught.value.fields


def test_columns_are_remembered(office: Scope) -> None:
    head = (["Tag", "Where"], [None, None])
    preview(office, schedule(["TU-1", "Hall"], head=head), B=("location", ""))
    found = receive(office, schedule(["TU-2", "Stair"], head=head))
    assert [c["field"] for c in found.proposal["columns"]] == ["tag", "location"]
    assert ColumnMemory.objects.get(heading="where").field == "location"


# -- large files, jobs ----------------------------------------------------------------------


def test_a_large_file_is_read_by_a_job(office: Scope, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(work, "DIRECT_ROWS", 2)
    found = receive(office, schedule(["TU-1", "AH-1", 350, 100], ["TU-2", "AH-1", 350, 100]))
    assert found.is_working
    assert jobs.waiting() == 1
    with pytest.raises(Conflict, match="no finished preview"):
        apply(office, found)
    work.work(office, found.id, found.work_key)
    done = queries.import_facts(office, found.id)
    assert not done.is_working
    assert done.proposal["columns"]


def test_a_stopped_job_changes_nothing(office: Scope, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(work, "DIRECT_ROWS", 0)
    found = receive(office, schedule(["TU-1", "AH-1", 350, 100]))
    operations.stop_work(office, import_id=found.id)
    work.work(office, found.id, found.work_key)
    with pytest.raises(operations.Stopped):
        operations.report_progress(
            import_id=found.id, work_key=found.work_key, done=1, total=5, words=""
        )
    now = queries.import_facts(office, found.id)
    assert (now.work_state, now.proposal) == ("failed", {})
    assert "stopped" in now.work_text


def test_a_job_that_fails_says_why(office: Scope, monkeypatch: pytest.MonkeyPatch) -> None:
    found = preview(office, schedule(["TU-1", "AH-1", 350, 100]))
    ScheduleImport.objects.filter(id=found.id).update(sheet="Gone")
    key = operations.begin_work(office, import_id=found.id, words="preview: x", as_job=False)
    with pytest.raises(InvalidInput):
        work.work(office, found.id, key)
    now = queries.import_facts(office, found.id)
    assert now.work_state == "failed"
    assert "Gone" in now.work_text


# -- people and projects --------------------------------------------------------------------


def test_only_the_office_imports(cast: Cast) -> None:
    with pytest.raises(Forbidden):
        receive(cast.scope("controls"), schedule(["TU-1", "AH-1", 350, 100]))
    assert ScheduleImport.objects.count() == 0


def test_imports_of_another_project_do_not_exist(cast: Cast, office: Scope) -> None:
    found = preview(office, schedule(["TU-1", "AH-1", 350, 100]))
    stranger = cast.stranger_scope()
    with pytest.raises(NotFound):
        queries.import_facts(stranger, found.id)
    with pytest.raises(NotFound):
        apply_import(stranger, import_id=found.id, version=found.version, is_whole=False, at=AT)
    assert queries.list_rows(stranger, found.id, RowFilter()) == []


def test_a_dropped_import_is_not_applied(office: Scope) -> None:
    found = preview(office, schedule(["TU-1", "AH-1", 350, 100]))
    operations.drop_import(office, import_id=found.id, version=found.version)
    with pytest.raises(Conflict):
        apply(office, queries.import_facts(office, found.id))
    with pytest.raises(Conflict, match="dropped already"):
        operations.drop_import(office, import_id=found.id, version=found.version + 1)


# -- the database refuses -------------------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        "target = 'ducts'",
        "work_state = 'asleep'",
        "state = 'applied'",
        "revision = 3",
        "state = 'applied', applied_at = now(), target = 'units'",
        "state = 'applied', applied_at = now(), target = 'outlets', revision = 1",
    ],
)
def test_constraints_of_imports(office: Scope, change: str) -> None:
    found = receive(office, schedule(["TU-1", "AH-1", 350, 100]))
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE inventory_scheduleimport SET {change} WHERE id = %s", [found.id])


def test_rows_are_counted_once(office: Scope) -> None:
    found = preview(office, schedule(["TU-1", "AH-1", 350, 100]))
    row = ScheduleRow.objects.get(schedule_import_id=found.id)
    with pytest.raises(IntegrityError), transaction.atomic():
        ScheduleRow.objects.create(
            project_id=row.project_id,
            schedule_import_id=found.id,
            row_number=row.row_number,
            outcome="new",
        )


def test_history_keeps_who_and_what_by_statement(cast: Cast) -> None:
    """One statement that changes two rows and leaves a third as it is makes two events."""
    for tag, note in (("TU-1", "a"), ("TU-2", "a"), ("TU-3", "b")):
        make_unit(cast.project, tag, note=note)
    before = events()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE inventory_terminalunit SET note = 'b'")
    assert events() == before + 2


# -- queries --------------------------------------------------------------------------------


def test_query_counts(office: Scope, recorded_queries: Recorder) -> None:
    first = fixture(office, "terminal-units-ip.xlsx")
    apply(office, first)
    found = fixture(office, "addendum-1.xlsx")
    with recorded_queries("import: apply"):
        apply_import(office, import_id=found.id, version=found.version, is_whole=True, at=AT)
    with recorded_queries("import: compare two revisions"):
        queries.compare_revisions(office, 0, 1)
    with recorded_queries("import: rows of one"):
        queries.list_rows(office, found.id, RowFilter(), limit=100)
    later = fixture(office, "addendum-1.xlsx")
    with recorded_queries("import: preview of 49 rows"):
        work.start(office, later.id, task="preview", words="Reading")


@pytest.mark.django_db(transaction=True)
def test_two_appliers_at_once_write_once() -> None:
    cast = make_cast()
    scope = cast.scope()
    starter_library(scope)
    one = preview(scope, schedule(["TU-1", "AH-1", 350, 100]))
    two = preview(scope, schedule(["TU-1", "AH-1", 360, 100]))
    results: list[str] = []
    gate = threading.Barrier(2)

    def run(import_id: int, version: int) -> None:
        gate.wait()
        try:
            apply_import(scope, import_id=import_id, version=version, is_whole=True, at=AT)
            results.append("applied")
        except Conflict as error:
            results.append(error.code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(f.id, f.version)) for f in (one, two)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(results) == ["applied", "outdated"]
    assert TerminalUnit.objects.count() == 1
    assert events() == 1


def test_imports_are_listed_newest_first(office: Scope) -> None:
    content = schedule(["TU-1", "AH-1", 350, 100])
    ids = [
        work.receive(
            office, name="s.xlsx", content=content, target="units", at=AT + timedelta(hours=hour)
        )
        for hour in (1, 2)
    ]
    assert [found.id for found in queries.list_imports(office)] == ids[::-1]
    assert len(proposed(queries.import_facts(office, ids[0]))) == 4
