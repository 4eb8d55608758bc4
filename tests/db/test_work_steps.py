"""Steps: what marking and changing the catalogue do, what is found, races."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from threading import Barrier

import pytest
from django.db import connection
from django.db.utils import IntegrityError

from projectsite.accounts.models import Membership
from projectsite.accounts.operations.projects import create_project
from projectsite.core import evidence
from projectsite.core.errors import ApplicationError, Conflict, Forbidden, InvalidInput, NotFound
from tests.builders import Cast, make_cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.work import make_catalogue, make_step, mark
from zones.work.domain.board import MOST_STEPS, State
from zones.work.domain.catalogue import STARTER_STEPS
from zones.work.models import Step, StepBefore, StepMark
from zones.work.operations import catalogue
from zones.work.operations.marks import MOST_CELLS, mark_steps
from zones.work.queries.board import whole_board
from zones.work.queries.findings import findings_at


class TestMarking:
    def test_who_marks_what(self, cast: Cast) -> None:
        unit, hung = make_unit(cast.project), make_step(cast.project)
        landed = make_step(cast.project, "bus-landed", trade="controls")
        told = mark_steps(cast.scope("installer"), cells=[(unit.pk, hung.pk)], mark="done", at=AT)
        assert (told.changed, told.skipped, told.early) == (1, (), ())
        found = StepMark.objects.get()
        assert (found.state, found.by, found.at, found.unit) == ("done", cast.installer, AT, unit)
        cells = [(unit.pk, hung.pk), (unit.pk, landed.pk)]
        with pytest.raises(Forbidden, match="“Bus landed” is a step of another trade"):
            mark_steps(cast.scope("installer"), cells=cells, mark="open", at=AT)
        assert StepMark.objects.get().state == "done"
        with pytest.raises(Forbidden):
            mark_steps(cast.scope("owner"), cells=cells, mark="done", at=AT)
        assert mark_steps(cast.scope(), cells=cells, mark="in-hand", at=AT).changed == 2

    def test_the_same_again_changes_nothing_and_open_takes_back(self, cast: Cast) -> None:
        unit, hung = make_unit(cast.project), make_step(cast.project)
        cells, scope = [(unit.pk, hung.pk)] * 2, cast.scope()
        assert mark_steps(scope, cells=cells, mark="open", at=AT).changed == 0
        assert not StepMark.objects.exists()
        assert mark_steps(scope, cells=cells, mark="done", note="by crane", at=AT).changed == 1
        later = AT + timedelta(hours=1)
        again = mark_steps(scope, cells=cells, mark="done", at=later)
        assert (again.changed, again.unchanged) == (0, 1)
        found = StepMark.objects.get()
        assert (found.at, found.note) == (AT, "by crane")
        assert mark_steps(scope, cells=cells, mark="open", at=later).changed == 1
        assert whole_board(scope).board.state(unit.pk, hung.pk) is State.READY

    @pytest.mark.parametrize("state", ["held", "not-applicable"])
    def test_a_reason_is_asked_for(self, cast: Cast, state: str) -> None:
        unit, hung = make_unit(cast.project), make_step(cast.project)
        with pytest.raises(InvalidInput) as refused:
            mark_steps(cast.scope(), cells=[(unit.pk, hung.pk)], mark=state, note=" ", at=AT)
        assert set(refused.value.fields) == {"note"}

    def test_what_is_refused_whole(self, cast: Cast) -> None:
        unit, hung = make_unit(cast.project), make_step(cast.project)
        foreign = make_unit(cast.other_project).pk
        archived = make_step(cast.project, "gone", archived_at=AT).pk
        for cells in ([(unit.pk, archived)], [(unit.pk, hung.pk), (foreign, hung.pk)]):
            with pytest.raises(NotFound):
                mark_steps(cast.scope(), cells=cells, mark="done", at=AT)
        for cells, said in (
            ([], "done"),
            ([(unit.pk, hung.pk)], "half"),
            ([(1, 1)] * (MOST_CELLS + 1), "done"),
        ):
            with pytest.raises(InvalidInput):
                mark_steps(cast.scope(), cells=cells, mark=said, at=AT)
        assert not StepMark.objects.exists()

    def test_what_is_skipped_and_what_is_early(self, cast: Cast) -> None:
        steps = make_catalogue(cast.project)
        unit = make_unit(cast.project, heat="none")
        assert "airflow-verified" in evidence.decided_steps()
        keys = ("valve-wired", "airflow-verified", "duct-connected")
        cells = [(unit.pk, steps[key].pk) for key in keys]
        told = mark_steps(cast.scope(), cells=cells, mark="done", at=AT)
        assert told.changed == 1
        assert [skipped.text for skipped in told.skipped] == [
            "Reheat valve actuator wired does not apply to TU-2-1.",
            (
                "Airflow verified of TU-2-1 is done when the record proves it; it can't be marked "
                "done by hand."
            ),
        ]
        (early,) = told.early
        assert early.text.endswith("though this is open: Box hung and level.")

    def test_a_step_of_an_air_handler_is_kept_there(self, cast: Cast) -> None:
        handler = make_air_handler(cast.project)
        units = [make_unit(cast.project, f"TU-{i}", air_handler=handler) for i in (1, 2)]
        alone = make_unit(cast.project, "TU-3")
        step = make_step(cast.project, "supply-air-available", per="air-handler")
        trunk = make_step(cast.project, "trunk-terminated", per="trunk")
        cells = [(unit.pk, step.pk) for unit in (*units, alone)] + [(alone.pk, trunk.pk)]
        assert mark_steps(cast.scope(), cells=cells, mark="done", at=AT).changed == 3
        kept = StepMark.objects.order_by("id").values_list("unit", "air_handler", "trunk_id")
        assert sorted(kept, key=str) == sorted(
            [(None, handler.pk, None), (alone.pk, None, None), (alone.pk, None, None)], key=str
        )


class TestCatalogue:
    def test_a_new_project_begins_with_the_usual_steps(self, cast: Cast) -> None:
        key = create_project(
            cast.scope().person,
            key="cedar",
            name="Cedar",
            number="1",
            site_address="",
            display_system="si",
            time_zone="UTC",
            elevation_m=0.0,
            at=AT,
        )
        office = Membership.objects.get(project__key=key)
        steps = Step.objects.filter(project=office.project).order_by("position")
        assert [step.key for step in steps] == [starter.key for starter in STARTER_STEPS]
        pairs = StepBefore.objects.filter(project=office.project)
        assert pairs.count() == sum(len(starter.before) for starter in STARTER_STEPS)
        assert catalogue.load_starter_catalogue(cast.scope()) == len(STARTER_STEPS)
        with pytest.raises(Conflict, match="steps already"):
            catalogue.load_starter_catalogue(cast.scope())

    def test_only_the_office_changes_it(self, cast: Cast) -> None:
        step = make_step(cast.project)
        for act in (
            catalogue.load_starter_catalogue,
            lambda s: catalogue.add_step(s, values={"name": "x", "trade": "office"}),
            lambda s: catalogue.change_step(s, step_id=step.pk, version=1, values={}),
            lambda s: catalogue.archive_step(s, step_id=step.pk, at=AT),
            lambda s: catalogue.restore_step(s, step_id=step.pk),
            lambda s: catalogue.move_step(s, step_id=step.pk, to=1),
        ):
            with pytest.raises(Forbidden):
                act(cast.scope("controls"))

    def test_add_change_and_refuse(self, cast: Cast) -> None:
        scope = cast.scope()
        first = catalogue.add_step(scope, values={"name": "Box painted", "trade": "other"})
        values: catalogue.StepValues = {
            "name": "Box dried",
            "trade": "other",
            "before": [first],
            "heats": ["electric"],
            "budget_h": 0.25,
        }
        second = catalogue.add_step(scope, values=values)
        assert Step.objects.get(pk=second).key == "box-dried"
        change = partial(catalogue.change_step, scope, step_id=first, version=1)
        with pytest.raises(InvalidInput, match=r"Box (painted|dried) → Box "):
            change(values={"before": [second]})
        with pytest.raises(InvalidInput, match="can't wait for itself"):
            change(values={"before": [first]})
        with pytest.raises(InvalidInput) as taken:
            change(values={"name": "BOX DRIED"})
        assert set(taken.value.fields) == {"name"}
        with pytest.raises(InvalidInput):
            change(values={"before": [0]})
        assert change(values={"budget_h": 1.0}) == 2
        with pytest.raises(Conflict, match="Somebody changed Box painted"):
            change(values={"budget_h": 2.0})
        assert catalogue.change_step(scope, step_id=second, version=1, values={"before": []}) == 2
        assert not StepBefore.objects.exists()

    def test_marks_hold_what_a_step_is_done_for(self, cast: Cast) -> None:
        step = make_step(cast.project)
        mark(make_unit(cast.project), step, cast.office)
        with pytest.raises(Conflict, match="marked already"):
            catalogue.change_step(
                cast.scope(), step_id=step.pk, version=1, values={"per": "air-handler"}
            )

    def test_archive_restore_and_the_place_before_others(self, cast: Cast) -> None:
        scope, hung = cast.scope(), make_step(cast.project)
        duct = make_step(cast.project, "duct-connected", before=[hung])
        unit = make_unit(cast.project)
        catalogue.archive_step(scope, step_id=hung.pk, at=AT)
        assert whole_board(scope).board.state(unit.pk, duct.pk) is State.READY
        catalogue.change_step(scope, step_id=duct.pk, version=1, values={"before": []})
        make_step(cast.project, "again", name="Box hung")
        with pytest.raises(Conflict, match="named Box hung now"):
            catalogue.restore_step(scope, step_id=hung.pk)
        Step.objects.filter(key="again").update(name="Other")
        catalogue.restore_step(scope, step_id=hung.pk)
        assert whole_board(scope).board.state(unit.pk, duct.pk) is State.WAITING

    def test_moving_numbers_the_steps_anew(self, cast: Cast) -> None:
        steps = [make_step(cast.project, key) for key in "abcd"]
        catalogue.move_step(cast.scope(), step_id=steps[3].pk, to=2)
        in_order = Step.objects.order_by("position").values_list("key", "position")
        assert list(in_order) == [("a", 1), ("d", 2), ("b", 3), ("c", 4)]

    def test_no_more_than_the_board_can_tell(self, cast: Cast) -> None:
        Step.objects.bulk_create(
            Step(project=cast.project, key=f"s{i}", name=f"S {i}", trade="other", position=i)
            for i in range(MOST_STEPS)
        )
        with pytest.raises(Conflict, match="up to 60 steps"):
            catalogue.add_step(cast.scope(), values={"name": "One more", "trade": "other"})


def test_the_board_of_some_units_says_the_same_as_that_of_all(cast: Cast) -> None:
    """A shared step waits for units that nobody asked about."""
    handlers = [make_air_handler(cast.project, tag) for tag in ("AH-1", "AH-2")]
    units = [make_unit(cast.project, f"TU-{i}", air_handler=handlers[i // 3]) for i in range(6)]
    hung = make_step(cast.project)
    flushed = make_step(cast.project, "flushed", per="air-handler", before=[hung])
    make_step(cast.project, "balanced", before=[flushed])
    for unit in (*units[:2], *units[3:]):
        mark(unit, hung, cast.office)
    whole = whole_board(cast.scope()).board
    some = whole_board(cast.scope(), unit_ids={units[0].pk, units[5].pk}).board
    for unit in (units[0], units[5]):
        row, place = whole.row_of[unit.pk], some.row_of[unit.pk]
        assert list(whole.states[row]) == list(some.states[place])
        assert list(whole.blockers[row]) == list(some.blockers[place])
    assert whole.state(units[0].pk, flushed.pk) is State.WAITING
    assert whole.state(units[5].pk, flushed.pk) is State.READY


def test_findings_of_the_work(cast: Cast) -> None:
    steps = make_catalogue(cast.project)
    handler = make_air_handler(cast.project)
    unit = make_unit(cast.project, air_handler=handler)
    quiet = make_unit(cast.project, "TU-9")
    mark(unit, steps["box-hung"], cast.office)
    mark(unit, steps["tubes-connected"], cast.office)
    mark(unit, steps["controller-mounted"], cast.office, "held", note="waits for parts")
    StepMark.objects.create(
        project=cast.project,
        step=steps["supply-air-available"],
        air_handler=handler,
        state="held",
        note="?",
        by=cast.office,
        at=AT,
    )
    late = AT + timedelta(days=14, seconds=1)
    on_time = {f.code for f in findings_at(cast.scope(), [unit.pk], now=AT + timedelta(days=14))}
    found = findings_at(cast.scope(), [unit.pk, quiet.pk], now=late)
    told = sorted((f.code, f.message) for f in found)
    assert "work.ready-untouched" not in on_time
    assert [code for code, _ in told] == [
        "work.done-before-predecessor",
        "work.held",
        "work.held",
        "work.held-without-reason",
        "work.ready-untouched",
    ]
    assert told[0][1] == (
        "“Sensing tubes connected, high and low matched” is done, though this has to come before "
        "and is open: “Duct connected, straight inlet length measured”, “Controller and actuator "
        "mounted, damper index matched”."
    )
    held = {message for code, message in told if code == "work.held"}
    assert "“Supply air available” of AH-1 is held by Office Person on 2026-11-25: ?." in held
    assert told[4][1].startswith("“Duct connected, straight inlet length measured” has been ready")
    assert {f.subject.unit_id for f in found} == {unit.pk}
    assert findings_at(cast.scope(), [], now=late) == []


def at_once(*acts: Callable[[], object]) -> list[object]:
    """Do these at once, each through its own connection; a refusal is an answer."""
    barrier = Barrier(len(acts))

    def run(act: Callable[[], object]) -> object:
        try:
            barrier.wait(timeout=10)
            return act()
        except (ApplicationError, IntegrityError) as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


@pytest.mark.django_db(transaction=True)
def test_two_people_at_once() -> None:
    """Two sessions close no circle together, and two who mark the same cells both succeed."""
    cast = make_cast()
    scope = cast.scope()
    a, b = make_step(cast.project, "a"), make_step(cast.project, "b")
    answers = at_once(
        lambda: catalogue.change_step(scope, step_id=a.pk, version=1, values={"before": [b.pk]}),
        lambda: catalogue.change_step(scope, step_id=b.pk, version=1, values={"before": [a.pk]}),
    )
    assert sorted(type(answer).__name__ for answer in answers) == ["InvalidInput", "int"]
    StepBefore.objects.all().delete()

    def insert(step: Step, before: Step) -> None:
        with connection.cursor() as cursor:
            cursor.execute(
                "insert into work_stepbefore (project_id, step_id, before_id) values (%s, %s, %s)",
                [cast.project.pk, step.pk, before.pk],
            )

    answers = at_once(lambda: insert(a, b), lambda: insert(b, a))
    assert sorted(type(answer).__name__ for answer in answers) == ["IntegrityError", "NoneType"]
    units = [make_unit(cast.project, f"TU-{i}") for i in range(40)]
    cells = [(unit.pk, a.pk) for unit in units]
    marked = at_once(
        lambda: mark_steps(scope, cells=cells, mark="done", at=AT).changed,
        lambda: mark_steps(scope, cells=cells[::-1], mark="done", at=AT).changed,
    )
    assert sorted(marked, key=str) == [0, 40]
    assert StepMark.objects.count() == len(units)
