"""Promised work by week: how much of it was done as promised, and how much could be done at all.

Weeks are those of ISO 8601: they begin on Monday at midnight in the project's time zone.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

Task = Hashable
"""Names a step of a subject."""
_WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Promise:
    """A step of a subject that was to be done by the end of a day.

    ``ended_at`` is when it was changed or withdrawn, or None while it stands.
    """

    task: Task
    due_date: date
    made_at: datetime
    ended_at: datetime | None = None

    def is_standing(self, moment: datetime) -> bool:
        """Tell whether it had been given and not been changed at a moment."""
        return self.made_at <= moment and (self.ended_at is None or self.ended_at > moment)


@dataclass(frozen=True, slots=True)
class Said:
    """From when on a task stood like this: one of ``words.MARKS``."""

    at: datetime
    state: str


@dataclass(frozen=True, slots=True)
class WeekFigures:
    """What a week was to bring and what it brought.

    Attributes
    ----------
    monday
        First day of the week.
    promised, done
        Promises that stood when the week began, and how many of them were kept.
    planned, ready
        Tasks that the plan held for the week, when the week before began or when it began
        itself, and how many of them nothing held up when it began. ``ready`` is None when
        that can't be told.
    """

    monday: date
    promised: int
    done: int
    planned: int
    ready: int | None

    @property
    def label(self) -> str:
        """Name of the week, as in ISO 8601."""
        return iso_week(self.monday)

    @property
    def completed_fraction(self) -> float | None:
        """Share of planned work completed [0 to 1], or None when nothing was promised."""
        return planned_completed(self.promised, self.done)

    @property
    def ready_fraction(self) -> float | None:
        """Share of tasks made ready [0 to 1], or None when it can't be told."""
        return None if self.ready is None else tasks_made_ready(self.planned, self.ready)


def planned_completed(promised: int, done: int) -> float | None:
    """Share of planned work completed: tasks done as promised over tasks promised.

    A task is done as promised or it is not: late counts as not done. Work that nobody had
    promised does not count, so the share never passes 1.

    Parameters
    ----------
    promised
        Tasks promised for the week [>= 0].
    done
        Those of them that were done in time [0 to ``promised``].

    Returns
    -------
    float or None
        Share [fraction, 0 to 1]; None when nothing was promised.

    Raises
    ------
    ValueError
        A number is negative, or more was done than was promised.

    References
    ----------
    Percent plan complete of the Last Planner System, as in the glossary of the Lean
    Construction Institute (published).

    Examples
    --------
    >>> planned_completed(10, 8)
    0.8
    """
    return _share("done", done, "promised", promised)


def tasks_made_ready(planned: int, ready: int) -> float | None:
    """Share of the tasks planned for a week that nothing held up when it began.

    Parameters
    ----------
    planned
        Tasks due in the week that the look-ahead held [>= 0].
    ready
        Those of them that were free of constraints [0 to ``planned``].

    Returns
    -------
    float or None
        Share [fraction, 0 to 1]; None when nothing was planned.

    Raises
    ------
    ValueError
        A number is negative, or more was ready than was planned.

    References
    ----------
    Tasks made ready of the Last Planner System (published, leanproject.com).

    Examples
    --------
    >>> tasks_made_ready(10, 5)
    0.5
    """
    return _share("ready", ready, "planned", planned)


def _share(part_name: str, part: int, whole_name: str, whole: int) -> float | None:
    if part < 0 or whole < 0:
        raise ValueError(f"{part_name} is {part} and {whole_name} is {whole}; both count tasks")
    if part > whole:
        raise ValueError(f"{part_name} is {part}, more than {whole_name}, which is {whole}")
    return part / whole if whole else None


def monday_of(day: date) -> date:
    """First day of the week of a day.

    >>> monday_of(date(2026, 11, 25))
    datetime.date(2026, 11, 23)
    """
    return day - timedelta(days=day.weekday())


def iso_week(day: date) -> str:
    """Name of the week of a day, as in ISO 8601.

    >>> iso_week(date(2027, 1, 1))
    '2026-W53'
    """
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def begins(day: date, zone: ZoneInfo) -> datetime:
    """First moment of a day in a time zone."""
    return datetime.combine(day, time.min, tzinfo=zone)


def state_at(said: Sequence[Said], moment: datetime) -> str:
    """How a task stood just before a moment, by what was said of it in order; "open" at first."""
    found = "open"
    for entry in said:
        if entry.at >= moment:
            break
        found = entry.state
    return found


def was_kept(promise: Promise, said: Sequence[Said], zone: ZoneInfo) -> bool:
    """Tell whether the task was done when its day ended; done and taken back is not done."""
    end = begins(promise.due_date + timedelta(days=1), zone)
    return state_at(said, end) == "done"


def weeks_past(
    promises: Iterable[Promise],
    history: Mapping[Task, Sequence[Said]],
    *,
    zone: ZoneInfo,
    mondays: Sequence[date],
    is_ready: Callable[[Task, date], bool] | None = None,
) -> list[WeekFigures]:
    """Figures of weeks, from the promises made for them and what became of each.

    A promise counts for the week of its day when it stood as the week began: what is promised
    or done during the week besides does not raise the share, and a promise that is moved
    within its week stays in the count. A task that did not apply when the week began is left
    out.

    Parameters
    ----------
    promises
        All promises, ended ones too.
    history
        What was said of each task, in the order of time.
    zone
        Time zone of the project.
    mondays
        First days of the weeks.
    is_ready
        Tells whether nothing held up a task when the week of this Monday began.

    Raises
    ------
    ValueError
        One of ``mondays`` is another day of the week.

    References
    ----------
    Last Planner System: late counts as not done (glossary of the Lean Construction Institute,
    published); unplanned work does not raise the share (leanproject.com, published).
    """
    of_week: dict[date, list[Promise]] = {}
    for promise in promises:
        of_week.setdefault(monday_of(promise.due_date), []).append(promise)
    figures = []
    for monday in mondays:
        if monday.weekday():
            raise ValueError(f"{monday} is not a Monday")
        start = begins(monday, zone)
        before = begins(monday - _WEEK, zone)
        due = [
            p
            for p in of_week.get(monday, ())
            if state_at(history.get(p.task, ()), start) != "not-applicable"
        ]
        standing = {p.task: p for p in due if p.is_standing(start)}
        planned = standing.keys() | {p.task for p in due if p.is_standing(before)}
        figures.append(
            WeekFigures(
                monday,
                promised=len(standing),
                done=sum(was_kept(p, history.get(t, ()), zone) for t, p in standing.items()),
                planned=len(planned),
                ready=None if is_ready is None else sum(is_ready(t, monday) for t in planned),
            )
        )
    return figures
