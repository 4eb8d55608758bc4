"""Pages of the field calculators."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from projectsite.core import formulas, units
from projectsite.core.calculators import Given, calculate, find, public_key
from projectsite.core.errors import InvalidInput
from projectsite.core.formulas import Formula, Input
from projectsite.core.scope import UnitSystem

YES_NO = (("", "—"), ("yes", "yes"), ("no", "no"))


class QuantityText(forms.CharField):
    """A quantity or a list of them as typed; the calculator's own reader takes it apart."""

    def __init__(self, unit: str, **kwargs: Any) -> None:
        self.unit = unit
        super().__init__(**kwargs)


class CalculatorForm(forms.Form):
    """Inputs of a formula. What is typed is checked by the calculator itself."""

    def __init__(self, *args: Any, formula: Formula, system: UnitSystem, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for item in formula.inputs:
            self.fields[public_key(item)] = _field(item, system)

    def refuse(self, error: InvalidInput) -> None:
        """Show what the calculator refused beside its fields, or above the form."""
        for name, message in error.fields.items():
            self.add_error(name if name in self.fields else None, message)
        if not error.fields:
            self.add_error(None, error.message)


def _field(item: Input, system: UnitSystem) -> forms.Field:
    is_required = item.required and item.default is None
    common: dict[str, Any] = {
        "label": item.label[:1].upper() + item.label[1:],
        "required": is_required,
    }
    help_text = item.help
    if not item.kind:
        choices = [(word, word) for word in item.choices] or list(YES_NO)
        blank = [("", "—")] if item.choices and not is_required else []
        initial = item.default
        if isinstance(initial, bool):
            initial = "yes" if initial else "no"
        return forms.ChoiceField(
            choices=[*blank, *choices], initial=initial, help_text=help_text, **common
        )
    if item.is_list:
        help_text = f"{help_text} Several values with commas between them.".strip()
    shown = ""
    if isinstance(item.default, int | float) and not isinstance(item.default, bool):
        shown = format(units.display_value(float(item.default), item.kind, system), ".6g")
    widget = forms.TextInput({"inputmode": "text", "autocomplete": "off", "class": "quantity"})
    unit = units.unit_symbol(item.kind, system)
    return QuantityText(
        unit, initial=shown, help_text=help_text, max_length=4000, widget=widget, **common
    )


def _system(request: HttpRequest) -> UnitSystem:
    """Units asked for in the address, else those that the person reads in."""
    asked = request.GET.get("units") or getattr(request.user, "reading_system", "")
    return "si" if asked == "si" else "ip"


@require_GET
def calculators(request: HttpRequest) -> HttpResponse:
    """List the field calculators."""
    return render(request, "core/calculators.html", {"formulas": formulas.all_formulas()})


@require_GET
def calculator(request: HttpRequest, name: str) -> HttpResponse:
    """Compute one formula; the inputs stand in the address, so that it can be shared."""
    formula, system = find(name), _system(request)
    is_asked = any(public_key(item) in request.GET for item in formula.inputs)
    form = CalculatorForm(request.GET if is_asked else None, formula=formula, system=system)
    result = None
    if is_asked and form.is_valid():
        given: dict[str, Given] = dict(form.cleaned_data)
        try:
            result = calculate(name, given, system=system)
        except InvalidInput as error:
            form.refuse(error)
    context = {"formula": formula, "form": form, "result": result, "system": system}
    return render(request, "core/calculator.html", context)
