"""The work of the sample project: seven weeks of marks, checkouts, punch items, plans."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from uuid import NAMESPACE_URL, UUID, uuid5

from projectsite.core.scope import Scope
from projectsite.sample.schedules import days_before
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.types import StepFacts
from zones.work.operations import marks
from zones.work.queries.board import whole_board

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

Said = dict[tuple[int, str], list[tuple[int, int]]]
"""By days ago and trade: unit and step."""


def key(scope: Scope, name: str) -> UUID:
    """Give a client key that is the same every time the sample is loaded."""
    return uuid5(NAMESPACE_URL, f"sample:{scope.project.key}:{name}")


def mark_steps(
    office: Scope, by_trade: Mapping[str, Scope], *, tested: Sequence[str], at: datetime
) -> int:
    """Tell what was done on which day, each trade by its own person; how many marks it took."""
    board = whole_board(office)
    steps = {step.key: step for step in board.board.steps}
    said: Said = defaultdict(list)
    for place, unit in enumerate(board.outlines):
        for days, step in _done(place, unit, steps, tested):
            said[days, step.trade].append((unit.id, step.id))
    count = 0
    for (days, trade), cells in sorted(said.items(), key=lambda item: -item[0][0]):
        scope = by_trade.get(trade, office)
        moment = days_before(at, days)
        count += marks.mark_steps(scope, cells=cells, mark="done", at=moment).changed
    units = {unit.tag: unit for unit in board.outlines}
    for tag, step_key, note in HELD:
        cell = (units[tag].id, steps[step_key].id)
        marks.mark_steps(office, cells=[cell], mark="held", note=note, at=days_before(at, 2))
    return count


def _done(
    place: int, unit: UnitOutline, steps: Mapping[str, StepFacts], tested: Sequence[str]
) -> Iterator[tuple[int, StepFacts]]:
    """Steps of a unit that are done by today, with how many days ago each was."""
    hung = BEGAN_DAYS - round(place * DAYS_A_BOX)
    for step_key, after in AFTER_HANGING.items():
        if hung - after > 0:
            yield hung - after, steps[step_key]
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
