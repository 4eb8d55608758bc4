"""Form fields for quantities: accept "450 cfm", yield SI and the text as entered."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from projectsite.core import units
from projectsite.core.errors import ApplicationError, InvalidInput
from projectsite.core.numeric import at_least, at_most, same
from projectsite.core.quantities import KINDS
from projectsite.core.scope import UnitSystem
from projectsite.core.units import Entered


class QuantityInput(forms.TextInput):
    """Text field with a number pad on a touch screen; letters stay possible, as in "450 cfm"."""

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        defaults = {"inputmode": "decimal", "autocomplete": "off", "class": "quantity", "size": 10}
        super().__init__({**defaults, **(attrs or {})})


class QuantityField(forms.Field):
    """A quantity of one kind.

    Parameters
    ----------
    kind
        Name of the kind of quantity.
    minimum, maximum
        Allowed range in the kind's SI unit, ends included; None leaves it open.
    system
        Unit system of the reader: a bare number is taken in its unit. A form with
        ``QuantityForm`` sets it.

    The cleaned value is an ``Entered`` (SI value and text as entered), or None when the field
    is empty and not required. ``initial`` may be an ``Entered``, an SI number or text.
    """

    widget = QuantityInput

    def __init__(
        self,
        kind: str,
        *,
        minimum: float | None = None,
        maximum: float | None = None,
        system: UnitSystem = "ip",
        **kwargs: Any,
    ) -> None:
        self.kind = kind
        self.minimum, self.maximum = minimum, maximum
        self.system: UnitSystem = system
        super().__init__(**kwargs)

    @property
    def unit(self) -> str:
        """Symbol of the unit that stands in the label."""
        return units.unit_symbol(self.kind, self.system)

    def prepare_value(self, value: Any) -> Any:
        """Give what the field shows: typed text as it is, a stored number in the reader's unit."""
        if isinstance(value, Entered):
            return value.text
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return units.show(float(value), self.kind, self.system, missing="")
        return value

    def to_python(self, value: Any) -> Entered | None:
        """Read what was typed."""
        if value in self.empty_values:
            return None
        if isinstance(value, Entered):
            return value
        unit = units.default_unit(self.kind, self.system)
        try:
            return units.parse(str(value), self.kind, default_unit=unit)
        except InvalidInput as error:
            raise ValidationError(error.message, code="invalid") from error

    def validate(self, value: Entered | None) -> None:
        """Check that it is there and in its range."""
        super().validate(value)
        if value is None:
            return
        if self.minimum is not None and not at_least(value.value, self.minimum):
            raise ValidationError(f"Must be {self._show(self.minimum)} or more.", code="min_value")
        if self.maximum is not None and not at_most(value.value, self.maximum):
            raise ValidationError(f"Must be {self._show(self.maximum)} or less.", code="max_value")

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare as quantities: 450 cfm and 450 are the same in inch-pound."""
        try:
            before = self._si(self.prepare_value(initial) if isinstance(initial, str) else initial)
            after = self._si(data)
        except ValidationError:
            return True
        return not same(before, after)

    def _si(self, value: Any) -> float | None:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return float(value)
        entered = self.to_python(value)
        return None if entered is None else entered.value

    def _show(self, value: float) -> str:
        return units.show(value, self.kind, self.system, with_unit=True)


class QuantityForm(forms.Form):
    """A form whose quantities are read and shown in one unit system."""

    def __init__(self, *args: Any, system: UnitSystem, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.system: UnitSystem = system
        for name, field in self.fields.items():
            if isinstance(field, QuantityField):
                field.system = system
                # A screen reader hears the unit with the label; the label shows it lighter.
                field.label = field.label or name.replace("_", " ").capitalize()

    def refuse(self, error: ApplicationError) -> None:
        """Show a refusal of the domain beside its fields, or above the form."""
        for name, message in error.fields.items():
            self.add_error(name if name in self.fields else None, message)
        if not error.fields:
            self.add_error(None, error.message)


def entered_or_none(value: Entered | None) -> tuple[float | None, str]:
    """Split a cleaned quantity into SI value and text, for operations that take both."""
    return (None, "") if value is None else (value.value, value.text)


def kind_label(kind: str) -> str:
    """Name of a kind, to begin a label with."""
    return KINDS[kind].label.capitalize()
