"""Tables of schedule imports: the list, the rows of one, and two revisions compared."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.safestring import SafeString, mark_safe

from projectsite.core import units
from projectsite.core.quantities import KINDS
from projectsite.core.scope import Scope
from projectsite.ui.columns import Empty
from projectsite.ui.lists import Listing
from projectsite.ui.marks import Mark, State
from projectsite.ui.tables import Column, Table
from zones.inventory.domain.schedule.differences import Line
from zones.inventory.domain.schedule.types import TARGETS
from zones.inventory.queries import imports as queries

Address = Callable[[int], str]

_STATES: Mapping[str, State] = {
    "new": "wait",
    "changed": "look",
    "unchanged": "done",
    "refused": "hold",
}
_IMPORT_STATES: Mapping[str, State] = {"uploaded": "wait", "preview": "look", "applied": "done"}
_SHOWN_OF_NEW = (
    "air_handler", "inlet", "cooling_max_m3_s", "cooling_min_m3_s", "heating_max_m3_s", "heat",
    "unit", "kind", "design_m3_s",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Shower:
    """Prints values of a schedule's fields as a person reads them."""

    target: str
    scope: Scope
    names: queries.LinkNames

    def label(self, name: str) -> str:
        """What people call a field."""
        return next((f.label for f in TARGETS[self.target] if f.name == name), name)

    def value(self, name: str, value: Any) -> str:
        """A value with its unit; "nothing" when it is empty."""
        if value is None or value == "":
            return "nothing"
        linked = {"inlet": self.names.inlets, "controller_model": self.names.controllers}.get(name)
        if linked is not None and isinstance(value, int):
            return linked.get(value, f"record {value}")
        field = next((f for f in TARGETS[self.target] if f.name == name), None)
        if field is not None and field.kind in KINDS:
            return units.show(float(value), field.kind, self.scope.system, with_unit=True)
        text = f"{value:g}" if isinstance(value, float) else str(value)
        return dict(field.choices).get(text, text) if field is not None else text

    def change(self, name: str, old: Any, new: Any) -> str:
        """A field with its old and its new value."""
        return f"{self.label(name)}: {self.value(name, old)} → {self.value(name, new)}"


def imports_table(
    rows: Sequence[queries.ImportFacts], scope: Scope, listing: Listing, address: Address, add: str
) -> Table:
    """The received schedules, the newest first."""

    def count(key: str) -> Callable[[queries.ImportFacts], Any]:
        return lambda row: row.counts.get(key)

    return Table(
        caption="Schedule imports",
        columns=(
            Column("name", "File", link=lambda row: address(row.id), width=30),
            Column("target", "Lists", value=lambda row: _target_word(row.target), priority=2),
            Column(
                "state",
                "State",
                "mark",
                value=lambda row: Mark(_IMPORT_STATES.get(row.state, "wait"), row.state_word),
            ),
            *(
                Column(key, word.capitalize(), "count", value=count(key), priority=2)
                for key, word in queries.OUTCOMES.items()
            ),
            Column("created_at", "Received", "time"),
            Column("created_by", "By", priority=3),
        ),
        rows=rows,
        system=scope.system,
        zone=ZoneInfo(scope.project.time_zone),
        listing=listing,
        stack=True,
        empty=Empty(
            "No schedule has been imported yet.",
            "Upload the mechanical schedule as XLSX or CSV. "
            "You see every row before anything is kept."
            if add
            else "The office imports the mechanical schedule.",
            add,
            "Import a schedule",
        ),
    )


def _target_word(target: str) -> str:
    return {"units": "terminal units", "outlets": "outlets"}[target]


def rows_table(
    rows: Sequence[Mapping[str, Any]], show: Shower, listing: Listing, unit_address: Address
) -> Table:
    """Rows of an import with what becomes of them."""

    def link(row: Mapping[str, Any]) -> str:
        return unit_address(row["unit_id"]) if row["unit_id"] else ""

    return Table(
        caption="Rows of the file",
        columns=(
            Column("row_number", "Row", "count"),
            Column("tag", "Tag", link=link),
            Column("outcome", "Outcome", "mark", value=_outcome),
            Column(
                "what",
                "What and why",
                value=lambda row: "; ".join(_lines(row, show)),
                html=lambda row: _list(_lines(row, show), row["reopens"]),
                width=60,
            ),
        ),
        rows=rows,
        system=show.scope.system,
        listing=listing,
        stack=True,
        row_class=lambda row: "off" if row["outcome"] == "refused" else "",
        empty=Empty("There is no such row in this file."),
    )


def _outcome(row: Mapping[str, Any]) -> Any:
    word = queries.OUTCOMES[row["outcome"]]
    state = _STATES.get(row["outcome"])
    return Mark(state, word) if state else word


def _lines(row: Mapping[str, Any], show: Shower) -> list[str]:
    if row["outcome"] == "refused":
        return [_problem(problem, show) for problem in row["problems"]]
    if row["outcome"] == "ignored":
        return [row["reason"]]
    if row["changes"]:
        # The database keeps the keys in an order of its own.
        order = [f.name for f in TARGETS[show.target] if f.name in row["changes"]]
        return [show.change(name, *row["changes"][name]) for name in order]
    if row["outcome"] == "new":
        values = row["values"]
        given = [name for name in _SHOWN_OF_NEW if values.get(name) not in (None, "")]
        return [", ".join(f"{show.label(n).lower()} {show.value(n, values[n])}" for n in given)]
    return ["Agrees with the record."]


def _problem(problem: Mapping[str, str], show: Shower) -> str:
    label = show.label(problem["field"])
    return (
        f"{problem['cell']} ({label.lower()}): {problem['message']}"
        if problem["cell"]
        else problem["message"]
    )


def _list(lines: Iterable[str], reopens: Sequence[str]) -> SafeString:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines if line)
    items += "".join(f'<li class="reopens">Reopens: {escape(text)}</li>' for text in reopens)
    return mark_safe(f'<ul class="lines">{items}</ul>')  # noqa: S308  # every line is escaped


def comparison_table(found: queries.Comparison, show: Shower, listing: Listing) -> Table:
    """Differences of two revisions, unit by unit."""
    first, second = (f"Revision {r.revision}" for r in (found.first, found.second))

    def side(line: Line, value: Any) -> str:
        return show.value(line.field, value) if line.field else ""

    return Table(
        caption=f"{first} against {second.lower()}",
        columns=(
            Column("tag", "Tag"),
            Column("what", "What", "mark", value=_what),
            Column(
                "field",
                "Field",
                value=lambda line: show.label(line.field) if line.field else line.note,
            ),
            Column("old", first, value=lambda line: side(line, line.old)),
            Column("new", second, value=lambda line: side(line, line.new)),
        ),
        rows=found.lines[listing.offset : listing.offset + listing.size],
        system=show.scope.system,
        listing=listing,
        stack=True,
        empty=Empty("The two revisions say the same."),
    )


def _what(line: Line) -> Mark:
    states: Mapping[str, State] = {"added": "wait", "missing": "hold", "changed": "look"}
    return Mark(states[line.what], line.what)
