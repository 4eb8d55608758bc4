"""When the work will be done, by drawing again from the weeks that have been."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

FEWEST_WEEKS = 4
"""Weeks with work below which the past says too little. Common practice, no source."""
MOST_PAST_WEEKS = 26
"""Past weeks that are drawn from, the latest first: half a year of the same crew."""
RUNS = 2000
"""Simulated runs; the dates move by a few days from seed to seed."""
HORIZON_WEEKS = 260
"""Weeks that are looked ahead, five years."""
CHANCES = (0.1, 0.5, 0.9)
_RUNS_AT_A_TIME = 500


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the remaining hours will be earned, or why that can't be told.

    Attributes
    ----------
    refusal
        Why there is no forecast, in one sentence; "" when there is one.
    early_date, middle_date, late_date
        Dates by which a tenth, half and nine tenths of the simulated runs end; None when the
        runs go on beyond the horizon.
    past_weeks
        Past weeks that were drawn from.
    remaining_h
        Hours that are still to be earned [h].
    mean_h
        Mean of the past weeks [h a week].
    unfinished
        Part of the runs that did not end within the horizon [fraction, 0 to 1].
    """

    refusal: str
    remaining_h: float
    early_date: date | None = None
    middle_date: date | None = None
    late_date: date | None = None
    past_weeks: int = 0
    mean_h: float = 0.0
    unfinished: float = 0.0


def forecast(
    weekly_h: Sequence[float],
    remaining_h: float,
    *,
    today: date,
    rng: np.random.Generator,
    runs: int = RUNS,
    horizon_weeks: int = HORIZON_WEEKS,
) -> Forecast:
    """Forecast the finish by a bootstrap of past weekly earned hours.

    Each run draws past weeks with replacement until the remaining hours are earned. Weeks
    without work and weeks in which hours were taken back are drawn like the others. It
    takes the future to be like the past: it knows nothing of holidays, of a larger crew, or of
    work that waits for somebody.

    Parameters
    ----------
    weekly_h
        Hours earned in each past whole week, the latest last [h]; below 0 where work was
        taken back. The last 26 count.
    remaining_h
        Hours to be earned [h, >= 0].
    today
        Day from which the runs begin.
    rng
        Source of the draws; the same seed gives the same dates.
    runs
        Simulated runs [count, >= 1].
    horizon_weeks
        Weeks after which a run is given up [weeks, >= 1].

    Returns
    -------
    Forecast
        Dates with their chances, or a plain reason why there are none.

    Raises
    ------
    ValueError
        Hours that are not finite, remaining hours below 0, or fewer than 1 run or week.

    Reference
    ---------
    The bootstrap (resampling with replacement): published, Efron 1979. Its use for weekly rates
    of work: common practice, no source.

    Examples
    --------
    >>> found = forecast(
    ...     [10.0] * 5, 25.0, today=date(2026, 11, 25), rng=np.random.default_rng(1)
    ... )
    >>> found.early_date == found.late_date == date(2026, 12, 13)
    True
    """
    past = np.asarray(weekly_h, np.float64)[-MOST_PAST_WEEKS:]
    if not np.isfinite(past).all() or not np.isfinite(remaining_h):
        raise ValueError("weekly_h and remaining_h must be finite hours")
    if remaining_h < 0:
        raise ValueError(f"remaining_h must not be below 0, not {remaining_h}")
    if runs < 1 or horizon_weeks < 1:
        raise ValueError("runs and horizon_weeks must be at least 1")
    worked = int(np.count_nonzero(past > 0))
    if remaining_h <= 1e-9:
        return Forecast("Nothing remains to be earned.", 0.0)
    if not past.any():
        return Forecast("No past week earned any hours.", remaining_h)
    if worked < FEWEST_WEEKS:
        return Forecast(
            f"A forecast needs {FEWEST_WEEKS} past weeks with work; so far there "
            f"{'is' if worked == 1 else 'are'} {worked}.",
            remaining_h,
            past_weeks=len(past),
        )
    if past.sum() <= 0:
        return Forecast(
            "The past weeks took back as many hours as they earned.",
            remaining_h,
            past_weeks=len(past),
            mean_h=float(past.mean()),
        )
    weeks = _weeks_needed(past, remaining_h, rng, runs, horizon_weeks)
    # The runs that were given up are infinite, so that they count as late ones.
    marks = np.quantile(weeks, CHANCES, method="inverted_cdf")
    early, middle, late = (
        None if np.isinf(mark) else today + timedelta(days=int(np.ceil(mark * 7 - 1e-9)))
        for mark in marks
    )
    return Forecast(
        "",
        remaining_h,
        early,
        middle,
        late,
        past_weeks=len(past),
        mean_h=float(past.mean()),
        unfinished=float(np.isinf(weeks).mean()),
    )


def _weeks_needed(
    past: np.ndarray[tuple[int], np.dtype[np.float64]],
    remaining_h: float,
    rng: np.random.Generator,
    runs: int,
    horizon_weeks: int,
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Weeks that each run takes, with the part of its last week; infinite beyond the horizon."""
    found = np.full(runs, np.inf)
    for start in range(0, runs, _RUNS_AT_A_TIME):
        stop = min(start + _RUNS_AT_A_TIME, runs)
        drawn = rng.choice(past, size=(stop - start, horizon_weeks))
        total = np.cumsum(drawn, axis=1)
        is_there = total >= remaining_h - 1e-9
        ends = is_there.any(axis=1)
        rows, last = np.flatnonzero(ends), is_there.argmax(axis=1)[ends]
        rate = drawn[rows, last]
        missing = remaining_h - (total[rows, last] - rate)
        found[start + rows] = last + np.clip(missing / rate, 0.0, 1.0)
    return found
