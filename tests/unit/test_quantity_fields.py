import pytest
from django import forms
from django.core.exceptions import ValidationError
from drf_spectacular.openapi import AutoSchema
from rest_framework import serializers

from projectsite.core import units
from projectsite.core.errors import InvalidInput
from projectsite.core.forms import QuantityField, QuantityForm
from projectsite.core.serializers import QuantityField as ApiQuantityField
from projectsite.core.serializers import QuantityFieldSchema
from projectsite.core.units import Entered

CFM = units.to_si(1.0, "cubic_foot_per_minute", "airflow")


class SetpointForm(QuantityForm):
    maximum = QuantityField("airflow", minimum=0.0, maximum=2.0)
    limit = QuantityField("temperature", required=False)


def test_a_bare_number_is_taken_in_the_unit_beside_the_field() -> None:
    form = SetpointForm({"maximum": "1,250"}, system="ip")
    assert form.is_valid()
    assert form.cleaned_data["maximum"] == Entered(pytest.approx(1250 * CFM), "1,250 cfm")  # type: ignore[arg-type]  # compares as a float
    assert form.cleaned_data["limit"] is None
    metric = SetpointForm({"maximum": "500"}, system="si")
    assert metric.is_valid()
    assert metric.cleaned_data["maximum"].value == pytest.approx(0.5)


def test_another_unit_of_the_kind_is_read_and_kept_as_typed() -> None:
    form = SetpointForm({"maximum": "0.2 m³/s", "limit": "90 °F"}, system="ip")
    assert form.is_valid()
    assert form.cleaned_data["maximum"] == Entered(0.2, "0.2 m³/s")
    assert form.cleaned_data["limit"].value == pytest.approx(32.2222, abs=1e-4)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("many", "is not a number"),
        ("78o", "is not a unit known here"),
        ("85 °F", "is not a unit of airflow"),
        ("5000", "Must be 4238 cfm or less."),
        ("-1", "Must be 0 cfm or more."),
        ("1" * 100, "too long"),
        ("", "required"),
    ],
)
def test_what_cannot_be_taken_is_said_in_plain_words_and_kept(typed: str, said: str) -> None:
    form = SetpointForm({"maximum": typed}, system="ip")
    assert not form.is_valid()
    assert said in str(form.errors["maximum"][0])
    assert f'value="{typed}"' in str(form["maximum"]) or typed == ""
    assert 'aria-invalid="true"' in str(form["maximum"])


def test_the_end_of_the_range_survives_conversion() -> None:
    field = QuantityField("airflow", maximum=450 * CFM)
    assert field.clean("450").value == pytest.approx(450 * CFM)
    with pytest.raises(ValidationError):
        field.clean("450.01")


@pytest.mark.parametrize(
    ("initial", "shown"),
    [
        (350 * CFM, "350"),
        (Entered(350 * CFM, "165 L/s"), "165 L/s"),
        (None, None),
        ("78o", "78o"),
    ],
)
def test_initial_shows_as_entered_or_in_readers_unit(initial: object, shown: str | None) -> None:
    form = SetpointForm(initial={"maximum": initial}, system="ip")
    markup = str(form["maximum"])
    assert (f'value="{shown}"' in markup) if shown else ("value=" not in markup)
    assert 'inputmode="decimal"' in markup


@pytest.mark.parametrize(
    ("initial", "data", "changed"),
    [
        (450 * CFM, "450", False),
        (450 * CFM, "450 cfm", False),
        (Entered(450 * CFM, "450 cfm"), "450", False),
        ("450 cfm", "450", False),
        (450 * CFM, "451", True),
        (None, "", False),
        (None, "0", True),
        (450 * CFM, "x", True),
    ],
)
def test_change_is_judged_by_quantity(initial: object, data: str, changed: bool) -> None:
    assert QuantityField("airflow").has_changed(initial, data) is changed


def test_the_system_of_one_form_does_not_leak_into_another() -> None:
    metric = SetpointForm(system="si")
    inch = SetpointForm(system="ip")
    assert [f.fields["maximum"].unit for f in (metric, inch)] == ["L/s", "cfm"]  # type: ignore[attr-defined]  # quantity fields
    assert isinstance(metric, forms.Form)


def test_a_refusal_of_the_domain_stands_beside_its_field() -> None:
    form = SetpointForm({"maximum": "450"}, system="ip")
    assert form.is_valid()
    form.refuse(InvalidInput("No.", fields={"maximum": "Above the duct.", "elsewhere": "Odd."}))
    assert form.errors == {"maximum": ["Above the duct."], "__all__": ["Odd."]}


class SetpointSerializer(serializers.Serializer[object]):
    maximum_m3_s = ApiQuantityField("airflow", minimum=0.0, maximum=2.0)


@pytest.mark.parametrize(
    ("sent", "value", "text"),
    [(0.25, 0.25, "0.25 m³/s"), (1, 1.0, "1 m³/s"), ("450 cfm", 450 * CFM, "450 cfm")],
)
def test_the_api_takes_si_numbers_and_text_with_unit(sent: object, value: float, text: str) -> None:
    serializer = SetpointSerializer(data={"maximum_m3_s": sent})
    assert serializer.is_valid(), serializer.errors
    entered = serializer.validated_data["maximum_m3_s"]
    assert (entered.value, entered.text) == (pytest.approx(value), text)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ("450", "has no unit"),
        (True, "Send a number in m³/s"),
        ([1], "Send a number"),
        (float("nan"), "finite"),
        (10**400, "finite"),
        ("12 °F", "not a unit of airflow"),
        (2.1, "2 m³/s or less"),
        (-0.1, "0 m³/s or more"),
        (None, "may not be null"),
    ],
)
def test_the_api_refuses_what_it_cannot_read(sent: object, said: str) -> None:
    serializer = SetpointSerializer(data={"maximum_m3_s": sent})
    assert not serializer.is_valid()
    assert said in str(serializer.errors["maximum_m3_s"][0])


@pytest.mark.parametrize("stored", [0.25, Entered(0.25, "530 cfm")])
def test_the_api_answers_with_the_si_number(stored: object) -> None:
    assert SetpointSerializer({"maximum_m3_s": stored}).data == {"maximum_m3_s": 0.25}


def test_the_schema_names_the_unit() -> None:
    field = ApiQuantityField("airflow", minimum=0.0)
    schema = QuantityFieldSchema(field)  # type: ignore[no-untyped-call]  # the library types no __init__
    request = schema.map_serializer_field(AutoSchema(), "request")
    assert [branch["type"] for branch in request["oneOf"]] == ["number", "string"]
    assert request["oneOf"][0]["minimum"] == 0.0
    assert "m³/s" in request["description"]
    answer = schema.map_serializer_field(AutoSchema(), "response")
    assert answer == {"type": "number", "format": "double", "description": "Airflow [m³/s]."}
