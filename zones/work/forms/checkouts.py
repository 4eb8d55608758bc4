"""Forms of the checkouts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms

from projectsite.core.forms import QuantityField, QuantityForm
from projectsite.core.scope import UnitSystem
from projectsite.core.units import Entered
from zones.work.operations.checkouts import NOTE_LENGTH, TEXT_LENGTH, Observation
from zones.work.queries.checkout_lines import CheckoutFilter, CheckoutLine
from zones.work.queries.checkouts import STATES, PointRow


class CheckoutFilterForm(forms.Form):
    """Search and filters of the units with their checkouts."""

    text = forms.CharField(
        label="Search", required=False, max_length=80, widget=forms.TextInput({"type": "search"})
    )
    floor = forms.ChoiceField(label="Floor", required=False)
    air_handler = forms.TypedChoiceField(
        label="Air handler", required=False, coerce=int, empty_value=None
    )
    state = forms.ChoiceField(label="State", required=False, choices=[("", "any"), *STATES.items()])

    def __init__(self, data: Any, *, every: Sequence[CheckoutLine]) -> None:
        super().__init__(data)
        floors = dict.fromkeys(line.unit.floor for line in every if line.unit.floor)
        handlers = {line.unit.air_handler_id: line.unit.air_handler for line in every}
        handlers.pop(None, None)
        floor = cast("forms.ChoiceField", self.fields["floor"])
        floor.choices = [("", "all"), *((name, name) for name in sorted(floors))]
        handler = cast("forms.ChoiceField", self.fields["air_handler"])
        handler.choices = [("", "all"), *((str(i), tag) for i, tag in sorted(handlers.items()))]

    def wanted(self) -> CheckoutFilter:
        """What the address asks for; what can't be understood is left out."""
        self.is_valid()
        given = self.cleaned_data
        return CheckoutFilter(
            given.get("text") or "",
            given.get("floor") or "",
            given.get("air_handler"),
            given.get("state") or "",
        )


class BeginForm(forms.Form):
    """Which checkout list a unit is checked out by."""

    checkout_list = forms.TypedChoiceField(
        label="Checkout list", required=False, coerce=int, empty_value=None
    )

    def __init__(self, data: Any = None, *, lists: Sequence[tuple[int, str]]) -> None:
        super().__init__(data)
        field = cast("forms.ChoiceField", self.fields["checkout_list"])
        field.choices = [("", "the one that fits the unit best"), *((str(i), n) for i, n in lists)]


class HeadForm(forms.Form):
    """Reference instrument and note of a checkout."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reference_instrument = forms.CharField(
        label="Reference instrument", required=False, max_length=120
    )
    note = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea({"rows": 2})
    )


class PointForm(QuantityForm):
    """What was seen of one point; only the fields that its kind takes."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, point: PointRow, system: UnitSystem) -> None:
        self.point = point
        prefix = f"p{point.id}"
        super().__init__(data, system=system, auto_id=f"{prefix}_%s")
        kind, quantity = point.facts.kind, point.facts.quantity
        if kind in {"sensor", "range"}:
            self.fields["observed"] = self._quantity("Read", quantity, "observed")
        if kind == "sensor":
            self.fields["reference"] = self._quantity("Reference", quantity, "reference")
        if kind == "match":
            is_number = point.facts.expected.isdigit()
            self.fields["observed_text"] = forms.CharField(
                label="Read",
                required=False,
                max_length=TEXT_LENGTH,
                initial=point.seen.observed_text,
                widget=forms.TextInput(
                    {"autocomplete": "off", "inputmode": "numeric" if is_number else "text"}
                ),
            )
        self.fields["note"] = forms.CharField(
            label="Note", required=False, max_length=NOTE_LENGTH, initial=point.note
        )
        self.fields["version"].initial = point.version

    def _quantity(self, label: str, quantity: str, name: str) -> QuantityField:
        typed = self.point.entered.get(name)
        value = getattr(self.point.seen, f"{name}_si")
        initial = None if value is None else Entered(value, typed) if typed else value
        return QuantityField(
            quantity, label=label, required=False, initial=initial, system=self.system
        )

    @property
    def values(self) -> list[forms.BoundField]:
        """Fields for what is read, without version and note."""
        return [self[name] for name in self.fields if name not in {"version", "note"}]

    def seen(self) -> Observation:
        """What was typed or pressed, for an operation."""
        found = {name: self.cleaned_data[name] for name in self.fields if name != "version"}
        pressed = self.data.get("is_right", "")
        if self.point.facts.kind == "confirm" and pressed in {"yes", "no", "open"}:
            found["is_right"] = {"yes": True, "no": False, "open": None}[pressed]
        return cast("Observation", found)
