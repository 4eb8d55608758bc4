"""Promises and planned periods: who may, what is refused, what races and constraints leave."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime, timedelta
from threading import Barrier, Thread

import pytest
from django.db import IntegrityError, connection, transaction

from projectsite.core import evidence
from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.evidence import Proof
from projectsite.core.scope import Scope
from tests.builders import Cast, make_cast, make_membership, make_user
from tests.builders.accounts import AT
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.work import make_step
from tests.builders.work import mark as say
from tests.builders.work_planning import make_period, promise
from zones.inventory.models import TerminalUnit
from zones.work.domain.board import State
from zones.work.models import Assignment, PlannedPeriod, Step
from zones.work.operations.assignments import assign, end_assignments, take
from zones.work.operations.marks import mark_steps
from zones.work.operations.periods import add_period, change_period, remove_period
from zones.work.queries.due import due
from zones.work.queries.planning import PromiseFilter, narrowed, promises
from zones.work.queries.weeks import past_weeks

Recorder = Callable[[str], AbstractContextManager[None]]
TODAY = date(2026, 11, 25)
FRIDAY = date(2026, 11, 27)


@pytest.fixture
def unit(cast: Cast) -> TerminalUnit:
    return make_unit(cast.project, air_handler=make_air_handler(cast.project))


@pytest.fixture
def hung(cast: Cast) -> Step:
    return make_step(cast.project)


def standing(step: Step) -> list[tuple[int | None, date | None]]:
    rows = Assignment.objects.filter(step=step, ended_at=None).order_by("id")
    return list(rows.values_list("person_id", "due_date"))


class TestAssign:
    def test_a_changed_promise_ends_one_row_and_begins_another(
        self, cast: Cast, unit: TerminalUnit, hung: Step
    ) -> None:
        office, cells = cast.scope(), [(unit.pk, hung.pk)]
        person = cast.installer.pk
        first = assign(office, cells=cells, person_id=person, due_date=FRIDAY, at=AT)
        again = assign(office, cells=cells, person_id=person, due_date=FRIDAY, at=AT)
        later = AT + timedelta(hours=1)
        moved = assign(
            office,
            cells=cells,
            person_id=None,
            due_date=FRIDAY + timedelta(days=3),
            at=later,
            keep=["person"],
        )
        assert [(o.changed, o.unchanged) for o in (first, again, moved)] == [(1, 0), (0, 1), (1, 0)]
        rows = Assignment.objects.order_by("id").values_list("due_date", "made_at", "ended_at")
        assert list(rows) == [
            (FRIDAY, AT, later),
            (FRIDAY + timedelta(days=3), later, None),
        ]
        assert standing(hung) == [(person, FRIDAY + timedelta(days=3))]

    def test_a_step_of_an_air_handler_is_promised_once_for_all_its_units(
        self, cast: Cast, unit: TerminalUnit
    ) -> None:
        step = make_step(cast.project, "supply-air", per="air-handler")
        other = make_unit(cast.project, "TU-2-2", air_handler=unit.air_handler)
        alone = make_unit(cast.project, "TU-2-3")
        cells = [(u.pk, step.pk) for u in (unit, other, alone)]
        outcome = assign(cast.scope(), cells=cells, person_id=None, due_date=FRIDAY, at=AT)
        assert outcome.changed == 2
        kept = Assignment.objects.order_by("air_handler_id").values_list(
            "air_handler_id", "unit_id"
        )
        assert list(kept) == [(unit.air_handler_id, None), (None, alone.pk)]
        rows = promises(cast.scope(), TODAY)
        assert {row.unit_ids for row in rows} == {(unit.pk, other.pk), (alone.pk,)}

    def test_the_person_is_an_active_member_of_the_trade_or_the_office(
        self, cast: Cast, unit: TerminalUnit, hung: Step
    ) -> None:
        cells = [(unit.pk, hung.pk)]

        def given_to(person_id: int) -> int:
            return assign(
                cast.scope(), cells=cells, person_id=person_id, due_date=None, at=AT
            ).changed

        left = make_user("left", is_active=False)
        make_membership(left, cast.project, "installer")
        for person in (cast.owner, cast.stranger, left):
            with pytest.raises(InvalidInput, match="active member"):
                given_to(person.pk)
        with pytest.raises(InvalidInput, match="trade mechanical; Controls Person works as con"):
            given_to(cast.controls.pk)
        assert standing(hung) == []
        assert [given_to(cast.office.pk), given_to(cast.installer.pk)] == [1, 1]

    def test_what_is_done_or_does_not_apply_is_left_out_and_named(
        self, cast: Cast, unit: TerminalUnit, hung: Step
    ) -> None:
        piped = make_step(cast.project, "coil-piped", heats=["hot-water"])
        say(unit, hung, cast.office)
        cells = [(unit.pk, hung.pk), (unit.pk, piped.pk)]
        outcome = assign(cast.scope(), cells=cells, person_id=None, due_date=FRIDAY, at=AT)
        assert outcome.changed == 0
        assert [skipped.text for skipped in outcome.skipped] == [
            "Box hung of TU-2-1 is done already.",
            "Coil piped does not apply to TU-2-1.",
        ]

    def test_refusals_name_what_is_wrong_and_write_nothing(
        self, cast: Cast, unit: TerminalUnit, hung: Step
    ) -> None:
        office, cell = cast.scope(), (unit.pk, hung.pk)
        # 06:30 UTC on the 26th is still the 25th in the project: the 25th is not gone by.
        night = datetime(2026, 11, 26, 6, 30, tzinfo=UTC)
        with pytest.raises(InvalidInput, match="2026-11-24 is gone by"):
            assign(office, cells=[cell], person_id=None, due_date=date(2026, 11, 24), at=night)
        with pytest.raises(InvalidInput, match="Choose a person or a day"):
            assign(office, cells=[cell], person_id=None, due_date=None, at=AT)
        with pytest.raises(InvalidInput, match="Tick at least one"):
            assign(office, cells=[], person_id=None, due_date=FRIDAY, at=AT)
        with pytest.raises(NotFound, match="no step 999999"):
            assign(office, cells=[cell, (unit.pk, 999999)], person_id=None, due_date=FRIDAY, at=AT)
        with pytest.raises(NotFound):
            assign(cast.stranger_scope(), cells=[cell], person_id=None, due_date=FRIDAY, at=AT)
        for role in ("controls", "balancer", "installer", "owner"):
            with pytest.raises(Forbidden):
                assign(cast.scope(role), cells=[cell], person_id=None, due_date=FRIDAY, at=AT)
        assert not Assignment.objects.exists()
        assign(office, cells=[cell], person_id=None, due_date=TODAY, at=night)
        assert standing(hung) == [(None, TODAY)]


class TestTakeAndGiveBack:
    def test_a_person_takes_steps_of_the_own_trade_and_the_planned_day_stays(
        self, cast: Cast, unit: TerminalUnit, hung: Step
    ) -> None:
        cells, installer = [(unit.pk, hung.pk)], cast.scope("installer")
        assign(cast.scope(), cells=cells, person_id=None, due_date=FRIDAY, at=AT)
        assert take(installer, cells=cells, at=AT).changed == 1
        assert standing(hung) == [(cast.installer.pk, FRIDAY)]
        assert end_assignments(installer, cells=cells, at=AT).changed == 1
        assert standing(hung) == [(None, FRIDAY)]
        assert end_assignments(cast.scope(), cells=cells, at=AT).changed == 1
        assert standing(hung) == []

    def test_steps_of_other_trades_and_of_other_people_are_left(
        self, cast: Cast, unit: TerminalUnit, hung: Step
    ) -> None:
        cells = [(unit.pk, hung.pk)]
        with pytest.raises(Forbidden, match="another trade"):
            take(cast.scope("controls"), cells=cells, at=AT)
        with pytest.raises(Forbidden):
            take(cast.scope("owner"), cells=cells, at=AT)
        promise(unit, hung, cast.office)
        taken = take(cast.scope("installer"), cells=cells, at=AT)
        given = end_assignments(cast.scope("installer"), cells=cells, at=AT)
        assert "is Office Person’s already" in taken.skipped[0].text
        assert "not yours to give back" in given.skipped[0].text
        assert standing(hung) == [(cast.office.pk, FRIDAY)]


@pytest.mark.django_db(transaction=True)
def test_two_planners_at_once_leave_one_promise_and_its_history() -> None:
    cast = make_cast()
    unit, step = make_unit(cast.project), make_step(cast.project)
    office = cast.scope()
    together, problems = Barrier(2), []

    def plan(day: date) -> None:
        try:
            together.wait()
            assign(office, cells=[(unit.pk, step.pk)], person_id=None, due_date=day, at=AT)
        except Exception as error:  # noqa: BLE001  # told to the test below
            problems.append(error)
        finally:
            connection.close()

    days = (FRIDAY, FRIDAY + timedelta(days=1))
    threads = [Thread(target=plan, args=[day]) for day in days]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []
    assert Assignment.objects.count() == 2
    assert len(standing(step)) == 1


class TestLookAhead:
    def test_what_blocks_is_shown_with_who_owes_it_and_by_when(
        self, cast: Cast, unit: TerminalUnit, hung: Step
    ) -> None:
        mounted = make_step(cast.project, "mounted", trade="controls", before=[hung])
        say(unit, hung, cast.installer, "held", note="No hangers on site.")
        promise(unit, hung, cast.installer, due_date=FRIDAY + timedelta(days=4))
        promise(unit, mounted, cast.controls)
        late = promise(make_unit(cast.project, "TU-2-2"), hung, due_date=date(2026, 11, 20))
        rows = promises(cast.scope("installer"), TODAY)
        assert [row.is_overdue for row in rows] == [True, False, False]
        assert rows[0].assignment.id == late.pk
        waits = rows[1]
        (blocker,) = waits.blockers
        assert (waits.step.key, waits.state, waits.can_be_done) == ("mounted", State.WAITING, False)
        assert (blocker.step.id, blocker.state, blocker.person) == (
            hung.pk,
            State.HELD,
            "Installer Person",
        )
        assert blocker.note == "No hangers on site."
        assert blocker.is_later
        ahead = PromiseFilter(due_from=TODAY, due_to=FRIDAY, is_late_shown=True)
        assert [row.assignment.id for row in narrowed(rows, ahead)] == [
            late.pk,
            waits.assignment.id,
        ]

    def test_one_number_of_queries_whatever_is_promised(
        self, cast: Cast, unit: TerminalUnit, hung: Step, recorded_queries: Recorder
    ) -> None:
        promise(unit, hung, cast.installer)
        for number in range(2, 8):
            promise(make_unit(cast.project, f"TU-2-{number}"), hung, due_date=date(2026, 11, 20))
        scope = cast.scope()
        with recorded_queries("work: look-ahead"):
            assert len(promises(scope, TODAY)) == 7
        with recorded_queries("work: weeks past"):
            past_weeks(scope, AT, 8)
        with recorded_queries("work: due on the home page"):
            due(scope.person)


class TestWeeksPast:
    def test_the_share_comes_from_the_history_of_marks(self, cast: Cast, hung: Step) -> None:
        office = cast.scope()
        before = datetime(2026, 11, 13, 15, tzinfo=UTC)
        inside = datetime(2026, 11, 18, 15, tzinfo=UTC)
        late = datetime(2026, 11, 21, 15, tzinfo=UTC)
        joined = make_step(cast.project, "duct-connected", before=[hung])
        units = [make_unit(cast.project, f"TU-2-{i}") for i in range(4)]
        cells = [(u.pk, joined.pk) for u in units]
        due_date = date(2026, 11, 20)
        assign(office, cells=cells, person_id=None, due_date=due_date, at=before)
        # Two can be done when the week begins; one is done in time, one late.
        mark_steps(office, cells=[(u.pk, hung.pk) for u in units[:2]], mark="done", at=before)
        mark_steps(office, cells=cells[:1], mark="done", at=inside)
        mark_steps(office, cells=cells[1:2], mark="done", at=late)
        # Taken back in time and moved to another week: neither is done as promised.
        mark_steps(office, cells=cells[2:3], mark="done", at=inside)
        mark_steps(office, cells=cells[2:3], mark="open", at=inside + timedelta(hours=1))
        assign(office, cells=cells[3:], person_id=None, due_date=FRIDAY, at=inside)
        week = past_weeks(office, AT, 1)[0]
        assert week.label == "2026-W47"
        assert (week.promised, week.done, week.planned, week.ready) == (4, 1, 4, 2)

    def test_a_proof_of_the_record_counts_from_its_time(
        self, cast: Cast, unit: TerminalUnit, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        step = make_step(cast.project, "airflow-verified", trade="balancer")
        day = date(2026, 11, 20)
        before = datetime(2026, 11, 13, 15, tzinfo=UTC)
        assign(cast.scope(), cells=[(unit.pk, step.pk)], person_id=None, due_date=day, at=before)
        told: list[Proof] = []
        monkeypatch.setattr(evidence, "collect", lambda _scope, _ids: told)

        def kept(at: datetime) -> int:
            told[:] = [Proof("airflow-verified", unit.pk, True, "Accepted.", at)]
            return past_weeks(cast.scope(), AT, 1)[0].done

        assert kept(datetime(2026, 11, 19, 15, tzinfo=UTC)) == 1
        assert kept(datetime(2026, 11, 22, 15, tzinfo=UTC)) == 0


class TestPeriods:
    VALUES = {"trade": "controls", "start_date": TODAY, "finish_date": FRIDAY}

    def test_add_change_and_remove(self, cast: Cast, unit: TerminalUnit) -> None:
        office = cast.scope()
        period_id = add_period(office, values={"floor": "2", **self.VALUES})  # type: ignore[typeddict-item]  # a builder
        assert (
            change_period(
                office, period_id=period_id, version=1, values={"finish_date": date(2026, 12, 4)}
            )
            == 2
        )
        with pytest.raises(Conflict, match="2026-11-25 to 2026-12-04"):
            change_period(office, period_id=period_id, version=1, values={"trade": ""})
        with pytest.raises(Conflict):
            remove_period(office, period_id=period_id, version=1)
        remove_period(office, period_id=period_id, version=2)
        assert not PlannedPeriod.objects.exists()

    def test_refusals(self, cast: Cast, unit: TerminalUnit) -> None:
        office = cast.scope()
        made = make_period(cast.project, "2")
        with pytest.raises(InvalidInput, match="no terminal unit on floor 9"):
            add_period(office, values={"floor": "9", **self.VALUES})  # type: ignore[typeddict-item]  # a builder
        with pytest.raises(InvalidInput, match="planned period already"):
            add_period(
                office,
                values={
                    "floor": "2",
                    "trade": "mechanical",
                    "start_date": TODAY,
                    "finish_date": FRIDAY,
                },
            )
        with pytest.raises(InvalidInput, match="ends before it begins"):
            change_period(office, period_id=made.pk, version=1, values={"finish_date": TODAY})
        with pytest.raises(NotFound):
            remove_period(cast.stranger_scope(), period_id=made.pk, version=1)
        for act in (
            lambda scope: add_period(scope, values={}),
            lambda scope: change_period(scope, period_id=made.pk, version=1, values={}),
            lambda scope: remove_period(scope, period_id=made.pk, version=1),
        ):
            _refused(cast.scope("controls"), act)
        assert PlannedPeriod.objects.count() == 1


def _refused(scope: Scope, act: Callable[[Scope], object]) -> None:
    with pytest.raises(Forbidden):
        act(scope)


@pytest.mark.parametrize(
    ("sql", "name"),
    [
        ("UPDATE work_assignment SET air_handler_id = {handler}", "assignment_one_subject"),
        ("UPDATE work_assignment SET unit_id = NULL", "assignment_one_subject"),
        (
            "UPDATE work_assignment SET person_id = NULL, due_date = NULL",
            "assignment_says_something",
        ),
        (
            "UPDATE work_assignment SET ended_at = made_at - interval '1 second'",
            "assignment_ends_later",
        ),
        (
            """INSERT INTO work_assignment
            (project_id, step_id, unit_id, due_date, made_by_id, made_at)
            SELECT project_id, step_id, unit_id, due_date, made_by_id, made_at
            FROM work_assignment""",
            "assignment_unit_one_current",
        ),
        ("UPDATE work_plannedperiod SET finish_date = '2026-11-01'", "plannedperiod_in_order"),
        ("UPDATE work_plannedperiod SET trade = 'roofing'", "plannedperiod_trade_known"),
        (
            """INSERT INTO work_plannedperiod
            (project_id, floor, trade, start_date, finish_date, version)
            SELECT project_id, floor, trade, start_date, finish_date, 1
            FROM work_plannedperiod""",
            "plannedperiod_unique",
        ),
    ],
)
def test_the_database_refuses(
    cast: Cast, unit: TerminalUnit, hung: Step, sql: str, name: str
) -> None:
    promise(unit, hung, cast.installer)
    make_period(cast.project)
    with (
        pytest.raises(IntegrityError, match=name),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql.format(handler=unit.air_handler_id))
