"""Serializers made from the field lists, so that the API can't drift from the record.

Lists leave as plain values and never pass through these; they describe the answers and read
what is sent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rest_framework import serializers

from projectsite.core.serializers import QuantityField
from zones.inventory.domain.fields import (
    AIR_HANDLER_FIELDS,
    BOX_MODEL_FIELDS,
    CONTROLLER_FIELDS,
    INLET_FIELDS,
    OUTLET_FIELDS,
    UNIT_FIELDS,
    ZONE_FIELDS,
    Field,
)

Plain = serializers.Serializer[Any]


def _taken(field: Field) -> serializers.Field[Any, Any, Any, Any]:
    """How a stored field is taken in."""
    common: dict[str, Any] = {"required": field.required, "help_text": field.help or field.label}
    nullable = {**common, "allow_null": not field.required}
    if field.kind == "link":
        return serializers.IntegerField(min_value=1, **nullable)
    if field.kind == "choice":
        return _choice(field, **common)
    if field.is_text:
        is_blank = not field.required
        return serializers.CharField(max_length=field.max_length, allow_blank=is_blank, **common)
    if field.kind == "count":
        low, high = field.low, field.high
        return serializers.IntegerField(
            min_value=None if low is None else int(low),
            max_value=None if high is None else int(high),
            **nullable,
        )
    if field.kind == "figure":
        return serializers.FloatField(min_value=field.low, max_value=field.high, **nullable)
    return QuantityField(field.kind, minimum=field.low, **nullable)


def _choice(field: Field, **common: Any) -> serializers.ChoiceField:
    """A choice; one without a default may be left open."""
    is_blank = field.default is None and not field.required
    return serializers.ChoiceField(choices=list(field.choices), allow_blank=is_blank, **common)


def _given(field: Field) -> serializers.Field[Any, Any, Any, Any]:
    """How a field is given out."""
    words = field.help or field.label
    if field.kind == "link":
        return serializers.CharField(allow_null=True, help_text=f"{field.label}: tag or name.")
    if field.kind == "choice":
        return _choice(field, help_text=words)
    if field.is_text:
        return serializers.CharField(help_text=words)
    if field.kind == "count":
        return serializers.IntegerField(allow_null=True, help_text=words)
    if field.kind == "figure":
        return serializers.FloatField(allow_null=True, help_text=words)
    return QuantityField(field.kind, allow_null=True, help_text=words)


def _input(name: str, fields: Sequence[Field]) -> type[Plain]:
    """Serializer of what is sent: links by id, and the version that is changed."""
    members: dict[str, Any] = {
        field.column if field.kind == "link" else field.name: _taken(field)
        for field in fields
        if field.is_stored
    }
    members["version"] = serializers.IntegerField(
        required=False, min_value=0, help_text="Version that is changed; not needed to add."
    )
    return type(name, (serializers.Serializer,), {**members, "__doc__": f"{name}: input."})


def _output(
    name: str, fields: Sequence[Field], **extra: serializers.Field[Any, Any, Any, Any]
) -> type[Plain]:
    """Serializer that describes what is given."""
    members: dict[str, Any] = {"id": serializers.IntegerField()}
    for field in fields:
        members[field.name] = _given(field)
        if field.kind == "link" and field.is_stored:
            members[field.column] = serializers.IntegerField(allow_null=True)
    members |= extra
    members["version"] = serializers.IntegerField()
    return type(name, (serializers.Serializer,), {**members, "__doc__": f"{name}: output."})


def accepted(fields: Sequence[Field], data: Mapping[str, Any]) -> dict[str, Any]:
    """Values by field name out of validated input, for an operation."""
    keys = {f.column if f.kind == "link" else f.name: f.name for f in fields if f.is_stored}
    return {keys[key]: value for key, value in data.items() if key in keys}


def _entered() -> serializers.Field[Any, Any, Any, Any]:
    return serializers.DictField(
        child=serializers.CharField(), help_text="Quantities as typed, by field name."
    )


def _archived() -> serializers.Field[Any, Any, Any, Any]:
    return serializers.DateTimeField(allow_null=True)


UnitIn = _input("UnitInput", UNIT_FIELDS)
UnitOut = _output(
    "Unit",
    UNIT_FIELDS,
    entered=_entered(),
    revision=serializers.IntegerField(
        help_text="Schedule revision that last changed the unit; 0 when none did."
    ),
    archived_at=_archived(),
)
OutletIn = _input("OutletInput", OUTLET_FIELDS)
OutletOut = _output(
    "Outlet",
    OUTLET_FIELDS,
    unit_id=serializers.IntegerField(),
    unit=serializers.CharField(help_text="Tag of the unit."),
    entered=_entered(),
    archived_at=_archived(),
)
AirHandlerIn = _input("AirHandlerInput", AIR_HANDLER_FIELDS)
AirHandlerOut = _output(
    "AirHandler",
    AIR_HANDLER_FIELDS,
    units=serializers.IntegerField(help_text="Units in use."),
    units_with_maximum=serializers.IntegerField(help_text="Of these, with a cooling maximum."),
    sum_cooling_max_m3_s=QuantityField("airflow", allow_null=True),
    sum_cooling_min_m3_s=QuantityField("airflow", allow_null=True),
    diversity_fraction=QuantityField("fraction", allow_null=True),
    is_archived=serializers.BooleanField(),
)
ZoneIn = _input("ZoneInput", ZONE_FIELDS)
ZoneOut = _output(
    "Zone",
    ZONE_FIELDS,
    units=serializers.IntegerField(help_text="Units in use that serve the zone."),
    sum_cooling_max_m3_s=QuantityField("airflow", allow_null=True),
    is_archived=serializers.BooleanField(),
)
BoxModelIn = _input("BoxModelInput", BOX_MODEL_FIELDS)
InletIn = _input("InletInput", INLET_FIELDS)
InletOut = type(
    "Inlet",
    (serializers.Serializer,),
    {
        "id": serializers.IntegerField(),
        **{field.name: _given(field) for field in INLET_FIELDS},
        "__doc__": "Inlet: output.",
    },
)
BoxModelOut = _output(
    "BoxModel",
    BOX_MODEL_FIELDS,
    inlets=InletOut(many=True),
    units=serializers.IntegerField(help_text="Units of this project that have it."),
    is_archived=serializers.BooleanField(),
)
ControllerModelIn = _input("ControllerModelInput", CONTROLLER_FIELDS)
ControllerModelOut = _output(
    "ControllerModel",
    CONTROLLER_FIELDS,
    units=serializers.IntegerField(help_text="Units of this project that have it."),
    is_archived=serializers.BooleanField(),
)


class VersionIn(Plain):
    """Version that is acted upon; without it whatever stands is."""

    version = serializers.IntegerField(required=False, min_value=0)


class ActSerializer(Plain):
    """An act on many units."""

    ids = serializers.ListField(
        child=serializers.IntegerField(min_value=1), allow_empty=False, max_length=5000
    )
    act = serializers.ChoiceField(choices=["set", "archive", "restore"])
    field = serializers.ChoiceField(
        choices=["air_handler", "zone", "controller_model", "floor"],
        required=False,
        help_text="What to set.",
    )
    value_id = serializers.IntegerField(
        required=False, allow_null=True, help_text="Id of the record to set; null clears it."
    )
    text = serializers.CharField(
        required=False, allow_blank=True, max_length=40, help_text="Floor to set."
    )


class DoneOut(Plain):
    """How many records an act changed."""

    changed = serializers.IntegerField()


class StarterOut(Plain):
    """How much of the starter library was new."""

    box_models = serializers.IntegerField()
    inlets = serializers.IntegerField()
    controller_models = serializers.IntegerField()


class FindingOut(Plain):
    """A finding: what is wrong, and what to do next."""

    code = serializers.CharField()
    severity = serializers.CharField(help_text="look, disagrees or holds.")
    subject = serializers.CharField(help_text="Tag of what it is about.")
    subject_kind = serializers.CharField()
    subject_id = serializers.IntegerField()
    message = serializers.CharField()
    action = serializers.CharField()
    reference = serializers.CharField()
    values = serializers.DictField(
        child=serializers.FloatField(allow_null=True), help_text="Compared values, SI."
    )


class ChangeOut(Plain):
    """A line of a change log."""

    at = serializers.DateTimeField()
    who = serializers.CharField()
    where = serializers.CharField(help_text="page, API, schedule import or program.")
    what = serializers.CharField(help_text="added, changed, archived, restored or removed.")
    record = serializers.CharField(help_text="Part of the record, or empty.")
    field = serializers.CharField()
    old = serializers.JSONField(allow_null=True, help_text="SI for a quantity.")
    new = serializers.JSONField(allow_null=True, help_text="SI for a quantity.")
