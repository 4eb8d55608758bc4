"""The form that says where a unit is."""

from __future__ import annotations

from typing import Any

from django import forms

from projectsite.core.forms import QuantityField, QuantityForm
from projectsite.core.units import Entered


class PlaceForm(QuantityForm):
    """A unit and its position; both empty takes it off the floor."""

    unit = forms.IntegerField(
        min_value=1,
        widget=forms.HiddenInput,
        error_messages={"required": "Choose the unit that you want to place."},
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)
    x = QuantityField("length", required=False, label="From the west")
    y = QuantityField("length", required=False, label="From the south")

    def clean(self) -> dict[str, Any]:
        """Refuse half a position."""
        found = super().clean() or self.cleaned_data
        if not self.errors and (found["x"] is None) != (found["y"] is None):
            self.add_error("y", "Give both positions or neither.")
        return found

    def place(self) -> tuple[Entered, Entered] | None:
        """Position as typed, or None."""
        x, y = self.cleaned_data["x"], self.cleaned_data["y"]
        return None if x is None or y is None else (x, y)

    def told(self) -> str:
        """Every error in one sentence after another, for the page that one came from."""
        labels = {name: field.label for name, field in self.fields.items()}
        return " ".join(
            f"{labels[name]}: {error}" if name in ("x", "y") else str(error)
            for name, errors in self.errors.items()
            for error in errors
        )
