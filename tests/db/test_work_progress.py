"""Progress out of the record: the curve falls, the plan is the most exact, dates come first."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime, timedelta

import pytest

from projectsite.core import evidence, groups
from projectsite.core.evidence import Proof
from projectsite.core.groups import Group, Grouping
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.work import make_step
from zones.inventory.models import TerminalUnit
from zones.work.models import Assignment, PlannedPeriod, Step
from zones.work.operations.marks import mark_steps
from zones.work.queries.progress import Progress, ProgressFilter, progress_of

Recorder = Callable[[str], AbstractContextManager[None]]
TODAY = date(2026, 11, 25)
"""A Wednesday."""


def on(day: int, month: int = 11) -> datetime:
    """Noon of a day of 2026 in the project's time zone, which is seven hours behind."""
    return datetime(2026, month, day, 19, tzinfo=UTC)


@pytest.fixture
def hung(cast: Cast) -> Step:
    return make_step(cast.project, "box-hung", budget_h=2.0)


@pytest.fixture
def duct(cast: Cast, hung: Step) -> Step:
    return make_step(cast.project, "duct-connected", budget_h=1.0, before=[hung])


def say(cast: Cast, unit: TerminalUnit, step: Step, at: datetime, mark: str = "done") -> None:
    mark_steps(cast.scope(), cells=[(unit.pk, step.pk)], mark=mark, note="Seen.", at=at)


def progress(cast: Cast, today: date = TODAY, **wanted: object) -> Progress:
    return progress_of(cast.scope(), today=today, wanted=ProgressFilter(**wanted))  # type: ignore[arg-type]  # by name


def curve(found: Progress) -> dict[str, float | None]:
    return {f"{point.day:%m-%d}": point.earned_h for point in found.curve}


def test_the_curve_falls_when_a_mark_is_taken_back(cast: Cast, hung: Step, duct: Step) -> None:
    one, two = make_unit(cast.project, "TU-1"), make_unit(cast.project, "TU-2")
    say(cast, one, hung, on(3))
    say(cast, two, hung, on(4))
    say(cast, one, duct, on(10))
    say(cast, one, hung, on(18), "open")
    say(cast, two, duct, on(24))
    found = progress(cast)
    # The duct of the first unit loses its hour too: what comes before it is open again.
    assert curve(found) == {"11-01": 0, "11-08": 4, "11-15": 5, "11-22": 2, "11-25": 3}
    assert found.curve[3].week_earned_h == -3
    assert (found.whole.earned_h, found.whole.budget_h, found.whole.early) == (3, 6, 1)


def test_a_duct_that_was_first_earns_when_the_box_is_hung(
    cast: Cast, hung: Step, duct: Step
) -> None:
    unit = make_unit(cast.project)
    say(cast, unit, duct, on(3))
    say(cast, unit, hung, on(12))
    assert curve(progress(cast)) == {"11-01": 0, "11-08": 0, "11-15": 3, "11-22": 3, "11-25": 3}


def test_days_are_those_of_the_project(cast: Cast, hung: Step) -> None:
    # Monday three in the morning in UTC is Sunday evening on site.
    say(cast, make_unit(cast.project), hung, datetime(2026, 11, 16, 3, tzinfo=UTC))
    assert curve(progress(cast)) == {"11-08": 0, "11-15": 2, "11-22": 2, "11-25": 2}


