"""What the API gives of flow tests, readings and instruments. Quantities are SI numbers."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from balancing.airflow.serializers.evaluation import EvaluationOut
from balancing.airflow.serializers.words import (
    INSTRUMENT_KINDS,
    K_METHODS,
    ROUNDS,
    SETPOINTS,
    TEST_STATES,
)


class InstrumentOut(serializers.Serializer[Any]):
    """An instrument."""

    id = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=INSTRUMENT_KINDS)
    name = serializers.CharField()
    serial = serializers.CharField()
    accuracy_fraction = serializers.FloatField()
    accuracy_floor_si = serializers.FloatField()
    minimum_m3_s = serializers.FloatField(allow_null=True)
    calibrated_date = serializers.DateField(allow_null=True)
    due_date = serializers.DateField(allow_null=True)
    certificate = serializers.CharField(help_text="Name of the stored file; empty when none.")
    archived_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()


class TestRowOut(serializers.Serializer[Any]):
    """A flow test in a list."""

    id = serializers.IntegerField()
    number = serializers.IntegerField()
    state = serializers.ChoiceField(choices=TEST_STATES)
    unit_id = serializers.IntegerField()
    tag = serializers.CharField()
    location = serializers.CharField()
    floor = serializers.CharField()
    air_handler = serializers.CharField(allow_null=True)
    instrument_id = serializers.IntegerField(allow_null=True)
    instrument_name = serializers.CharField(allow_null=True)
    technician_id = serializers.IntegerField()
    technician_name = serializers.CharField()
    entered_by_id = serializers.IntegerField()
    entered_by_name = serializers.CharField()
    decided_by_name = serializers.CharField(allow_null=True)
    tested_date = serializers.DateField()
    k_as_found_m3_s_sqrt_pa = serializers.FloatField(allow_null=True)
    k_as_left_m3_s_sqrt_pa = serializers.FloatField(allow_null=True)
    k_method = serializers.ChoiceField(choices=K_METHODS, allow_blank=True)
    submitted_at = serializers.DateTimeField(allow_null=True)
    decided_at = serializers.DateTimeField(allow_null=True)
    decision_note = serializers.CharField()
    created_at = serializers.DateTimeField()
    version = serializers.IntegerField()


class ReadingOut(serializers.Serializer[Any]):
    """One hood reading as stored."""

    id = serializers.IntegerField()
    point_id = serializers.IntegerField()
    outlet_id = serializers.IntegerField()
    outlet_tag = serializers.CharField()
    repeat = serializers.IntegerField()
    flow_m3_s = serializers.FloatField()
    flow_as_entered = serializers.CharField()
    design_m3_s = serializers.FloatField(allow_null=True)
    hood_factor = serializers.FloatField()
    client_key = serializers.UUIDField()
    taken_at = serializers.DateTimeField()


class PointOut(serializers.Serializer[Any]):
    """One point as stored; ``entered`` holds texts as entered by field."""

    id = serializers.IntegerField()
    round = serializers.ChoiceField(choices=ROUNDS)
    setpoint = serializers.ChoiceField(choices=SETPOINTS)
    target_m3_s = serializers.FloatField(allow_null=True)
    reported_m3_s = serializers.FloatField(allow_null=True)
    sensed_pressure_pa = serializers.FloatField(allow_null=True)
    damper_fraction = serializers.FloatField(allow_null=True)
    measured_m3_s = serializers.FloatField(allow_null=True)
    is_traverse = serializers.BooleanField()
    entered = serializers.DictField(child=serializers.CharField())
    note = serializers.CharField()
    taken_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()


class TestOut(TestRowOut):
    """A flow test with its conditions, points, readings and what they come to."""

    client_key = serializers.UUIDField()
    air_degc = serializers.FloatField(allow_null=True)
    humidity_fraction = serializers.FloatField(allow_null=True)
    elevation_m = serializers.FloatField()
    hood_reads_actual = serializers.BooleanField()
    zero_reading_pa = serializers.FloatField(allow_null=True)
    k_reason = serializers.CharField()
    entered = serializers.DictField(child=serializers.CharField())
    design = serializers.DictField(help_text="Unit, limits and outlets as the test was begun.")
    note = serializers.CharField()
    points = PointOut(many=True)
    readings = ReadingOut(many=True)
    evaluation = EvaluationOut()


class BatchItemOut(serializers.Serializer[Any]):
    """What became of one reading of a batch, in the order that they came."""

    status = serializers.IntegerField(help_text="201 new, 200 stored before, else as refused.")
    reading = ReadingOut(allow_null=True)
    refusal = serializers.DictField(
        allow_null=True, help_text="Code, message and messages by field, as in any refusal."
    )


class BatchOut(serializers.Serializer[Any]):
    """What became of a batch."""

    results = BatchItemOut(many=True)
