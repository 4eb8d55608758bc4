"""Forms of flow tests and instruments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

from django import forms

from balancing.airflow.operations.instruments import CERTIFICATE_LIMIT_BYTES, InstrumentValues
from balancing.airflow.operations.points import REPEATS, PointValues
from balancing.airflow.operations.tests import TestConditions
from projectsite.core.forms import QuantityField, QuantityForm
from projectsite.core.numeric import same
from projectsite.core.scope import UnitSystem
from projectsite.core.units import Entered, default_unit, parse, unit_symbol

STATE_CHOICES = (
    ("", "any state"),
    ("open", "open"),
    ("submitted", "handed in"),
    ("returned", "returned"),
    ("accepted", "accepted"),
    ("superseded", "superseded"),
)
KIND_CHOICES = (
    ("hood", "flow hood"),
    ("manometer", "manometer with pitot tube"),
    ("anemometer", "anemometer"),
    ("thermometer", "thermometer"),
)
_DAY = forms.DateInput(attrs={"type": "date"})


class TestFilterForm(forms.Form):
    """Search and filters of the list of tests."""

    text = forms.CharField(
        label="Search", required=False, max_length=80, widget=forms.TextInput({"type": "search"})
    )
    state = forms.ChoiceField(label="State", required=False, choices=STATE_CHOICES)
    air_handler = forms.TypedChoiceField(
        label="Air handler", required=False, coerce=int, empty_value=None
    )
    floor = forms.ChoiceField(label="Floor", required=False)
    instrument = forms.TypedChoiceField(
        label="Instrument", required=False, coerce=int, empty_value=None
    )
    technician = forms.TypedChoiceField(
        label="Technician", required=False, coerce=int, empty_value=None
    )

    def __init__(self, data: Any, *, choices: Mapping[str, Sequence[tuple[Any, str]]]) -> None:
        super().__init__(data)
        for name, offered in choices.items():
            cast("forms.ChoiceField", self.fields[name]).choices = [("", "any"), *offered]


class StartForm(forms.Form):
    """What is asked before a test is begun."""

    client_key = forms.UUIDField(widget=forms.HiddenInput)
    unit = forms.CharField(
        label="Terminal unit",
        max_length=60,
        help_text="Its tag, as on the schedule.",
        widget=forms.TextInput({"autocomplete": "off", "autocapitalize": "characters"}),
    )
    tested_date = forms.DateField(label="Tested on", widget=_DAY)
    instrument = forms.TypedChoiceField(
        label="Instrument", coerce=int, required=False, empty_value=None
    )
    technician = forms.TypedChoiceField(
        label="Whose readings",
        coerce=int,
        help_text="The office enters readings on behalf of whoever took them.",
    )

    def __init__(
        self,
        *args: Any,
        instruments: Sequence[tuple[int, str]],
        people: Sequence[tuple[int, str]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        _choose(self, "instrument", instruments, "not chosen yet")
        if people:
            _choose(self, "technician", people, "choose a person")
        else:
            del self.fields["technician"]


def _choose(form: forms.Form, name: str, offered: Sequence[tuple[Any, str]], empty: str) -> None:
    cast("forms.ChoiceField", form.fields[name]).choices = [("", empty), *offered]


class ConditionsForm(QuantityForm):
    """Conditions of a test."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    k_as_found_m3_s_sqrt_pa = QuantityField(
        "k_factor",
        label="K as found",
        required=False,
        help_text="As the controller held it before anything was changed.",
    )
    zero_reading_pa = QuantityField(
        "pressure",
        label="Zero reading",
        required=False,
        help_text="Sensed pressure with both tubes open to the room.",
    )
    instrument = forms.TypedChoiceField(
        label="Instrument", coerce=int, required=False, empty_value=None
    )
    technician = forms.TypedChoiceField(label="Whose readings", coerce=int)
    tested_date = forms.DateField(label="Tested on", widget=_DAY)
    air_degc = QuantityField("temperature", label="Air temperature", required=False)
    humidity_fraction = QuantityField("fraction", label="Relative humidity", required=False)
    elevation_m = QuantityField("elevation", label="Elevation")
    hood_reads_actual = forms.BooleanField(
        label="The instrument corrects for density by itself", required=False
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea({"rows": 2}))

    def __init__(
        self,
        *args: Any,
        instruments: Sequence[tuple[int, str]],
        people: Sequence[tuple[int, str]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        _choose(self, "instrument", instruments, "not chosen yet")
        if people:
            _choose(self, "technician", people, "choose a person")
        else:
            del self.fields["technician"]

    @property
    def conditions(self) -> TestConditions:
        """What the operation takes."""
        given = dict(self.cleaned_data)
        del given["version"]
        given["instrument_id"] = given.pop("instrument")
        if "technician" in given:
            given["technician_id"] = given.pop("technician")
        return cast("TestConditions", given)


class PointForm(QuantityForm):
    """Readings at one point, with a field for every outlet and repeat."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reported_m3_s = QuantityField("airflow", label="Flow reported", required=False, minimum=0.0)
    sensed_pressure_pa = QuantityField("pressure", label="Sensed pressure", required=False)
    damper_fraction = QuantityField(
        "fraction", label="Damper", required=False, minimum=0.0, maximum=1.0
    )
    measured_m3_s = QuantityField(
        "airflow", label="Measured as one value", required=False, minimum=0.0
    )
    is_traverse = forms.BooleanField(label="By traverse of the duct", required=False)
    note = forms.CharField(label="Note", required=False, max_length=500)

    def __init__(self, *args: Any, outlets: Sequence[Mapping[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.outlets = outlets
        for outlet in outlets:
            for repeat in REPEATS:
                field = QuantityField(
                    "airflow",
                    label=f"{outlet['tag']}, reading {repeat}",
                    required=False,
                    minimum=0.0,
                )
                field.system = self.system
                self.fields[self.reading_name(outlet["id"], repeat)] = field

    @staticmethod
    def reading_name(outlet_id: int, repeat: int) -> str:
        """Name of the field of a reading."""
        return f"outlet-{outlet_id}-{repeat}"

    @property
    def outlet_rows(self) -> list[tuple[Mapping[str, Any], list[forms.BoundField]]]:
        """Each outlet with its fields."""
        return [
            (outlet, [self[self.reading_name(outlet["id"], repeat)] for repeat in REPEATS])
            for outlet in self.outlets
        ]

    @property
    def values(self) -> PointValues:
        """What the operation takes as values of the point."""
        names = (
            "reported_m3_s",
            "sensed_pressure_pa",
            "damper_fraction",
            "measured_m3_s",
            "is_traverse",
            "note",
        )
        return cast("PointValues", {name: self.cleaned_data[name] for name in names})

    @property
    def readings(self) -> dict[tuple[int, int], Entered | None]:
        """What the operation takes as readings."""
        return {
            (outlet["id"], repeat): self.cleaned_data[self.reading_name(outlet["id"], repeat)]
            for outlet in self.outlets
            for repeat in REPEATS
        }


class KForm(QuantityForm):
    """K as left: by one of the methods, kept, or entered by hand."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    k = QuantityField("k_factor", label="K as left", required=False)
    reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=500,
        help_text="Asked for when K is entered by hand or changes by more than 20 %.",
    )


class DecisionForm(forms.Form):
    """A step of a test, with what is said about it."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    note = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea({"rows": 3})
    )


class InstrumentFilterForm(forms.Form):
    """Search and filters of the list of instruments."""

    text = forms.CharField(
        label="Search", required=False, max_length=80, widget=forms.TextInput({"type": "search"})
    )
    kind = forms.ChoiceField(label="Kind", required=False, choices=(("", "any"), *KIND_CHOICES))
    archived = forms.BooleanField(label="Archived ones", required=False)


class InstrumentForm(QuantityForm):
    """An instrument with its accuracy and calibration."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    name = forms.CharField(label="Name", max_length=80)
    kind = forms.ChoiceField(label="Kind", choices=KIND_CHOICES)
    serial = forms.CharField(label="Serial number", max_length=60)
    accuracy_fraction = QuantityField(
        "fraction", label="Accuracy, of reading", minimum=0.0, maximum=0.5
    )
    floor_flow = QuantityField(
        "airflow",
        label="Fixed part, airflow",
        required=False,
        minimum=0.0,
        help_text="Of a flow hood or anemometer.",
    )
    floor_pressure = QuantityField(
        "pressure",
        label="Fixed part, pressure",
        required=False,
        minimum=0.0,
        help_text="Of a manometer.",
    )
    minimum_m3_s = QuantityField(
        "airflow", label="Smallest flow it reads", required=False, minimum=0.0
    )
    calibrated_date = forms.DateField(label="Calibrated on", required=False, widget=_DAY)
    due_date = forms.DateField(label="Calibration due", required=False, widget=_DAY)
    certificate = forms.FileField(
        label="Certificate", required=False, help_text="PDF, PNG or JPEG, up to 10 MB."
    )

    @property
    def values(self) -> InstrumentValues:
        """What the operation takes."""
        given = self.cleaned_data
        floor: Entered | None = given[
            "floor_pressure" if given["kind"] == "manometer" else "floor_flow"
        ]
        minimum: Entered | None = given["minimum_m3_s"]
        return {
            "name": given["name"],
            "kind": given["kind"],
            "serial": given["serial"],
            "accuracy_fraction": given["accuracy_fraction"].value,
            "accuracy_floor_si": floor.value if floor else 0.0,
            "minimum_m3_s": minimum.value if minimum else None,
            "calibrated_date": given["calibrated_date"],
            "due_date": given["due_date"],
        }

    def clean_certificate(self) -> Any:
        """Refuse a file that is too large before it is read into memory."""
        file = self.cleaned_data["certificate"]
        if file is not None and file.size > CERTIFICATE_LIMIT_BYTES:
            raise forms.ValidationError("The certificate is larger than 10 MB.")
        return file


def as_typed(
    text: str | None, value: float | None, kind: str, system: UnitSystem
) -> str | float | None:
    """What a field shows of a stored quantity.

    The text as entered while it still says the stored value, without the unit that stands in
    the label; otherwise the value itself.
    """
    if value is None or not text:
        return value
    entered = parse(text, kind, default_unit=default_unit(kind, system))
    if not same(entered.value, value):
        return value
    return entered.text.removesuffix(unit_symbol(kind, system)).strip()
