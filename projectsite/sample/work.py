"""The work of the sample project: seven weeks of marks, checkouts, punch items, plans."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from uuid import NAMESPACE_URL, UUID, uuid5

from projectsite.core.scope import Scope
from projectsite.core.units import Entered
from projectsite.sample.schedules import days_before
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.board import applies, options_of
from zones.work.domain.types import StepFacts
from zones.work.operations import assignments, checkouts, marks, periods, plans, punch
from zones.work.queries import checkouts as checkout_queries
from zones.work.queries import plans as plan_queries
from zones.work.queries.board import whole_board
from zones.work.queries.checkouts import PointRow

BEGAN_DAYS = 52
"""Days ago that the first box was hung."""
DAYS_A_BOX = 1.05
AFTER_HANGING: Mapping[str, int] = {
    "box-hung": 0,
    "duct-connected": 2,
    "controller-mounted": 4,
    "outlets-connected": 5,
    "tubes-connected": 5,
    "transformer-set": 5,
    "coil-piped": 6,
    "discharge-sensor-installed": 6,
    "room-sensor-wired": 7,
    "heater-wired": 7,
    "valve-wired": 8,
    "power-landed": 9,
    "bus-landed": 9,
    "address-set": 11,
    "configured": 12,
    "trunk-terminated": 14,
    "on-network": 15,
}
"""Days from the hanging of a box to the day on which a step of it was done."""
AIR_ON: Mapping[str, int] = {"AHU-1": 20, "AHU-2": 10}
"""Days ago that an air handler gave air; its heating water came a week later."""
HEAT_ON: Mapping[str, int] = {"AHU-1": 13, "AHU-2": 3}
HELD = (
    ("VAV-1-08", "outlets-proportioned", "Short of air: the branch damper is looked at first."),
    ("VAV-2-11", "heater-wired", "The heater came with the wrong voltage; another is ordered."),
)

MARKED_EVERY = 3
"""Days from one marking to the next."""
WEEKS_PROMISED = (28, 21, 14, 7, 0)
"""Weeks before this one, in days, whose work was promised on the Sunday before."""
TOO_MUCH_DAYS = 2
"""Days of the week after that were promised too: what is not done as promised."""
TRADES_IN_TURN = ("mechanical", "electrical", "controls", "balancer")
Planned = dict[tuple[int, str], list[tuple[int, int]]]
"""By days ago and trade: unit and step."""


def key(scope: Scope, name: str) -> UUID:
    """Give a client key that is the same every time the sample is loaded."""
    return uuid5(NAMESPACE_URL, f"sample:{scope.project.key}:{name}")


def do_the_work(
    office: Scope, by_trade: Mapping[str, Scope], *, tested: Sequence[str], at: datetime
) -> None:
    """Tell what was promised and done on which day, each trade by its own person.

    Past weeks were promised when they began: what was then done, and a little that was not. The
    two weeks to come are promised today.
    """
    whole = whole_board(office)
    steps = {step.key: step for step in whole.board.steps}
    planned: Planned = defaultdict(list)
    for place, unit in enumerate(whole.outlines):
        for days, step in _schedule(place, unit, steps, tested):
            # What is done is written down twice a week; marking day by day would take longer.
            told = -(-days // MARKED_EVERY) * MARKED_EVERY if days > 0 else days
            planned[told, step.trade].append((unit.id, step.id))
    sundays = {at.weekday() + 1 + days for days in WEEKS_PROMISED}
    for days in range(BEGAN_DAYS + MARKED_EVERY, 0, -1):
        if days in sundays:
            first_after = days - 7 - TOO_MUCH_DAYS
            _promise(office, by_trade, planned, range(first_after, days), at, made=days)
        for trade in TRADES_IN_TURN:
            cells = planned.get((days, trade), [])
            if cells:
                scope, moment = by_trade.get(trade, office), days_before(at, days)
                marks.mark_steps(scope, cells=cells, mark="done", at=moment)
    _promise(office, by_trade, planned, range(-13, 0), at, made=0)
    units = {unit.tag: unit for unit in whole.outlines}
    for tag, step_key, note in HELD:
        cell = (units[tag].id, steps[step_key].id)
        marks.mark_steps(office, cells=[cell], mark="held", note=note, at=days_before(at, 2))


def _promise(
    office: Scope,
    by_trade: Mapping[str, Scope],
    planned: Planned,
    days: range,
    at: datetime,
    *,
    made: int,
) -> None:
    """Promise the work of these days, by the day that each was planned for, in one week."""
    for (day, trade), cells in sorted(planned.items()):
        if day in days and trade in by_trade:
            assignments.assign(
                office,
                cells=cells,
                person_id=by_trade[trade].person.id,
                due_date=days_before(at, max(day, made - 6) if made else day).date(),
                at=days_before(at, made),
            )


def _schedule(
    place: int, unit: UnitOutline, steps: Mapping[str, StepFacts], tested: Sequence[str]
) -> Iterator[tuple[int, StepFacts]]:
    """Steps of a unit with the day of each, in days ago; what is below 1 is still to be done."""
    hung = BEGAN_DAYS - round(place * DAYS_A_BOX)
    options = options_of(unit)
    for step_key, after in AFTER_HANGING.items():
        step = steps[step_key]
        if applies(options, heats=step.heats, fans=step.fans, needs=step.needs):
            yield hung - after, step
    for step_key, on in (("supply-air-available", AIR_ON), ("heat-source-available", HEAT_ON)):
        if unit.air_handler in on:
            yield on[unit.air_handler], steps[step_key]
    if unit.tag in tested:
        yield 19 - tested.index(unit.tag), steps["sensor-zeroed"]


def plan_files(fixtures: Path) -> Iterator[tuple[str, Path]]:
    """Floors and the files of their plans."""
    for file in sorted((fixtures / "plans").glob("floor-*.pdf")):
        yield file.stem.removeprefix("floor-"), file


def unit_id(scope: Scope, tag: str) -> int:
    """Id of a unit by its tag."""
    return inventory.unit_id_of(scope, tag)


FAILS = {"VAV-2-04": ("damper-travel", "Stops half way; the index does not match the shaft.")}
"""Units with a point that fails still."""
MENDED = {"VAV-1-04": ("room-sensor-button", "No change at the controller when it is pressed.")}
"""Units with a point that failed, was mended and passes now."""


def check_out(office: Scope, controls: Scope, *, tags: Sequence[str], at: datetime) -> None:
    """Check units out, one a day; one point fails still, one failed and was mended."""
    for place, tag in enumerate(tags):
        moment = days_before(at, max(20 - place, 1))
        found = checkouts.begin(controls, unit_id=unit_id(controls, tag), at=moment)
        wrong = (FAILS | MENDED).get(tag, ("", ""))
        for point in checkout_queries.sheet(controls, found).points:
            seen = _wrong(wrong[1]) if point.key == wrong[0] else _right(point)
            checkouts.observe(
                controls, point_id=point.id, version=point.version, seen=seen, at=moment
            )
        if tag in MENDED:
            _mend(office, controls, found, days_before(at, max(19 - place, 1)))
        if tag in FAILS:
            continue
        version = checkout_queries.sheet(controls, found).version
        checkouts.complete(controls, checkout_id=found, version=version, at=moment)


def _wrong(note: str) -> checkouts.Observation:
    return {"is_right": False, "note": note}


def _right(point: PointRow) -> checkouts.Observation:
    """What a technician writes down at a box that is right."""
    facts = point.facts
    if facts.kind == "confirm":
        return {"is_right": True}
    if facts.kind == "match":
        return {"observed_text": facts.expected}
    if facts.kind == "sensor":
        return {"observed": Entered(21.4, "70.5 °F"), "reference": Entered(21.3, "70.3 °F")}
    low, high = facts.low_si, facts.high_si
    middle = ((low or 0.0) + (high if high is not None else (low or 0.0))) / 2
    return {"observed": Entered(middle, "")}


def _mend(office: Scope, controls: Scope, checkout_id: int, at: datetime) -> None:
    """Answer the item that a failure opened, look at the point again, and verify the item."""
    point = next(
        p for p in checkout_queries.sheet(controls, checkout_id).points if p.verdict == "fail"
    )
    (item,) = point.items
    punch.answer_item(
        controls, item_id=item.id, version=1, text="A wire was loose in the sensor's base.", at=at
    )
    checkouts.observe(
        controls, point_id=point.id, version=point.version, seen={"is_right": True}, at=at
    )
    punch.verify_item(office, item_id=item.id, version=2, text="Pressed again; it works.", at=at)


@dataclass(frozen=True, slots=True)
class Item:
    """A punch item of the story: who opened it at which unit, and what was answered."""

    tag: str
    by: str
    trade: str
    text: str
    severity: str = "mend"
    due_in_days: int = 7
    answer: str = ""


ITEMS = (
    Item(
        "VAV-1-08",
        "balancer",
        "mechanical",
        "Short of air with the damper open. Look at the branch damper above the café counter.",
        "holds",
    ),
    Item(
        "VAV-1-02",
        "owner",
        "mechanical",
        "Diffuser over the desk sits crooked in the ceiling.",
        answer="Set straight and clipped.",
    ),
    Item("VAV-1-13", "controls", "electrical", "Service switch is not labelled.", "note", -3),
    Item(
        "VAV-2-11",
        "office",
        "electrical",
        "Heater came for another voltage; exchange it.",
        "holds",
        12,
    ),
    Item("VAV-2-06", "controls", "mechanical", "Straight inlet length is short; send a sketch."),
)


def open_items(scopes: Sequence[Scope], *, at: datetime) -> None:
    """Open the items of the story, and answer those that were answered."""
    by_role = {scope.role: scope for scope in scopes}
    answers = {scope.trade: scope for scope in scopes if scope.trade}
    for item in ITEMS:
        scope = by_role[item.by]
        opened = days_before(at, 5)
        found = punch.open_item(
            scope,
            kind="unit",
            subject_id=unit_id(scope, item.tag),
            trade=item.trade,
            text=item.text,
            severity=item.severity,
            due_date=(at + timedelta(days=item.due_in_days)).date(),
            person_id=None,
            client_key=key(scope, f"{item.tag}:{item.text}"),
            at=opened,
        )
        if item.answer:
            punch.answer_item(
                answers[item.trade],
                item_id=found,
                version=1,
                text=item.answer,
                at=days_before(at, 1),
            )


TWO_POINTS_FT = 96.0
"""Width of the building: the distance between the two points that set the scale of a plan."""


def add_plans(office: Scope, fixtures: Path, *, at: datetime) -> None:
    """Store the plans of the floors, with their scale and origin."""
    for floor, file in plan_files(fixtures):
        found = plans.add_plan(
            office,
            floor=floor,
            name=f"Mechanical plan, floor {floor}",
            content=file.read_bytes(),
            file_name=file.name,
            at=at,
        )
        # Corners of the building on the paper, in millimetres of a sheet 420 mm wide.
        a_mm = plan_queries.plan_facts(office, found).width_px / 420.0
        west, east, south = 56.0 * a_mm, (56.0 + 96 * 3.2) * a_mm, 276.0 * a_mm
        version = plans.set_scale(
            office,
            plan_id=found,
            version=1,
            first_px=(west, south),
            second_px=(east, south),
            distance=Entered(TWO_POINTS_FT * 0.3048, f"{TWO_POINTS_FT:g} ft"),
        )
        plans.set_origin(office, plan_id=found, version=version, origin_px=(west, south))


PERIODS = (
    # Floor, trade, begins and ends, in days from today.
    ("1", "mechanical", -54, -28),
    ("2", "mechanical", -40, -14),
    ("3", "mechanical", -26, 2),
    ("1", "controls", -48, -16),
    ("2", "controls", -34, 4),
    ("3", "controls", -20, 25),
    ("", "electrical", -48, 6),
    ("1", "balancer", -20, 2),
    ("2", "balancer", -6, 16),
    ("3", "balancer", 10, 30),
    ("", "office", 0, 38),
)


def plan_periods(office: Scope, *, at: datetime) -> None:
    """Say when each trade was to work on each floor."""
    for floor, trade, first, last in PERIODS:
        periods.add_period(
            office,
            values={
                "floor": floor,
                "trade": trade,
                "start_date": (at + timedelta(days=first)).date(),
                "finish_date": (at + timedelta(days=last)).date(),
            },
        )
