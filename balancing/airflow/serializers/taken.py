"""What the API takes of flow tests and instruments. Quantities are SI numbers or text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from rest_framework import serializers

from balancing.airflow.operations.instruments import InstrumentValues
from balancing.airflow.operations.points import BATCH_LIMIT, PointValues, Reading
from balancing.airflow.operations.tests import TestConditions
from balancing.airflow.serializers.words import (
    INSTRUMENT_KINDS,
    K_METHODS,
)
from projectsite.core.serializers import QuantityField
from projectsite.core.units import Entered


def _given(data: Mapping[str, Any], *left_out: str) -> dict[str, Any]:
    return {name: value for name, value in data.items() if name not in left_out}


class TestVersionIn(serializers.Serializer[Any]):
    """The state of the test that was seen."""

    version = serializers.IntegerField(min_value=0)


class NewTestIn(serializers.Serializer[Any]):
    """A new flow test. The same ``client_key`` again gives the test that it began."""

    client_key = serializers.UUIDField()
    unit_id = serializers.IntegerField(min_value=1)
    tested_date = serializers.DateField()
    instrument_id = serializers.IntegerField(min_value=1, required=False, allow_null=True)
    technician_id = serializers.IntegerField(
        min_value=1,
        required=False,
        allow_null=True,
        help_text="Whose readings they are; the office must name somebody.",
    )


class ConditionsIn(TestVersionIn):
    """Conditions of a test; what is left out stays as it is."""

    instrument_id = serializers.IntegerField(min_value=1, required=False, allow_null=True)
    technician_id = serializers.IntegerField(min_value=1, required=False)
    tested_date = serializers.DateField(required=False)
    air_degc = QuantityField("temperature", required=False, allow_null=True)
    humidity_fraction = QuantityField("fraction", required=False, allow_null=True)
    elevation_m = QuantityField("elevation", required=False)
    hood_reads_actual = serializers.BooleanField(required=False)
    zero_reading_pa = QuantityField("pressure", required=False, allow_null=True)
    k_as_found_m3_s_sqrt_pa = QuantityField("k_factor", required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=2000)

    @property
    def conditions(self) -> TestConditions:
        """What the operation takes."""
        return cast("TestConditions", _given(self.validated_data, "version"))


class PointIn(TestVersionIn):
    """What was read at a point; what is left out stays as it is."""

    reported_m3_s = QuantityField("airflow", required=False, allow_null=True, minimum=0.0)
    sensed_pressure_pa = QuantityField("pressure", required=False, allow_null=True)
    damper_fraction = QuantityField(
        "fraction", required=False, allow_null=True, minimum=0.0, maximum=1.0
    )
    measured_m3_s = QuantityField("airflow", required=False, allow_null=True, minimum=0.0)
    is_traverse = serializers.BooleanField(required=False)
    note = serializers.CharField(required=False, allow_blank=True, max_length=500)

    @property
    def values(self) -> PointValues:
        """What the operation takes."""
        return cast("PointValues", _given(self.validated_data, "version"))


class ReadingIn(serializers.Serializer[Any]):
    """One hood reading. Sending it again with its ``client_key`` is harmless."""

    client_key = serializers.UUIDField()
    point_id = serializers.IntegerField(min_value=1)
    outlet_id = serializers.IntegerField(min_value=1)
    repeat = serializers.IntegerField(min_value=1, max_value=3, default=1)
    flow_m3_s = QuantityField("airflow", minimum=0.0)
    taken_at = serializers.DateTimeField()

    @staticmethod
    def reading(data: Mapping[str, Any]) -> Reading:
        """What the operation takes."""
        flow: Entered = data["flow_m3_s"]
        return Reading(
            point_id=data["point_id"],
            outlet_id=data["outlet_id"],
            repeat=data["repeat"],
            flow=flow,
            client_key=data["client_key"],
            taken_at=data["taken_at"],
        )


class ReadingsIn(serializers.Serializer[Any]):
    """A batch of readings; each is judged by itself."""

    readings = serializers.ListField(
        child=serializers.DictField(), min_length=1, max_length=BATCH_LIMIT
    )


class KIn(TestVersionIn):
    """K as left: by one of the methods, or by hand with ``k_m3_s_sqrt_pa`` and a reason."""

    method = serializers.ChoiceField(choices=K_METHODS)
    k_m3_s_sqrt_pa = QuantityField("k_factor", required=False)
    reason = serializers.CharField(required=False, allow_blank=True, max_length=500, default="")


class DecisionIn(TestVersionIn):
    """A decision of the office, with what is said about it."""

    note = serializers.CharField(required=False, allow_blank=True, max_length=2000, default="")


class InstrumentIn(serializers.Serializer[Any]):
    """An instrument; what a change leaves out stays as it is."""

    version = serializers.IntegerField(min_value=0, required=False)
    kind = serializers.ChoiceField(choices=INSTRUMENT_KINDS)
    name = serializers.CharField(max_length=80)
    serial = serializers.CharField(max_length=60)
    accuracy_fraction = QuantityField("fraction", minimum=0.0, maximum=0.5)
    accuracy_floor_si = serializers.FloatField(
        min_value=0.0,
        max_value=1e6,
        required=False,
        help_text="Fixed part ±: m³/s, for a manometer Pa.",
    )
    minimum_m3_s = QuantityField("airflow", required=False, allow_null=True, minimum=0.0)
    calibrated_date = serializers.DateField(required=False, allow_null=True)
    due_date = serializers.DateField(required=False, allow_null=True)

    @property
    def values(self) -> InstrumentValues:
        """What the operation takes."""
        given = _given(self.validated_data, "version")
        for name in ("accuracy_fraction", "minimum_m3_s"):
            if isinstance(given.get(name), Entered):
                given[name] = given[name].value
        return cast("InstrumentValues", given)


class CertificateIn(serializers.Serializer[Any]):
    """The certificate of an instrument's calibration: PDF, PNG or JPEG, up to 10 MB."""

    certificate = serializers.FileField()
