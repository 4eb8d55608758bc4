"""Sections of the documents of the work, out of the record as it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from projectsite.core import units
from projectsite.core.plots_work import Finish, HoursBar, HoursPoint, hours_bars, hours_curve
from projectsite.core.scope import Scope
from reports.domain.blocks import CellData, ColumnData, SectionData
from reports.domain.marking import MarkState
from zones.work.domain.forecast import Forecast
from zones.work.domain.words import TRADES
from zones.work.queries.checkouts import CheckoutSheet, PointRow, checkout_sheet
from zones.work.queries.progress import Progress, ProgressFilter, Tally, progress_of
from zones.work.queries.punch import PunchFilter, PunchRow, punch_rows

KINDS = frozenset({"progress-report", "punch-list", "checkout-sheets"})
"""Kinds of document that are made of sections."""
CAUTION = (
    "Work on energised equipment and heaters is for qualified people under the employer's rules. "
    "Local code, the manufacturer's instructions and licensed practice govern; a checkout says "
    "what was seen, not that a circuit is safe."
)
_TRADE_NAMES = dict(TRADES)
_ITEM_MARKS: dict[str, tuple[MarkState, str]] = {
    "open": ("wait", "open"),
    "answered": ("look", "answered"),
    "verified": ("done", "verified"),
}
_VERDICTS: dict[str, tuple[MarkState, str]] = {
    "": ("wait", "not judged"),
    "pass": ("done", "passes"),
    "fail": ("hold", "fails"),
}
_ITEM_COLUMNS = (
    ColumnData("Number", 6, is_number=True),
    ColumnData("State", 12),
    ColumnData("About", 16),
    ColumnData("Floor", 6),
    ColumnData("Location", 18),
    ColumnData("What is to be done", 46),
    ColumnData("Weight", 13),
    ColumnData("Due", 10),
    ColumnData("Person", 14),
    ColumnData("Last said", 26),
)
_POINT_COLUMNS = (
    ColumnData("Point", 24),
    ColumnData("Expected", 22),
    ColumnData("Observed", 14),
    ColumnData("Reference", 11),
    ColumnData("Verdict", 11),
    ColumnData("Why", 30),
    ColumnData("By", 20),
)
_TALLY_COLUMNS = (
    ColumnData("", 20),
    *(
        ColumnData(label, 9, is_number=True)
        for label in ("Steps", "Done", "In hand", "Ready", "Waiting", "Held")
    ),
    ColumnData("Budgeted, h", 11, is_number=True),
    ColumnData("Planned by today, h", 11, is_number=True),
    ColumnData("Earned, h", 11, is_number=True),
    ColumnData("Earned, %", 10, is_number=True),
)


def sections(
    scope: Scope,
    kind: str,
    unit_ids: Sequence[int],
    *,
    floor: str,
    air_handler_id: int | None,
    trade: str,
    day: date,
) -> tuple[SectionData, ...]:
    """Give the sections of a document, in the project's own units.

    Parameters
    ----------
    unit_ids
        Units of the floor and air handler that the document is about.
    day
        Day of the document in the project's time zone.
    """
    printed = replace(scope, person=replace(scope.person, reading_system=None))
    if kind == "punch-list":
        wanted = PunchFilter(
            state="unverified", trade=trade, floor=floor, air_handler=air_handler_id
        )
        return _punch(punch_rows(printed, wanted, sort="trade"))
    if kind == "checkout-sheets":
        return _checkouts(printed, checkout_sheet(printed, unit_ids))
    wanted_progress = ProgressFilter(floor=floor, air_handler=air_handler_id)
    return _progress(progress_of(printed, today=day, wanted=wanted_progress))


def _punch(rows: Sequence[PunchRow]) -> tuple[SectionData, ...]:
    if not rows:
        return (SectionData("Punch items", ("Nothing is open.",)),)
    found: list[SectionData] = []
    for trade, held in groupby(rows, key=lambda row: row.trade):
        items = list(held)
        answered = sum(item.state == "answered" for item in items)
        found.append(
            SectionData(
                f"Owed by {_TRADE_NAMES[trade]}",
                (f"{len(items) - answered} open, {answered} answered and to be verified.",),
                _ITEM_COLUMNS,
                tuple(_item(item) for item in items),
                starts_page=bool(found),
            )
        )
    return tuple(found)


def _item(item: PunchRow) -> tuple[CellData, ...]:
    mark, word = _ITEM_MARKS[item.state]
    if item.state == "open" and item.severity == "holds":
        mark = "hold"
    return (
        CellData(str(item.number)),
        CellData(word, mark=mark),
        CellData(item.subject),
        CellData(item.floor),
        CellData(item.location),
        CellData(item.text),
        CellData(item.severity_word),
        CellData(item.due_date.isoformat() if item.due_date else ""),
        CellData(item.person),
        CellData(item.last_text),
    )


def _checkouts(scope: Scope, sheets: Sequence[CheckoutSheet]) -> tuple[SectionData, ...]:
    if not sheets:
        return (SectionData("Checkouts", ("No unit of these has a checkout yet.",)),)
    zone = ZoneInfo(scope.project.time_zone)
    found: list[SectionData] = []
    for sheet in sheets:
        where = ", ".join(
            filter(None, (f"floor {sheet.floor}" if sheet.floor else "", sheet.location))
        )
        begun = f"Begun by {sheet.begun_by}, {_moment(sheet.begun_at, zone)}."
        ended = (
            f"Completed by {sheet.completed_by}, {_moment(sheet.completed_at, zone)}."
            if sheet.completed_at
            else "Not completed."
        )
        told = [f"{sheet.list_name}. {begun} {ended}"]
        if where:
            told.insert(0, f"{where[:1].upper()}{where[1:]}.")
        if sheet.reference_instrument:
            told.append(f"Reference instrument: {sheet.reference_instrument}.")
        if sheet.changed:
            told.append(f"Changed since, so it no longer holds: {', '.join(sheet.changed)}.")
        if sheet.note:
            told.append(sheet.note)
        found.append(
            SectionData(
                sheet.unit_tag,
                tuple(told),
                _POINT_COLUMNS,
                tuple(_point(scope, point, zone) for point in sheet.points),
                caution="" if found else CAUTION,
                starts_page=bool(found),
            )
        )
    return tuple(found)


def _point(scope: Scope, point: PointRow, zone: ZoneInfo) -> tuple[CellData, ...]:
    mark, word = _VERDICTS[point.verdict]
    numbers = ", ".join(f"punch item {item.number} ({item.state})" for item in point.items)
    why = "; ".join(filter(None, (point.told(scope), point.note, numbers)))
    when = _moment(point.observed_at, zone) if point.observed_at else ""
    return (
        CellData(point.name),
        CellData(point.asked(scope)),
        CellData(_observed(scope, point)),
        CellData(_shown(scope, point.seen.reference_si, point.facts.quantity)),
        CellData(word, mark=mark),
        CellData(why),
        CellData(", ".join(filter(None, (point.observed_by, when)))),
    )


def _observed(scope: Scope, point: PointRow) -> str:
    seen = point.seen
    if seen.is_right is not None:
        return "right" if seen.is_right else "wrong"
    return seen.observed_text or _shown(scope, seen.observed_si, point.facts.quantity)


def _shown(scope: Scope, value: float | None, kind: str) -> str:
    if value is None:
        return ""
    return units.show(value, kind, scope.project.system, with_unit=True) if kind else f"{value:g}"


def _moment(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def _progress(found: Progress) -> tuple[SectionData, ...]:
    whole = found.whole
    done = (
        f"{whole.done} of {whole.steps} steps are done; {whole.earned_h:,.0f} of "
        f"{whole.budget_h:,.0f} budgeted hours are earned. Only steps with nothing open before "
        "them earn."
    )
    told = [done]
    if found.standing is not None:
        value = found.standing.value
        told.append(
            f"Planned by today: {value.planned_h:,.0f} h; earned of what is planned: "
            f"{value.earned_h:,.0f} h."
        )
    told.append(_forecast_words(found.forecast))
    curve = (
        hours_curve(
            [HoursPoint(p.day, p.planned_h, p.earned_h) for p in found.curve],
            today=found.today,
            budget_h=whole.budget_h,
            finish=_finish(found.forecast),
        )
        if found.curve
        else ""
    )
    bars = hours_bars(
        [
            HoursBar(t.label, t.earned_h, t.budget_h, t.planned_h if t.planned_budget_h else None)
            for t in found.trades
        ]
    )
    return (
        SectionData("How the work stands", tuple(told), picture=curve),
        SectionData("By trade", columns=_tallied("Trade"), rows=_lines(found.trades), picture=bars),
        SectionData("By floor", columns=_tallied("Floor"), rows=_lines(found.floors)),
        SectionData(
            "By air handler", columns=_tallied("Air handler"), rows=_lines(found.air_handlers)
        ),
        _blocks(found),
        _weeks(found),
    )


def _forecast_words(found: Forecast) -> str:
    if found.refusal:
        return f"No forecast: {found.refusal}"
    ends = [
        day.isoformat() if day else "later than the program looks ahead"
        for day in (found.early_date, found.middle_date, found.late_date)
    ]
    return (
        f"Forecast from {found.past_weeks} past weeks ({found.mean_h:,.0f} h a week in the mean), "
        f"drawn again at random many times: one run in ten ends by {ends[0]}, half by {ends[1]}, "
        f"nine in ten by {ends[2]}. It takes for granted that coming weeks are like past ones."
    )


def _finish(found: Forecast) -> Finish | None:
    if found.refusal:
        return None
    return Finish(found.early_date, found.middle_date, found.late_date)


def _tallied(label: str) -> tuple[ColumnData, ...]:
    return (replace(_TALLY_COLUMNS[0], label=label), *_TALLY_COLUMNS[1:])


def _lines(tallies: Sequence[Tally]) -> tuple[tuple[CellData, ...], ...]:
    return tuple(
        tuple(
            CellData(text)
            for text in (
                tally.label,
                *(
                    str(number)
                    for number in (
                        tally.steps,
                        tally.done,
                        tally.in_hand,
                        tally.ready,
                        tally.waiting,
                        tally.held,
                    )
                ),
                f"{tally.budget_h:,.0f}",
                f"{tally.planned_h:,.0f}" if tally.planned_budget_h else "",
                f"{tally.earned_h:,.0f}",
                "" if tally.earned_fraction is None else f"{100 * tally.earned_fraction:.0f}",
            )
        )
        for tally in tallies
    )


def _blocks(found: Progress) -> SectionData:
    if not found.blocking:
        return SectionData("What holds the work up", ("No step waits for another.",))
    columns = (
        ColumnData("Step", 44),
        ColumnData("Owed by", 14),
        ColumnData("Units", 8, is_number=True),
        ColumnData("Held", 8, is_number=True),
        ColumnData("Steps that wait", 10, is_number=True),
    )
    rows = tuple(
        (
            CellData(block.step),
            CellData(_TRADE_NAMES.get(block.trade, block.trade)),
            CellData(str(block.open)),
            CellData(str(block.held)),
            CellData(str(block.waiting)),
        )
        for block in found.blocking
    )
    told = "A step that waits for two others counts with both."
    return SectionData("What holds the work up", (told,), columns, rows)


def _weeks(found: Progress) -> SectionData:
    columns = (
        ColumnData("Day", 12),
        ColumnData("Planned, h", 12, is_number=True),
        ColumnData("Earned, h", 12, is_number=True),
        ColumnData("Earned since the line before, h", 16, is_number=True),
    )
    rows = tuple(
        tuple(
            CellData(text)
            for text in (
                point.day.isoformat(),
                *(
                    "" if hours is None else f"{hours:,.0f}"
                    for hours in (point.planned_h, point.earned_h, point.week_earned_h)
                ),
            )
        )
        for point in found.curve
    )
    return SectionData("Hours by week", (), columns, rows)
