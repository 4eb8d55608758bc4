"""Forms of the catalogue of steps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms

from projectsite.core.errors import ApplicationError
from zones.work.domain import words
from zones.work.operations.catalogue import StepValues
from zones.work.queries.catalogue import StepFilter, StepRow

_HEATS = (("none", "no reheat"), ("hot-water", "hot water"), ("electric", "electric"))
_FANS = (("none", "no fan"), ("parallel", "parallel"), ("series", "series"))
_LISTS = ("heats", "fans", "needs")


class CatalogueFilterForm(forms.Form):
    """Search and filters of the catalogue."""

    text = forms.CharField(
        label="Search", required=False, max_length=80, widget=forms.TextInput({"type": "search"})
    )
    trade = forms.ChoiceField(label="Trade", required=False, choices=[("", "any"), *words.TRADES])
    archived = forms.BooleanField(label="Archived steps", required=False)

    def wanted(self) -> StepFilter:
        """What the address asks for; what can't be understood is left out."""
        self.is_valid()
        given = self.cleaned_data
        return StepFilter(
            given.get("text") or "", given.get("trade") or "", bool(given.get("archived"))
        )


def _ticks(label: str, choices: Sequence[tuple[str, str]], help_text: str) -> Any:
    return forms.MultipleChoiceField(
        label=label,
        choices=choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=help_text,
    )


class StepForm(forms.Form):
    """A step: who does it, for what, how long it takes and what has to be done first."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    name = forms.CharField(label="Step", max_length=100)
    trade = forms.ChoiceField(label="Trade", choices=words.TRADES)
    per = forms.ChoiceField(
        label="Done once for each",
        choices=words.PER,
        initial="unit",
        help_text="A step of an air handler counts for all its units.",
    )
    budget_h = forms.FloatField(
        label="Budgeted hours (h)",
        min_value=0,
        max_value=1000,
        initial=0.5,
        widget=forms.TextInput(
            {"inputmode": "decimal", "autocomplete": "off", "class": "quantity"}
        ),
        help_text="Labour for one of what it is done for.",
    )
    heats = _ticks("Only with this reheat", _HEATS, "Tick none for every kind.")
    fans = _ticks("Only with this fan", _FANS, "Tick none for every kind.")
    needs = _ticks("Only with", words.NEEDS, "Applies to units that have all of these.")
    before = forms.TypedMultipleChoiceField(
        label="After",
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Steps that have to be done first.",
    )

    def __init__(
        self, data: Any = None, *, others: Sequence[StepRow], record: StepRow | None = None
    ) -> None:
        initial = None
        if record is not None:
            initial = {name: getattr(record, name) for name in (*_NAMES, "version")}
            initial["budget_h"] = f"{record.budget_h:g}"
        super().__init__(data, initial=initial)
        before = cast("forms.TypedMultipleChoiceField", self.fields["before"])
        before.choices = [(row.id, row.name) for row in others]

    @property
    def values(self) -> StepValues:
        """What was typed, for an operation."""
        return cast("StepValues", {name: self.cleaned_data[name] for name in _NAMES})

    def refuse(self, error: ApplicationError) -> None:
        """Put a refusal beside its fields, or over the form."""
        told = {name: text for name, text in error.fields.items() if name in self.fields}
        for name, text in told.items():
            self.add_error(name, text)
        if not told:
            self.add_error(None, error.message)


_NAMES = ("name", "trade", "per", "budget_h", *_LISTS, "before")


class MoveForm(forms.Form):
    """Where a step is put."""

    to = forms.TypedChoiceField(label="New place", coerce=int)

    def __init__(self, data: Any = None, *, steps: Sequence[StepRow], moved: StepRow) -> None:
        super().__init__(data, initial={"to": moved.place})
        others = [row.name for row in steps if row.id != moved.id]
        places = [(1, "first"), *((i + 2, f"after {name}") for i, name in enumerate(others))]
        cast("forms.TypedChoiceField", self.fields["to"]).choices = places
