"""The forecast: plain refusals, repeatable draws, and dates that hold what they promise."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from zones.work.domain.forecast import Forecast, forecast

TODAY = date(2026, 11, 25)


def drawn(weekly: list[float], remaining: float, seed: int = 3, **more: int) -> Forecast:
    rng = np.random.default_rng(seed)
    return forecast(weekly, remaining, today=TODAY, rng=rng, **more)


def test_a_steady_crew_ends_on_one_day() -> None:
    # Five weeks of 40 h: 100 h take two and a half weeks, 17.5 days.
    found = drawn([40.0] * 5, 100)
    assert found.refusal == ""
    assert {found.early_date, found.middle_date, found.late_date} == {TODAY + timedelta(days=18)}
    assert found.mean_h == 40
    assert found.unfinished == 0


def test_the_same_seed_gives_the_same_dates_and_order_of_weeks_does_not_matter_much() -> None:
    weekly = [0.0, 55, 12, 80, -6, 33, 47, 20]
    assert drawn(weekly, 400) == drawn(weekly, 400)
    one, other = drawn(weekly, 400), drawn(weekly[::-1], 400, seed=8)
    assert one.early_date is not None
    assert one.middle_date is not None
    assert other.middle_date is not None
    assert one.late_date is not None
    assert one.early_date < one.middle_date < one.late_date
    assert abs((one.middle_date - other.middle_date).days) <= 4


def test_eight_of_ten_finishes_lie_between_the_dates() -> None:
    # A crew whose weeks are drawn from a known law; the range from 24 seen weeks should hold
    # about 80 % of what comes. With 24 weeks the bootstrap is a little too sure of itself.
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(200):
        past = rng.gamma(4.0, 10.0, 24)
        total = np.cumsum(rng.gamma(4.0, 10.0, 60))
        week = int(np.argmax(total >= 600))
        before = total[week - 1]
        end = TODAY + timedelta(days=7 * (week + (600 - before) / (total[week] - before)))
        found = forecast(list(past), 600, today=TODAY, rng=rng, runs=300)
        assert found.early_date is not None
        assert found.late_date is not None
        held += found.early_date <= end <= found.late_date
    assert 0.6 <= held / 200 <= 0.9


def test_only_the_latest_half_year_is_drawn_from() -> None:
    assert drawn([1000.0] * 10 + [10.0] * 26, 100).mean_h == 10


@pytest.mark.parametrize(
    ("weekly", "remaining", "words"),
    [
        ([5.0] * 6, 0.0, "Nothing remains"),
        ([], 10.0, "No past week"),
        ([0.0] * 9, 10.0, "No past week"),
        ([5.0, 0, 5, 0, 5], 10.0, "needs 4 past weeks with work; so far there are 3"),
        ([5.0, -5, 5, -5, 5, -5, 5, -5], 10.0, "took back as many"),
    ],
)
def test_too_little_to_go_by_is_said(weekly: list[float], remaining: float, words: str) -> None:
    found = drawn(weekly, remaining)
    assert words in found.refusal
    assert found.middle_date is None


def test_runs_beyond_the_horizon_have_no_date() -> None:
    found = drawn([1.0, 2, 1, 2], 15, horizon_weeks=10)
    assert found.early_date is not None
    assert found.late_date is None
    assert 0.1 < found.unfinished < 0.9
    assert drawn([1.0] * 4, 1e6).unfinished == 1


@pytest.mark.parametrize(
    ("weekly", "remaining", "more", "what"),
    [
        ([float("nan")] * 4, 1.0, {}, "finite"),
        ([1.0] * 4, -1.0, {}, "remaining_h"),
        ([1.0] * 4, 1.0, {"runs": 0}, "runs"),
    ],
)
def test_what_makes_no_sense_is_refused(
    weekly: list[float], remaining: float, more: dict[str, int], what: str
) -> None:
    with pytest.raises(ValueError, match=what):
        drawn(weekly, remaining, **more)
