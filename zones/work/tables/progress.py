"""Tables, pictures and sentences of the progress, the same on the page and in documents."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from projectsite.core.numeric import rounded
from projectsite.core.plots_work import (
    Finish,
    HoursBar,
    HoursPoint,
    hours_bars,
    hours_curve,
)
from projectsite.ui.columns import Column, Empty
from projectsite.ui.tables import Table
from zones.work.domain.forecast import HORIZON_WEEKS
from zones.work.queries.progress import Progress, Tally
from zones.work.tables.cells import TRADES

TABLES: Mapping[str, str] = {
    "trades": "By trade",
    "floors": "By floor",
    "air-handlers": "By air handler",
    "weeks": "Hours by week",
    "blocking": "What the rest waits for",
}
"""Tables by the word in the address of their file."""
Link = Callable[[str, str], str]
"""Address that narrows the page: name of the filter and its value."""
_FILTERS = {"trades": "trade", "floors": "floor", "air-handlers": "air_handler"}
_NOTHING = Empty("Nothing matches.", "Widen the search or clear the filters.")


@dataclass(frozen=True, slots=True)
class ProgressTables:
    """All tables of the progress.

    Attributes
    ----------
    link
        Makes the names of lines lead to the page narrowed to them; None on paper.
    """

    found: Progress
    link: Link | None = None

    def named(self, name: str) -> Table | None:
        """Give one of ``TABLES``, or None for a word that is none of them."""
        found = self.found
        rows = {
            "trades": found.trades,
            "floors": found.floors,
            "air-handlers": found.air_handlers,
        }
        if name in rows:
            return self._tallies(name, rows[name])
        return (
            {"weeks": self._weeks, "blocking": self._blocking}[name]() if name in TABLES else None
        )

    def _tallies(self, name: str, rows: tuple[Tally, ...]) -> Table:
        link = self.link

        def address(row: Tally) -> str:
            return link(_FILTERS[name], row.key) if link and row.key else ""

        early = [
            Column("early", "Done too soon", "count", total=sum, priority=2)
        ] if any(row.early for row in rows) else []  # fmt: skip
        has_plan = any(row.planned_budget_h > 0 for row in rows)
        planned = [_hours("planned_h", "Planned by today", rows)] if has_plan else []
        return Table(
            TABLES[name],
            (
                Column("label", TABLES[name].removeprefix("By ").capitalize(), link=address),
                Column("steps", "Steps", "count", total=sum),
                Column("done", "Done", "count", total=sum),
                *early,
                Column("in_hand", "In hand", "count", total=sum, priority=2),
                Column("held", "Held", "count", total=sum, priority=2),
                Column("ready", "Ready", "count", total=sum, priority=2),
                Column("waiting", "Waits", "count", total=sum, priority=2),
                _hours("budget_h", "Budget", rows),
                *planned,
                _hours("earned_h", "Earned", rows),
                Column("earned_fraction", "Earned", "fraction", total=lambda _: _whole(rows)),
            ),
            rows,
            empty=_NOTHING,
        )

    def _weeks(self) -> Table:
        has_plan = any(point.planned_h is not None for point in self.found.curve)
        planned = [_amount("planned_h", "Planned in all")] if has_plan else []
        return Table(
            TABLES["weeks"],
            (
                Column("day", "Up to the end of", "date"),
                *planned,
                _amount("earned_h", "Earned in all"),
                _amount("week_earned_h", "Earned since the line above"),
            ),
            self.found.curve,
            empty=Empty("No hours yet.", "Nothing is done and nothing is planned."),
        )

    def _blocking(self) -> Table:
        return Table(
            TABLES["blocking"],
            (
                Column("step", "Step", width=34),
                Column("trade", "Owed by", value=lambda row: TRADES[row.trade]),
                Column("open", "Open at units", "count"),
                Column("held", "Held", "count", priority=2),
                Column("waiting", "Steps that wait for it", "count"),
            ),
            self.found.blocking,
            empty=Empty("Nothing waits.", "No step waits for another."),
        )


def _whole(rows: tuple[Tally, ...]) -> float | None:
    budget_h = sum(row.budget_h for row in rows)
    return sum(row.earned_h for row in rows) / budget_h if budget_h > 0 else None


def _amount(key: str, label: str) -> Column:
    def value(row: object) -> float | None:
        hours: float | None = getattr(row, key)
        return None if hours is None else float(rounded(hours, 1))

    return Column(key, f"{label}, h", "figure", value=value)


def _hours(key: str, label: str, rows: tuple[Tally, ...]) -> Column:
    made = _amount(key, label)

    def total(_: object) -> float:
        # Of the hours as they are: rounded lines need not add up to the rounded total.
        return float(rounded(sum(getattr(row, key) for row in rows), 1))

    return Column(key, made.label, "figure", value=made.value, total=total)


def curve_picture(found: Progress, *, key: str = "hours") -> str:
    """Draw earned against planned hours with the range of the forecast, as SVG text."""
    outlook = found.forecast
    ends = Finish(outlook.early_date, outlook.middle_date, outlook.late_date)
    return hours_curve(
        [HoursPoint(point.day, point.planned_h, point.earned_h) for point in found.curve],
        today=found.today,
        budget_h=found.whole.budget_h,
        finish=None if outlook.refusal else ends,
        key=key,
    )


def trades_picture(found: Progress, *, key: str = "trades") -> str:
    """Draw earned out of budgeted hours by trade, as SVG text."""
    return hours_bars(
        [
            HoursBar(
                row.label,
                row.earned_h,
                row.budget_h,
                row.planned_h if row.planned_budget_h > 0 else None,
            )
            for row in found.trades
        ],
        key=key,
    )


def standing_words(found: Progress) -> list[str]:
    """Say how the work stands against the plan."""
    said = []
    standing = found.standing
    if standing is not None:
        value, index = standing.value, standing.value.schedule_index
        ratio = f", {rounded(index, 2)} for each planned hour" if index is not None else ""
        said.append(
            f"Of the planned steps {rounded(value.earned_h, 1)} h are earned and "
            f"{rounded(value.planned_h, 1)} h were planned by today{ratio}."
        )
        gap = standing.earned_weeks - standing.elapsed_weeks
        place = "ahead of" if gap >= 0 else "behind"
        said.append(
            f"What is earned was planned for week {rounded(standing.earned_weeks, 1)}; this is "
            f"week {rounded(standing.elapsed_weeks, 1)} of the plan: the work is "
            f"{rounded(abs(gap), 1)} weeks {place} it."
        )
    elif found.plan_finish is not None:
        said.append("The plan has not begun yet.")
    if found.plan_finish is not None and found.unplanned_h > 0.05:
        said.append(
            f"{rounded(found.unplanned_h, 1)} h have no planned period and no date; they are "
            "left out of the plan."
        )
    return said


def forecast_words(found: Progress) -> list[str]:
    """Say when the work may end, how sure that is, and what it is made from."""
    outlook = found.forecast
    if outlook.refusal:
        return [f"No forecast: {outlook.refusal[:1].lower()}{outlook.refusal[1:]}"]
    if outlook.early_date is None:
        ends = f"Fewer than a tenth of the simulated runs end within {HORIZON_WEEKS // 52} years."
    else:
        ends = (
            f"A tenth of the simulated runs end by {_day(outlook.early_date)}, half by "
            f"{_day(outlook.middle_date)}, nine tenths by {_day(outlook.late_date)}."
        )
    pace = f"From {outlook.past_weeks} past weeks of {rounded(outlook.mean_h, 1)} h on average"
    said = [f"{pace}; {rounded(outlook.remaining_h, 1)} h remain. {ends}"]
    if found.plan_finish is not None and outlook.middle_date is not None:
        late = (outlook.middle_date - found.plan_finish).days
        days = f"{abs(late)} {'day' if abs(late) == 1 else 'days'}"
        place = f"{days} after it" if late > 0 else f"{days} before it" if late else "with it"
        said.append(
            f"The plan ends on {found.plan_finish.isoformat()}; the middle one of the runs ends "
            f"{place}."
        )
    said.append(
        "The runs draw the weeks to come from the weeks that were. They know nothing of "
        "holidays, of a larger crew, or of work that waits for somebody."
    )
    return said


def _day(day: date | None) -> str:
    return day.isoformat() if day else f"a day more than {HORIZON_WEEKS // 52} years away"
