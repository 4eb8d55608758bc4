"""Punch items in the database: what it refuses, and the way of an item."""

from __future__ import annotations

import threading
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, connections, transaction

from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from tests.builders import Cast, make_cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_outlet, make_unit
from tests.builders.work_punch import make_punch_item
from zones.work.models import PunchEntry, PunchItem
from zones.work.operations import punch
from zones.work.queries import punch_told
from zones.work.queries.punch import PunchFilter, punch_detail, punch_rows

ITEM, ENTRY = "update work_punchitem set", "update work_punchentry set"
ENTER = (
    "insert into work_punchentry (project_id, item_id, kind, text, by_id, at) "
    "select project_id, id, '{}', '{}', opened_by_id, now() from work_punchitem"
)


def now(statement: str) -> None:
    """Run a statement and look at deferred constraints at once."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
        cursor.execute("set constraints all immediate")


@pytest.mark.parametrize(
    ("statement", "constraint"),
    [
        (f"{ITEM} trade = 'nobody'", "punchitem_words_known"),
        (f"{ITEM} severity = 'grave'", "punchitem_words_known"),
        (f"{ITEM} text = ''", "punchitem_text_given"),
        (f"{ITEM} unit_id = null", "punchitem_one_subject"),
        (f"{ITEM} trunk_id = 4", "punchitem_one_subject"),
        (f"{ITEM} state = 'answered'", "punchitem_state_whole"),
        (f"{ITEM} number = 1", "punchitem_number_unique"),
        (f"{ITEM} client_key = (select min(client_key::text)::uuid from work_punchitem)", "key"),
        (f"{ITEM} project_id = (select max(id) from accounts_project)", "same_project"),
        (f"{ENTRY} text = 'later'", "Cannot update rows"),
        (ENTER.format("answered", ""), "punchentry_text_given"),
        (ENTER.format("lost", "x"), "punchentry_kind_known"),
    ],
)
def test_sql_cannot_break_the_list(cast: Cast, statement: str, constraint: str) -> None:
    unit = make_unit(cast.project)
    for _ in range(2):
        make_punch_item(cast.scope("controls"), unit)
    with pytest.raises(DatabaseError, match=constraint):
        now(statement)


def test_sql_cannot_jump_from_verified_to_answered(cast: Cast) -> None:
    item = make_punch_item(cast.scope("controls"), make_unit(cast.project))
    punch.verify_item(cast.scope(), item_id=item.pk, version=1, text="", at=AT)
    with pytest.raises(DatabaseError, match="Invalid transition"):
        now(f"{ITEM} state = 'answered', answered_at = now(), verified_at = null")


def test_an_item_goes_its_way(cast: Cast) -> None:
    controls, installer = cast.scope("controls"), cast.scope("installer")
    item = make_punch_item(controls, make_unit(cast.project))
    assert item.number == 1
    with pytest.raises(InvalidInput, match="Say what was done"):
        punch.answer_item(installer, item_id=item.pk, version=1, text=" ", at=AT)
    version = punch.answer_item(installer, item_id=item.pk, version=1, text="Opened it.", at=AT)
    with pytest.raises(Conflict, match="changed since you opened it"):
        punch.verify_item(controls, item_id=item.pk, version=1, text="", at=AT)
    with pytest.raises(Forbidden):
        punch.verify_item(cast.scope("owner"), item_id=item.pk, version=version, text="", at=AT)
    version = punch.reopen_item(
        controls, item_id=item.pk, version=version, text="Still shut.", at=AT
    )
    version = punch.answer_item(
        installer, item_id=item.pk, version=version, text="Now it is open.", at=AT
    )
    punch.verify_item(controls, item_id=item.pk, version=version, text="Seen.", at=AT)
    detail = punch_detail(controls, item.pk)
    assert [step.kind for step in detail.story] == [
        "opened",
        "answered",
        "reopened",
        "answered",
        "verified",
    ]
    assert (detail.row.state, detail.row.last_text) == ("verified", "Seen.")


def test_sending_again_opens_nothing_new(cast: Cast) -> None:
    unit, key = make_unit(cast.project), uuid4()
    first = make_punch_item(cast.scope("owner"), unit, client_key=key)
    again = make_punch_item(cast.scope("owner"), unit, client_key=key)
    assert first.pk == again.pk
    assert PunchEntry.objects.filter(item=first).count() == 1


def test_a_change_tells_what_and_needs_the_version_seen(cast: Cast) -> None:
    office = cast.scope("office")
    item = make_punch_item(office, make_unit(cast.project))
    values = {"trade": "electrical", "person_id": cast.controls.pk}
    assert punch.change_item(office, item_id=item.pk, version=1, values=values, at=AT) == 2
    entry = PunchEntry.objects.get(item=item, kind="changed")
    assert entry.text == "changed: trade, person"
    assert punch.change_item(office, item_id=item.pk, version=2, values=values, at=AT) == 2
    stranger = {"person_id": cast.stranger.pk}
    with pytest.raises(InvalidInput, match="works on this project"):
        punch.change_item(office, item_id=item.pk, version=2, values=stranger, at=AT)


def test_things_of_other_projects_are_not_there(cast: Cast) -> None:
    item = make_punch_item(cast.scope("office"), make_unit(cast.project))
    with pytest.raises(NotFound):
        punch.answer_item(cast.stranger_scope(), item_id=item.pk, version=1, text="x", at=AT)
    with pytest.raises(NotFound):
        make_punch_item(cast.stranger_scope(), make_unit(cast.project, "TU-9-9"))


def test_the_proof_follows_the_items(cast: Cast) -> None:
    office, unit = cast.scope("office"), make_unit(cast.project)
    assert punch_told.proofs(office, [unit.pk]) == []
    outlet = make_outlet(unit)
    first = make_punch_item(office, unit)
    second = make_punch_item(office, unit, kind="outlet", subject_id=outlet.pk)
    punch.verify_item(office, item_id=first.pk, version=1, text="", at=AT)
    (proof,) = punch_told.proofs(office, [unit.pk])
    assert (proof.holds, proof.text) == (False, "1 of 2 punch items not verified.")
    punch.verify_item(office, item_id=second.pk, version=1, text="", at=AT + timedelta(days=1))
    (proof,) = punch_told.proofs(office, [unit.pk])
    assert (proof.holds, proof.at) == (True, AT + timedelta(days=1))


def test_each_person_is_told_what_waits(cast: Cast) -> None:
    unit = make_unit(cast.project)
    item = make_punch_item(cast.scope("controls"), unit)
    told = {
        role: [(w.text, w.count) for w in punch_told.waiting(cast.scope(role).person) if w.count]
        for role in ("installer", "controls", "balancer")
    }
    assert told == {"installer": [("punch item to answer", 1)], "controls": [], "balancer": []}
    punch.answer_item(cast.scope("installer"), item_id=item.pk, version=1, text="Done.", at=AT)
    waiting = [w for w in punch_told.waiting(cast.scope("controls").person) if w.count]
    assert [w.text for w in waiting] == ["answered punch item to verify"]


def test_lists_are_narrowed_and_ordered(cast: Cast) -> None:
    office = cast.scope("office")
    on_two = make_unit(cast.project, "TU-2-1", floor="2")
    on_three = make_unit(cast.project, "TU-3-1", floor="3")
    make_punch_item(office, on_two, severity="note")
    outlet = make_outlet(on_three)
    make_punch_item(office, on_three, kind="outlet", subject_id=outlet.pk, trade="controls")

    def numbers(sort: str = "number", **wanted: object) -> list[int]:
        rows = punch_rows(office, PunchFilter(**wanted), sort=sort)  # type: ignore[arg-type]  # fields by name
        return [row.number for row in rows]

    assert numbers() == [1, 2]
    assert numbers("severity") == [2, 1]
    assert numbers(floor="3") == [2]
    assert numbers(text="tu-3-1") == [2]
    assert numbers(unit=on_three.pk) == [2]
    assert numbers(trade="mechanical") == [1]
    assert numbers(state="verified") == []


@pytest.mark.django_db(transaction=True)
def test_numbers_follow_each_other_when_two_open_at_once() -> None:
    cast = make_cast()
    unit = make_unit(cast.project)
    scopes = [cast.scope("office"), cast.scope("controls")]

    def several(place: int) -> None:
        for _ in range(4):
            make_punch_item(scopes[place], unit)
        connections.close_all()

    threads = [threading.Thread(target=several, args=[place]) for place in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    numbers = PunchItem.objects.order_by("number").values_list("number", flat=True)
    assert list(numbers) == list(range(1, 9))


@pytest.mark.django_db(transaction=True)
def test_of_two_who_answer_at_once_one_is_told_of_the_other() -> None:
    cast = make_cast()
    item = make_punch_item(cast.scope("controls"), make_unit(cast.project))
    scopes = [cast.scope("office"), cast.scope("installer")]
    together, told = threading.Barrier(2), []

    def answer(place: int) -> None:
        together.wait()
        try:
            punch.answer_item(scopes[place], item_id=item.pk, version=1, text="Done.", at=AT)
        except Conflict as error:
            told.append(error.message)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=answer, args=[place]) for place in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(told) == 1
    assert "it is answered now" in told[0]
    kinds = PunchEntry.objects.filter(item=item).order_by("id").values_list("kind", flat=True)
    assert list(kinds) == ["opened", "answered"]