def test_proofs_count_from_their_date_and_withdrawn_ones_at_no_time(
    cast: Cast, hung: Step, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, two = make_unit(cast.project, "TU-1"), make_unit(cast.project, "TU-2")
    say(cast, two, hung, on(3))
    proofs = [
        Proof("box-hung", one.pk, True, "Seen.", on(12)),
        Proof("box-hung", two.pk, False, "Taken down.", on(5)),
    ]
    monkeypatch.setattr(evidence, "collect", lambda scope, ids: proofs)
    found = progress(cast)
    assert curve(found) == {"11-01": 0, "11-08": 0, "11-15": 2, "11-22": 2, "11-25": 2}
    assert found.whole.earned_h == 2


def test_a_step_of_an_air_handler_counts_its_hours_once(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    air = make_step(cast.project, "air-on", per="air-handler", budget_h=4.0)
    handler = make_air_handler(cast.project)
    units = [make_unit(cast.project, f"TU-{i}", air_handler=handler, floor=str(i)) for i in (1, 2)]
    group = Grouping(
        {handler.pk: Group(handler.pk, "AH-1")}, {unit.pk: handler.pk for unit in units}
    )
    monkeypatch.setattr(
        groups,
        "grouping",
        lambda scope, kind: group if kind == "air-handler" else Grouping(),
    )
    say(cast, units[0], air, on(3))
    found = progress(cast)
    assert (found.whole.budget_h, found.whole.earned_h) == (4, 4)
    assert [(row.label, row.earned_h) for row in found.floors] == [("1", 2), ("2", 2)]
    assert [(row.label, row.budget_h) for row in found.air_handlers] == [("AH-1", 4)]
    assert curve(found)["11-08"] == 4
    assert progress(cast, floor="2").whole.budget_h == 2


def test_the_most_exact_period_counts_and_a_date_comes_before_it(
    cast: Cast, hung: Step, duct: Step
) -> None:
    here, there = make_unit(cast.project, "TU-1"), make_unit(cast.project, "TU-2", floor="3")

    def plan(floor: str, trade: str, start: date, finish: date) -> None:
        PlannedPeriod.objects.create(
            project=cast.project, floor=floor, trade=trade, start_date=start, finish_date=finish
        )

    past, later = TODAY - timedelta(days=9), TODAY + timedelta(days=30)
    plan("", "", later, later)
    assert progress(cast).whole.planned_h == 0
    plan("", "mechanical", past, past)
    assert progress(cast).whole.planned_h == 6
    plan("3", "", later, later)
    assert progress(cast).whole.planned_h == 3
    # Four days of ten have gone by, today included: F(0.4) = 3 · 0.16 - 2 · 0.064 = 0.352.
    plan("3", "mechanical", TODAY - timedelta(days=3), TODAY + timedelta(days=6))
    assert progress(cast).whole.planned_h == pytest.approx(3 + 3 * 0.352)
    assert progress(cast, floor="3").whole.planned_h == pytest.approx(3 * 0.352)
    for unit, due in ((there, TODAY), (here, TODAY + timedelta(days=1))):
        Assignment.objects.create(
            project=cast.project,
            unit=unit,
            step=hung,
            due_date=due,
            made_by=cast.office,
            made_at=AT,
        )
    found = progress(cast)
    # The box on floor 3 is planned for today and that on floor 2 for tomorrow.
    assert found.whole.planned_h == pytest.approx(1 + 2 + 1 * 0.352)
    assert found.unplanned_h == 0
    # Not begun and earned nothing: at the beginning of the plan.
    assert found.standing is not None
    assert found.standing.earned_weeks == 0
    planned = [point.planned_h for point in found.curve]
    assert planned == sorted(planned)  # type: ignore[type-var]  # all are planned
    assert planned[-1] == 6


def test_what_holds_the_work_up_is_the_step_at_the_root(cast: Cast, hung: Step, duct: Step) -> None:
    wired = make_step(cast.project, "sensor-wired", trade="controls", before=[duct])
    one, two = make_unit(cast.project, "TU-1"), make_unit(cast.project, "TU-2")
    say(cast, one, hung, on(3))
    say(cast, two, hung, on(3), "held")
    found = progress(cast)
    rows = [(row.step_id, row.open, row.held, row.waiting) for row in found.blocking]
    # At the first unit the sensor waits for the duct, at the second both wait for the box.
    assert rows == [(hung.pk, 1, 1, 2), (duct.pk, 2, 0, 1)]
    assert [(row.trade, row.waiting) for row in found.held_up] == [("mechanical", 3)]
    only = progress(cast, trade="controls")
    assert [(row.label, row.budget_h) for row in only.trades] == [("Controls", 2)]
    assert [(row.trade, row.waiting) for row in only.held_up] == [("mechanical", 2)]
    assert wired.pk not in {row.step_id for row in found.blocking}


def test_the_forecast_is_the_same_each_time_and_needs_four_weeks(cast: Cast, hung: Step) -> None:
    units = [make_unit(cast.project, f"TU-{i}") for i in range(8)]
    for unit, day in zip(units, (27, 28, 29), strict=False):
        say(cast, unit, hung, on(day, 10))
    assert "needs 4 past weeks with work; so far there is 1" in progress(cast).forecast.refusal
    for unit, day in zip(units[3:], (3, 10, 17), strict=False):
        say(cast, unit, hung, on(day))
    found = progress(cast).forecast
    assert (found.past_weeks, found.mean_h, found.remaining_h) == (4, 3, 4)
    assert found == progress(cast).forecast
    assert found.early_date is not None
    assert found.late_date is not None
    assert TODAY < found.early_date <= found.late_date < TODAY + timedelta(days=30)


def test_nothing_to_tell_is_told(cast: Cast) -> None:
    empty = progress(cast)
    assert not empty.has_units
    assert empty.curve == ()
    assert empty.standing is None
    make_unit(cast.project)
    assert progress(cast).whole.budget_h == 0


def test_queries_do_not_grow_with_the_project(
    cast: Cast, hung: Step, duct: Step, recorded_queries: Recorder
) -> None:
    PlannedPeriod.objects.create(project=cast.project, start_date=TODAY, finish_date=TODAY)
    for i in range(4):
        unit = make_unit(cast.project, f"TU-{i}")
        say(cast, unit, hung, on(3 + i))
    scope = cast.scope()
    with recorded_queries("work: progress"):
        progress_of(scope, today=TODAY)
