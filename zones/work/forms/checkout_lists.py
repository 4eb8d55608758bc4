"""Forms of the checkout lists."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms

from projectsite.core import units
from projectsite.core.errors import ApplicationError, InvalidInput
from projectsite.core.forms import QuantityInput
from projectsite.core.quantities import KINDS
from projectsite.core.scope import UnitSystem
from zones.work.domain import words
from zones.work.domain.checkout import difference_kind
from zones.work.domain.checkout_lists import FANS, HEATS
from zones.work.operations.checkout_lists import ListValues, PointValues
from zones.work.queries.checkout_lists import CheckoutList

QUANTITIES = ("control_voltage", "temperature", "duration", "pressure", "airflow", "fraction")
"""Kinds of quantity that a point may read."""
_LIMITS = ("tolerance_si", "low_si", "high_si")


def _ticks(label: str, choices: Sequence[tuple[str, str]]) -> Any:
    return forms.MultipleChoiceField(
        label=label,
        choices=choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Tick none for every unit.",
    )


class _Refusing(forms.Form):
    def refuse(self, error: ApplicationError) -> None:
        """Put a refusal beside its fields, or over the form."""
        told = {name: text for name, text in error.fields.items() if name in self.fields}
        for name, text in told.items():
            self.add_error(name, text)
        if not told:
            self.add_error(None, error.message)


class ListFilterForm(forms.Form):
    """Search and filter of the checkout lists."""

    text = forms.CharField(
        label="Search", required=False, max_length=80, widget=forms.TextInput({"type": "search"})
    )
    archived = forms.BooleanField(label="Archived lists", required=False)

    def matching(self, every: Sequence[CheckoutList]) -> list[CheckoutList]:
        """Lists that are asked for; what can't be understood is left out."""
        self.is_valid()
        text = (self.cleaned_data.get("text") or "").casefold()
        archived = bool(self.cleaned_data.get("archived"))
        return [
            row
            for row in every
            if text in row.name.casefold() and (row.archived_at is not None) == archived
        ]


class ListForm(_Refusing):
    """A checkout list: its name and the units that it is for."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    name = forms.CharField(label="Checkout list", max_length=100)
    controller_model_id = forms.TypedChoiceField(
        label="Controller model", required=False, coerce=int, empty_value=None
    )
    heats = _ticks("Only with this reheat", HEATS)
    fans = _ticks("Only with this fan", FANS)

    def __init__(
        self,
        data: Any = None,
        *,
        record: CheckoutList | None,
        models: Sequence[tuple[int, str]],
    ) -> None:
        names = ("version", "name", "controller_model_id", "heats", "fans")
        initial = {name: getattr(record, name) for name in names} if record else None
        super().__init__(data, initial=initial)
        field = cast("forms.ChoiceField", self.fields["controller_model_id"])
        field.choices = [("", "any"), *((str(i), name) for i, name in models)]

    @property
    def values(self) -> ListValues:
        """What was typed, for an operation."""
        given = {name: v for name, v in self.cleaned_data.items() if name != "version"}
        return cast("ListValues", given)


class ListPointForm(_Refusing):
    """A point of a checkout list: what is looked at and how it is judged."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    name = forms.CharField(label="Point", max_length=120)
    kind = forms.ChoiceField(label="Judged by", choices=words.POINT_KINDS)
    quantity = forms.ChoiceField(
        label="Quantity",
        required=False,
        choices=[("", "none"), *((name, KINDS[name].label) for name in QUANTITIES)],
    )
    tolerance_si = forms.CharField(
        label="Allowed difference from the reference", required=False, widget=QuantityInput
    )
    low_si = forms.CharField(label="Lowest", required=False, widget=QuantityInput)
    high_si = forms.CharField(label="Highest", required=False, widget=QuantityInput)
    expected = forms.CharField(label="Expected", required=False, max_length=200)
    source = forms.ChoiceField(
        label="Expected value comes from", required=False, choices=words.POINT_SOURCES
    )
    owes = forms.ChoiceField(label="Who mends it", choices=words.TRADES, initial="controls")
    is_required = forms.BooleanField(label="Needed for the step", required=False, initial=True)
    heats = _ticks("Only with this reheat", HEATS)
    fans = _ticks("Only with this fan", FANS)
    needs = _ticks("Only with", words.NEEDS)

    def __init__(
        self, data: Any = None, *, record: CheckoutList, point_id: int | None, system: UnitSystem
    ) -> None:
        self.system = system
        initial: dict[str, Any] = {"version": record.version}
        for point in record.points:
            if point.id == point_id:
                initial |= {n: getattr(point, n) for n in _OF_POINT}
                initial |= {n: getattr(point.facts, n) for n in _OF_FACTS}
                initial |= {n: self._show(n, point.facts) for n in _LIMITS}
        super().__init__(data, initial=initial)

    def _show(self, name: str, facts: Any) -> str:
        """Print a stored limit with its unit."""
        value = getattr(facts, name)
        kind = difference_kind(facts.quantity) if name == "tolerance_si" else facts.quantity
        return units.show(value, kind, self.system, with_unit=True) if value is not None else ""

    def clean(self) -> dict[str, Any]:
        """Read the limits in the unit of the quantity that was chosen."""
        given = super().clean() or self.cleaned_data
        quantity = given.get("quantity") or ""
        for name in _LIMITS:
            text = (given.get(name) or "").strip()
            given[name] = None
            if not text:
                continue
            if not quantity:
                self.add_error("quantity", "Choose the quantity that the limits are of.")
                break
            kind = difference_kind(quantity) if name == "tolerance_si" else quantity
            try:
                unit = units.default_unit(kind, self.system)
                given[name] = units.parse(text, kind, default_unit=unit).value
            except InvalidInput as error:
                self.add_error(name, error.message)
        return given

    def point_values(self) -> PointValues:
        """What was typed, for an operation."""
        given = {name: v for name, v in self.cleaned_data.items() if name != "version"}
        return cast("PointValues", given)


_OF_POINT = ("name", "owes", "is_required", "heats", "fans", "needs")
_OF_FACTS = ("kind", "quantity", "expected", "source")
