"""Documents of the work in the database: labels, punch lists, checkout sheets, plans."""

from __future__ import annotations

import pytest

from projectsite.core.errors import Conflict, InvalidInput
from projectsite.core.units import Entered
from reports import operations, queries
from reports.domain.dossier import Dossier
from reports.models import Document
from reports.queries import Subject
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_unit
from tests.builders.work import make_catalogue, mark
from tests.builders.work_plans import make_plan
from tests.builders.work_punch import make_punch_item
from zones.work.operations import checkout_lists, checkouts
from zones.work.queries.checkouts import sheet

ADDRESS = "https://ledger.example"


def test_labels_are_drafted_for_a_floor_and_never_issued(cast: Cast) -> None:
    office = cast.scope("office")
    make_unit(cast.project, "TU-2-1", floor="2")
    make_unit(cast.project, "TU-3-1", floor="3")
    subject = Subject(floor="2", label_sheet="a4-21", labels_used=2)
    document_id = operations.draft_document(
        office, kind="label-sheet", subject=subject, address=ADDRESS, at=AT
    )
    stored = Document.objects.get(pk=document_id)
    assert stored.options == {"floor": "2", "label_sheet": "a4-21", "labels_used": 2}
    units = Dossier.from_json(stored.dossier).units
    assert [unit.tag for unit in units] == ["TU-2-1"]
    with pytest.raises(Conflict, match="printed from a draft"):
        operations.issue_document(office, document_id=document_id, address=ADDRESS, at=AT)


@pytest.mark.parametrize(
    ("kind", "subject", "field"),
    [
        ("label-sheet", Subject(), "label_sheet"),
        ("label-sheet", Subject(label_sheet="a4-21", labels_used=21), "labels_used"),
        ("point-list", Subject(label_sheet="a4-21"), "label_sheet"),
        ("point-list", Subject(trade="controls"), "trade"),
    ],
)
def test_options_that_do_not_suit_the_kind_are_refused(
    cast: Cast, kind: str, subject: Subject, field: str
) -> None:
    make_unit(cast.project)
    with pytest.raises(InvalidInput) as refused:
        operations.draft_document(
            cast.scope("office"), kind=kind, subject=subject, address=ADDRESS, at=AT
        )
    assert field in refused.value.fields


def test_a_punch_list_is_told_by_trade(cast: Cast) -> None:
    office = cast.scope("office")
    unit = make_unit(cast.project, "TU-2-1", floor="2")
    make_punch_item(office, unit)
    make_punch_item(office, unit, trade="controls", text="Label the box.")
    whole = queries.assemble(office, "punch-list", Subject(), date="2026-11-25", address=ADDRESS)[0]
    assert [section.title for section in whole.sections] == [
        "Owed by Controls",
        "Owed by Mechanical",
    ]
    own = queries.assemble(
        office, "punch-list", Subject(trade="controls"), date="2026-11-25", address=ADDRESS
    )[0]
    (section,) = own.sections
    assert [cell.text for cell in section.rows[0]][2:6] == ["TU-2-1", "2", "", "Label the box."]
    assert own.frame.scope_label == "whole project, controls"


def test_checkout_sheets_say_what_was_expected_and_seen(cast: Cast) -> None:
    office = cast.scope("office")
    unit = make_unit(cast.project, "TU-2-1")
    checkout_lists.load_starter(office)
    checkout_id = checkouts.begin(office, unit_id=unit.pk, at=AT)
    point = next(p for p in sheet(office, checkout_id).points if p.key == "supply-voltage")
    seen = checkouts.Observation(observed=Entered(19.1, "19.1 V"))
    checkouts.observe(office, point_id=point.id, version=point.version, seen=seen, at=AT)
    dossier = queries.assemble(
        office, "checkout-sheets", Subject(), date="2026-11-25", address=ADDRESS
    )[0]
    (section,) = dossier.sections
    row = next(row for row in section.rows if row[0].text.startswith("24 V"))
    assert [cell.text for cell in row[1:3]] == ["20.4 V to 28.8 V", "19.1 V"]
    assert (row[4].mark, row[4].text) == ("hold", "fails")
    assert "punch item 1 (open)" in row[5].text
    assert "qualified people" in section.caution


def test_a_progress_report_holds_what_the_page_shows(cast: Cast) -> None:
    office = cast.scope("office")
    unit = make_unit(cast.project, "TU-2-1", floor="2")
    steps = make_catalogue(cast.project)
    mark(unit, steps["box-hung"], cast.office)
    dossier = queries.assemble(
        office, "progress-report", Subject(floor="2"), date="2026-11-25", address=ADDRESS
    )[0]
    titles = [section.title for section in dossier.sections]
    assert titles[:3] == ["How the work stands", "By trade", "By floor"]
    assert dossier.sections[0].paragraphs[0].startswith("1 of ")
    assert "<svg" in dossier.sections[1].picture
    assert Dossier.from_json(dossier.to_json()) == dossier


def test_a_floor_plan_holds_its_picture_and_its_units(cast: Cast) -> None:
    office = cast.scope("office")
    make_unit(cast.project, "TU-2-1", floor="2", position_x_m=2.0, position_y_m=1.0)
    with pytest.raises(InvalidInput, match="Floor 2 has no plan"):
        queries.assemble(
            office, "floor-plan", Subject(floor="2"), date="2026-11-25", address=ADDRESS
        )
    make_plan(cast.project, cast.office)
    dossier = queries.assemble(
        office, "floor-plan", Subject(floor="2", view="punch"), date="2026-11-25", address=ADDRESS
    )[0]
    picture, table = dossier.sections
    assert "data:image/png;base64," in picture.picture
    assert [row[0].text for row in table.rows] == ["TU-2-1"]
    with pytest.raises(InvalidInput, match="does not show colour"):
        queries.assemble(
            office,
            "floor-plan",
            Subject(floor="2", view="colour"),
            date="2026-11-25",
            address=ADDRESS,
        )
