"""Steps one below the other: what stands beside each, and what may be said of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from projectsite.core.scope import Scope
from projectsite.ui.columns import Column
from projectsite.ui.marks import Mark
from projectsite.ui.tables import Table
from zones.work.domain.board import State
from zones.work.queries.cells import CellFacts, may_mark, may_mark_done
from zones.work.queries.my_work import Place
from zones.work.tables.cells import TRADES, standing, told


@dataclass(frozen=True, slots=True)
class StepLine:
    """A step of a unit as a line of a list.

    Attributes
    ----------
    told
        What is known of it: who, when, why, what it waits for.
    can_take, can_finish, can_hold, can_take_back
        Buttons that the person gets.
    is_record_only
        It is not done, and only the record completes it.
    """

    facts: CellFacts
    trade: str
    mark: Mark
    told: str
    proof_url: str
    can_take: bool
    can_finish: bool
    can_hold: bool
    can_take_back: bool
    is_record_only: bool

    @property
    def cell(self) -> str:
        """Unit and step, as a form sends them."""
        return f"{self.facts.unit_id}-{self.facts.step.id}"

    @property
    def can_say(self) -> bool:
        """Tell whether there is any button."""
        return self.can_take or self.can_finish or self.can_hold or self.can_take_back


def line_of(scope: Scope, facts: CellFacts, zone: ZoneInfo) -> StepLine:
    """Put together a line and the buttons that make sense in its state."""
    may = may_mark(scope, facts)
    is_open = may and facts.state in {State.READY, State.WAITING, State.IN_HAND, State.HELD}
    return StepLine(
        facts,
        TRADES[facts.step.trade],
        standing(facts),
        " ".join(told(facts, zone)),
        facts.proof.url if facts.proof and (facts.is_proven or facts.is_withdrawn) else "",
        can_take=is_open and facts.state is not State.IN_HAND,
        can_finish=is_open and may_mark_done(facts.step),
        can_hold=is_open and facts.state is not State.HELD,
        can_take_back=may and facts.mark is not None,
        is_record_only=not may_mark_done(facts.step) and facts.state is not State.DONE,
    )


def sheet_of(found: Iterable[tuple[Place, list[CellFacts]]], zone: ZoneInfo) -> Table:
    """Give the steps that can be done now as a list for a file."""
    rows = [
        {
            "place": place.label,
            "floor": place.unit.floor,
            "location": place.unit.location if place.kind == "unit" else "",
            "trade": TRADES[facts.step.trade],
            "step": facts.step.name,
            "state": standing(facts),
            "told": " ".join(told(facts, zone)),
            "person": facts.assignment.person if facts.assignment else "",
            "due": facts.due_date,
        }
        for place, cells in found
        for facts in cells
    ]
    columns = (
        Column("place", "Unit or group"),
        Column("floor", "Floor", width=8),
        Column("location", "Location"),
        Column("trade", "Trade", width=12),
        Column("step", "Step", width=40),
        Column("state", "State", "mark"),
        Column("told", "What is known", width=60),
        Column("person", "Assigned to"),
        Column("due", "Due", "date"),
    )
    return Table("Work that can be done now", columns, rows)
