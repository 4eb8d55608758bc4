"""API fields for quantities: an SI number, or text with its unit; the answer is an SI number."""

from __future__ import annotations

import math
from typing import Any, Literal

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from rest_framework import serializers

from projectsite.core import units
from projectsite.core.errors import InvalidInput
from projectsite.core.numeric import at_least, at_most
from projectsite.core.quantities import KINDS
from projectsite.core.units import Entered


class QuantityField(serializers.Field[Entered, Any, float | None, Any]):
    """A quantity of one kind.

    Parameters
    ----------
    kind
        Name of the kind of quantity.
    minimum, maximum
        Allowed range in the kind's SI unit, ends included; None leaves it open.

    Input is a number in the SI unit, or text with its unit such as "450 cfm"; both give an
    ``Entered``. Text without a unit is refused, because a program has no label to read.
    """

    default_error_messages = {
        "type": "Send a number in {unit}, or text with its unit such as “{example}”.",
        "finite": "Send a finite number.",
        "unit": "“{text}” has no unit. Send a number in {unit}, or text such as “{example}”.",
        "minimum": "Must be {limit} {unit} or more.",
        "maximum": "Must be {limit} {unit} or less.",
    }

    def __init__(
        self,
        kind: str,
        *,
        minimum: float | None = None,
        maximum: float | None = None,
        **kwargs: Any,
    ) -> None:
        self.kind = kind
        self.minimum, self.maximum = minimum, maximum
        super().__init__(**kwargs)

    @property
    def unit(self) -> str:
        """Symbol of the SI unit."""
        return units.symbol(KINDS[self.kind].si_unit)

    @property
    def example(self) -> str:
        """Text that would be accepted."""
        return f"450 {units.unit_symbol(self.kind, 'ip')}".strip()

    def to_internal_value(self, data: Any) -> Entered:
        """Read a number or text."""
        if isinstance(data, str):
            entered = self._from_text(data)
        elif isinstance(data, (int, float)) and not isinstance(data, bool):
            entered = self._from_number(data)
        else:
            self.fail("type", unit=self.unit, example=self.example)
        if self.minimum is not None and not at_least(entered.value, self.minimum):
            self.fail("minimum", limit=f"{self.minimum:g}", unit=self.unit)
        if self.maximum is not None and not at_most(entered.value, self.maximum):
            self.fail("maximum", limit=f"{self.maximum:g}", unit=self.unit)
        return entered

    def _from_number(self, data: float) -> Entered:
        try:
            value = float(data)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            self.fail("finite")
        return Entered(value, f"{value:.10g} {self.unit}".strip())

    def _from_text(self, data: str) -> Entered:
        number, rest = units.split_number(data)
        # A plain number has no unit to name; every other kind must.
        if number is not None and not rest and self.unit:
            self.fail("unit", text=data.strip()[:20], unit=self.unit, example=self.example)
        try:
            return units.parse(data, self.kind, default_unit=KINDS[self.kind].si_unit)
        except InvalidInput as error:
            raise serializers.ValidationError(error.message, code="invalid") from error

    def to_representation(self, value: Entered | float) -> float:
        """Give the SI number."""
        return value.value if isinstance(value, Entered) else float(value)


class QuantityFieldSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]  # the library types no __init_subclass__
    """Documents quantities with their unit."""

    target_class = QuantityField
    match_subclasses = True

    def map_serializer_field(
        self, auto_schema: AutoSchema, direction: Literal["request", "response"]
    ) -> dict[str, Any]:
        """Number in answers; number or text in requests."""
        del auto_schema
        field: QuantityField = self.target
        unit = field.unit or "no unit"
        number: dict[str, Any] = {"type": "number", "format": "double"}
        if direction == "response":
            return {**number, "description": f"{KINDS[field.kind].label.capitalize()} [{unit}]."}
        if field.minimum is not None:
            number["minimum"] = field.minimum
        if field.maximum is not None:
            number["maximum"] = field.maximum
        return {
            "oneOf": [number, {"type": "string", "maxLength": units.MAX_ENTRY_LENGTH}],
            "description": f"{KINDS[field.kind].label.capitalize()}: a number in {unit}, "
            f"or text with its unit such as “{field.example}”.",
        }
