"""Forms of the planning: what the look-ahead shows, who is to do what, planned periods."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, cast

from django import forms

from projectsite.core.errors import ApplicationError
from zones.work.domain import words
from zones.work.operations.assignments import Kept
from zones.work.operations.periods import PeriodValues
from zones.work.queries.planning import PromiseFilter, last_day

_DAY = forms.DateInput(attrs={"type": "date"})
_MOST_DIGITS = 18
NOBODY = "nobody"
MOST_WEEKS = 6
USUAL_WEEKS = 2


def _choose(form: forms.Form, name: str, offered: Iterable[tuple[Any, str]]) -> None:
    cast("forms.ChoiceField", form.fields[name]).choices = list(offered)


class LookAheadForm(forms.Form):
    """Search and filters of the look-ahead."""

    text = forms.CharField(
        label="Search",
        required=False,
        max_length=80,
        widget=forms.TextInput({"type": "search", "placeholder": "unit, step"}),
    )
    weeks = forms.TypedChoiceField(
        label="Weeks ahead",
        required=False,
        coerce=int,
        empty_value=None,
        choices=[(i, str(i)) for i in range(1, MOST_WEEKS + 1)],
        initial=USUAL_WEEKS,
    )
    floor = forms.ChoiceField(label="Floor", required=False)
    air_handler = forms.TypedChoiceField(
        label="Air handler", required=False, coerce=int, empty_value=None
    )
    trade = forms.ChoiceField(label="Trade", required=False, choices=[("", "all"), *words.TRADES])
    person = forms.TypedChoiceField(label="Person", required=False, coerce=int, empty_value=None)
    blocked = forms.ChoiceField(
        label="Can be done",
        required=False,
        choices=[("", "all"), ("no", "held up"), ("yes", "can be done")],
    )
    done = forms.BooleanField(label="with what is done", required=False)

    def __init__(self, data: Any, *, choices: Mapping[str, Sequence[tuple[Any, str]]]) -> None:
        super().__init__(data)
        for name, offered in choices.items():
            _choose(self, name, [("", "all"), *offered])
        if not self.data.get("weeks"):
            # A list without weeks in its address shows the usual ones, and says so.
            self.data = {**data.dict(), "weeks": str(USUAL_WEEKS)}

    def weeks_ahead(self) -> int:
        """How many weeks the list reaches."""
        self.is_valid()
        return int(self.cleaned_data.get("weeks") or USUAL_WEEKS)

    def wanted(self, today: date) -> PromiseFilter:
        """What the address asks for; a filter that can't be understood is left out and said so."""
        weeks = self.weeks_ahead()
        given = self.cleaned_data
        return PromiseFilter(
            text=given.get("text") or "",
            floor=given.get("floor") or "",
            air_handler=given.get("air_handler"),
            trade=given.get("trade") or "",
            person=given.get("person"),
            due_from=today,
            due_to=last_day(today, weeks),
            is_late_shown=True,
            is_finished_shown=bool(given.get("done")),
            is_blocked={"no": True, "yes": False}.get(given.get("blocked") or ""),
        )


class CellsForm(forms.Form):
    """Which units and which step somebody is to be asked for."""

    floor = forms.ChoiceField(label="Floor", required=False)
    air_handler = forms.TypedChoiceField(
        label="Air handler", required=False, coerce=int, empty_value=None
    )
    step = forms.TypedChoiceField(label="Step", required=False, coerce=int, empty_value=None)
    open = forms.ChoiceField(
        label="Units",
        required=False,
        choices=[("", "where it is open"), ("ready", "where it is ready"), ("all", "all")],
    )

    def __init__(self, data: Any, *, choices: Mapping[str, Sequence[tuple[Any, str]]]) -> None:
        super().__init__(data)
        for name in ("floor", "air_handler"):
            _choose(self, name, [("", "all"), *choices[name]])
        _choose(self, "step", [("", "choose a step"), *choices["step"]])


class PromiseForm(forms.Form):
    """Who, and by when; what is left empty stays as it is."""

    person = forms.ChoiceField(label="Person", required=False)
    due_date = forms.DateField(label="Due", required=False, widget=_DAY)

    def __init__(self, *args: Any, people: Sequence[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = [(str(key), name) for key, name in people]
        _choose(self, "person", [("", "as it is"), (NOBODY, "nobody"), *offered])

    def problems(self) -> str:
        """What can't be understood, in one line; "" when all can be."""
        lines = []
        for name, errors in self.errors.items():
            label = self.fields[name].label if name in self.fields else ""
            lines.append(f"{label}: {' '.join(str(error) for error in errors)}")
        return " ".join(lines)

    @property
    def person_id(self) -> int | None:
        """Id of the person chosen, or None."""
        given = self.cleaned_data["person"]
        return None if given in {"", NOBODY} else int(given)

    @property
    def due_date_given(self) -> date | None:
        """Day given, or None."""
        found: date | None = self.cleaned_data["due_date"]
        return found

    @property
    def kept(self) -> tuple[Kept, ...]:
        """What stays as it is."""
        names: tuple[Kept, ...] = ("person", "due_date")
        return tuple(name for name in names if not self.cleaned_data[name])


class PeriodForm(forms.Form):
    """A planned period of a trade on a floor."""

    floor = forms.ChoiceField(label="Floor", required=False)
    trade = forms.ChoiceField(
        label="Trade", required=False, choices=[("", "every trade"), *words.TRADES]
    )
    start_date = forms.DateField(label="Begins", widget=_DAY)
    finish_date = forms.DateField(label="Ends", widget=_DAY)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, floors: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        stands = self.initial.get("floor", "")
        known = [*floors, *([stands] if stands and stands not in floors else [])]
        _choose(self, "floor", [("", "every floor"), *((f, f) for f in known)])

    @property
    def values(self) -> PeriodValues:
        """What the operation takes."""
        given = self.cleaned_data
        return PeriodValues(
            floor=given["floor"],
            trade=given["trade"],
            start_date=given["start_date"],
            finish_date=given["finish_date"],
        )

    def refuse(self, error: ApplicationError) -> None:
        """Show a refusal beside its fields, or above the form."""
        for name, message in error.fields.items():
            self.add_error(name if name in self.fields else None, message)
        if not error.fields:
            self.add_error(None, error.message)


class PeriodFilterForm(forms.Form):
    """Filters of the planned periods."""

    floor = forms.ChoiceField(label="Floor", required=False)
    trade = forms.ChoiceField(label="Trade", required=False, choices=[("", "all"), *words.TRADES])

    def __init__(self, data: Any, *, floors: Sequence[str]) -> None:
        super().__init__(data)
        _choose(self, "floor", [("", "all"), *((f, f) for f in floors)])

    def wanted(self) -> dict[str, str]:
        """What the address asks for; what can't be understood is left out and said so."""
        self.is_valid()
        return {name: self.cleaned_data.get(name) or "" for name in ("floor", "trade")}


def planned_cells(texts: Sequence[str]) -> list[tuple[int, int]]:
    """Cells "unit:step" (or "unit-step") among texts, each of which may hold several with commas.

    >>> planned_cells(["12:3", "14-3,15:3", "x:1"])
    [(12, 3), (14, 3), (15, 3)]
    """
    found = []
    for text in ",".join(texts).split(","):
        parts = text.strip().replace("-", ":").split(":")
        if len(parts) == 2 and all(_is_id(part) for part in parts):
            found.append((int(parts[0]), int(parts[1])))
    return found


def _is_id(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS
