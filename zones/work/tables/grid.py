"""The grid of units and steps, drawn here like the tables: it has thousands of cells."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from html import escape
from zoneinfo import ZoneInfo

from django.utils.safestring import SafeString, mark_safe

from projectsite.core.scope import Scope
from projectsite.ui.columns import Column
from projectsite.ui.tables import Table
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.board import STATE_KEYS, State
from zones.work.domain.types import StepFacts
from zones.work.queries.board import WholeBoard
from zones.work.queries.cells import Cell, CellFacts, Details, cell, may_mark, may_mark_step
from zones.work.tables.cells import LOOK_AGAIN, SHAPES, TRADES, WORDS, standing, told

_SHORT = {
    **WORDS,
    State.NOT_APPLICABLE: "–",
}
_CLASSES = {state: f"{SHAPES[state]} is-{STATE_KEYS[state]}" for state in State}


@dataclass(frozen=True, slots=True)
class Grid:
    """Units down, steps across, with a tick box wherever the person may say something.

    Attributes
    ----------
    units
        Units of the page shown.
    known
        Marks and promises of these units.
    address
        Gives the page of a unit.
    chosen
        Cells that are ticked: those of a request that was refused.
    """

    scope: Scope
    whole: WholeBoard
    units: Sequence[UnitOutline]
    steps: Sequence[StepFacts]
    known: Details
    zone: ZoneInfo
    address: Callable[[UnitOutline], str]
    chosen: frozenset[Cell] = field(default_factory=frozenset)

    def __str__(self) -> str:
        # A template asks for str() and keeps it unescaped when it is a SafeString.
        return self.html()

    def __html__(self) -> str:
        """Give the grid as it stands on a page."""
        return self.html()

    @property
    def may_mark(self) -> bool:
        """Tell whether the person may mark any of the steps shown."""
        return any(may_mark_step(self.scope, step) for step in self.steps)

    def html(self) -> SafeString:
        """Give the grid in its scroll region."""
        rows = "\n".join(self._row(unit) for unit in self.units)
        return mark_safe(  # noqa: S308  # every part is escaped where it is made
            '<div class="scroll wide" role="region" aria-label="Steps of the units" tabindex="0">'
            '<table class="ledger board"><caption class="sr">Units and their steps</caption>'
            f"{self._head()}<tbody>{rows}</tbody></table></div>"
        )

    def _head(self) -> str:
        cells = "".join(self._head_cell(step) for step in self.steps)
        return f'<thead><tr><th scope="col">Unit</th>{cells}</tr></thead>'

    def _head_cell(self, step: StepFacts) -> str:
        name = escape(step.name)
        box = ""
        if may_mark_step(self.scope, step):
            box = (
                f'<label><input type="checkbox" name="column" value="{step.id}" '
                f'aria-label="Tick {name} for all units shown"></label>'
            )
        return (
            f'<th scope="col" class="step"><span class="name">{name}</span>'
            f'<span class="of">{escape(TRADES[step.trade])}</span>{box}</th>'
        )

    def _row(self, unit: UnitOutline) -> str:
        tag = escape(unit.tag)
        box = ""
        if self.may_mark:
            box = (
                f'<label><input type="checkbox" name="row" value="{unit.id}" '
                f'aria-label="Tick all steps shown of {tag}"></label>'
            )
        place = escape(" · ".join(filter(None, (unit.floor, unit.location))))
        head = (
            f'<th scope="row"><div>{box}<a href="{escape(self.address(unit))}">{tag}</a>'
            f"<small>{place}</small></div></th>"
        )
        cells = "".join(
            self._cell(tag, cell(self.whole, self.known, unit.id, step)) for step in self.steps
        )
        return f"<tr>{head}{cells}</tr>"

    def _cell(self, tag: str, facts: CellFacts) -> str:
        is_back = facts.is_withdrawn and facts.state is not State.HELD
        kind = "look is-withdrawn" if is_back else _CLASSES[facts.state]
        word = LOOK_AGAIN if is_back else _SHORT[facts.state]
        spoken = LOOK_AGAIN if is_back else WORDS[facts.state]
        name = f"{tag}, {escape(facts.step.name)}: {spoken}"
        more = escape(" ".join(told(facts, self.zone)))
        title = f"{name}. {more}" if more else name
        inner = f"<i></i><span>{word}</span>"
        if facts.state is State.NOT_APPLICABLE:
            inner = f'<span aria-hidden="true">{word}</span><span class="sr">{spoken}</span>'
        if not may_mark(self.scope, facts):
            return f'<td class="{kind}" title="{title}">{inner}</td>'
        ticked = " checked" if (facts.unit_id, facts.step.id) in self.chosen else ""
        return (
            f'<td class="{kind}" title="{title}"><label><input type="checkbox" name="cell" '
            f'value="{facts.unit_id}-{facts.step.id}" aria-label="{title}"{ticked}>{inner}</label>'
            "</td>"
        )


def sheet_of(
    whole: WholeBoard, known: Details, units: Sequence[UnitOutline], steps: Sequence[StepFacts]
) -> Table:
    """Give the same units and steps as a list for a file."""

    def word_of(step: StepFacts) -> Callable[[UnitOutline], str]:
        def word(unit: UnitOutline) -> str:
            return standing(cell(whole, known, unit.id, step)).word

        return word

    columns = (
        Column("tag", "Unit"),
        Column("floor", "Floor", width=8),
        Column("location", "Location"),
        Column("air_handler", "Air handler"),
        *(Column(f"step-{s.id}", s.name, value=word_of(s), width=14) for s in steps),
    )
    return Table("Steps of the units", columns, units)
