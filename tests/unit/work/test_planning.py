"""Promised work by week, checked against published figures and at its edges."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from projectsite.core.plots_work import ShareBar, week_shares
from zones.work.domain.planning import (
    Promise,
    Said,
    WeekFigures,
    begins,
    planned_completed,
    tasks_made_ready,
    was_kept,
    weeks_past,
)

ZONE = ZoneInfo("America/Denver")
MONDAY = date(2026, 11, 23)
FRIDAY = date(2026, 11, 27)
LONG_BEFORE = datetime(2026, 11, 2, 15, tzinfo=UTC)
START = begins(MONDAY, ZONE)


def week(promises: list[Promise], history: dict[object, list[Said]]) -> WeekFigures:
    return weeks_past(promises, history, zone=ZONE, mondays=[MONDAY])[0]


def promise(task: object = 1, **given: object) -> Promise:
    values: dict[str, object] = {"due_date": FRIDAY, "made_at": LONG_BEFORE}
    return Promise(task, **(values | given))  # type: ignore[arg-type]  # a builder


def done(at: datetime) -> list[Said]:
    return [Said(at, "done")]


# 8 of 10 and 5 of 6: elevateconstructionist.com (published).
@pytest.mark.parametrize(("promised", "kept", "percent"), [(10, 8, 80.0), (6, 5, 83.3)])
def test_share_of_planned_work_agrees_with_published_figures(
    promised: int, kept: int, percent: float
) -> None:
    share = planned_completed(promised, kept)
    assert share is not None
    assert round(100 * share, 1) == percent


def test_ten_due_five_ready_five_done_agrees_with_published_figures() -> None:
    """PPC 100 %, TMR 50 %: leanproject.com (published).

    The five that could not be done were taken out of the week before it began.
    """
    moved = START - timedelta(days=2)
    promises = [promise(i, ended_at=None if i < 5 else moved) for i in range(10)]
    history: dict[object, list[Said]] = {i: done(START + timedelta(days=1)) for i in range(5)}
    found = weeks_past(
        promises, history, zone=ZONE, mondays=[MONDAY], is_ready=lambda task, _: task in range(5)
    )[0]
    assert (found.promised, found.done, found.planned, found.ready) == (5, 5, 10, 5)
    assert (found.completed_fraction, found.ready_fraction) == (1.0, 0.5)
    assert tasks_made_ready(10, 5) == 0.5


def test_late_counts_as_not_done_and_the_day_ends_in_the_project() -> None:
    midnight = begins(FRIDAY + timedelta(days=1), ZONE)
    assert was_kept(promise(), done(midnight - timedelta(seconds=1)), ZONE)
    assert not was_kept(promise(), done(midnight), ZONE)


def test_done_and_taken_back_is_not_done() -> None:
    tuesday = START + timedelta(days=1)
    said = [*done(tuesday), Said(tuesday + timedelta(days=1), "open")]
    assert not was_kept(promise(), said, ZONE)


def test_only_promises_that_stood_when_the_week_began_count() -> None:
    inside = START + timedelta(hours=8)
    promises = [
        promise("stood"),
        promise("moved within the week", ended_at=inside),
        promise("made on Monday", made_at=inside),
        promise("withdrawn before", ended_at=START - timedelta(hours=1)),
        promise("another week", due_date=FRIDAY + timedelta(days=7)),
        promise("ruled out"),
    ]
    history = {p.task: done(inside) for p in promises if p.task != "moved within the week"}
    history["ruled out"] = [Said(LONG_BEFORE, "not-applicable")]
    found = week(promises, history)
    assert (found.promised, found.done) == (2, 1)
    assert (found.planned, found.ready) == (3, None)


def test_a_week_without_promises_has_no_share() -> None:
    found = week([], {})
    assert found.completed_fraction is None
    assert found.label == "2026-W48"


def test_mistakes_are_named() -> None:
    with pytest.raises(ValueError, match="done is 3, more than promised, which is 2"):
        planned_completed(2, 3)
    with pytest.raises(ValueError, match="not a Monday"):
        weeks_past([], {}, zone=ZONE, mondays=[FRIDAY])


@given(
    st.lists(
        st.tuples(
            st.integers(0, 5), st.integers(-20, 20), st.integers(0, 400), st.integers(0, 400)
        ),
        max_size=20,
    )
)
def test_the_share_never_leaves_its_range(rows: list[tuple[int, int, int, int]]) -> None:
    promises: list[Promise] = []
    history: dict[object, list[Said]] = {}
    for task, days, hours, done_hours in rows:
        made = LONG_BEFORE + timedelta(hours=hours)
        promises.append(
            Promise(task, MONDAY + timedelta(days=days), made, made + timedelta(hours=hours))
        )
        history[task] = done(LONG_BEFORE + timedelta(hours=done_hours))
    mondays = [MONDAY + timedelta(days=7 * i) for i in range(-3, 4)]
    for found in weeks_past(promises, history, zone=ZONE, mondays=mondays):
        assert 0 <= found.done <= found.promised <= found.planned


def test_the_picture_says_every_week_in_words() -> None:
    bars = [ShareBar("2026-W47", 0.8, "8 of 10"), ShareBar("2026-W48", None, "")]
    svg = week_shares(bars, title="Planned work completed & kept")
    assert "2026-W47: 80 % (8 of 10); 2026-W48: nothing promised." in svg
    assert "completed &amp; kept" in svg
    assert week_shares([], title="None").count("<rect") == 0
