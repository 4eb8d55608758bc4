"""Shapes of the API: what is taken and what is given. Quantities are SI numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from rest_framework import serializers

from balancing.airflow.domain.results import OutletResult, PointResult, TestResult
from balancing.airflow.operations.instruments import InstrumentValues
from balancing.airflow.operations.points import BATCH_LIMIT, PointValues, Reading
from balancing.airflow.operations.tests import TestConditions
from projectsite.core.findings import Finding
from projectsite.core.serializers import QuantityField
from projectsite.core.units import Entered

INSTRUMENT_KINDS = ("hood", "manometer", "anemometer", "thermometer")
TEST_STATES = ("open", "submitted", "returned", "accepted", "superseded")
ROUNDS = ("as-found", "as-left")
SETPOINTS = ("cooling-max", "middle", "cooling-min", "heating-max")
K_METHODS = (
    "kept",
    "one-reading",
    "least-squares",
    "least-relative",
    "zero-offset",
    "by-hand",
)
VERDICTS = ("within", "low", "high", "indeterminate", "not-applicable", "unknown")
SEVERITIES = ("look", "disagrees", "holds")


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


class StepOut(serializers.Serializer[Any]):
    """One line of working: the formula, and what was put in, in SI."""

    text = serializers.CharField()
    terms = serializers.ListField(child=serializers.DictField())


class OutletResultOut(serializers.Serializer[Any]):
    """What an outlet comes to at a point."""

    outlet_id = serializers.IntegerField()
    tag = serializers.CharField()
    repeats = serializers.IntegerField()
    mean_m3_s = serializers.FloatField()
    measured_m3_s = serializers.FloatField()
    spread_fraction = serializers.FloatField()
    design_m3_s = serializers.FloatField(allow_null=True)
    share_fraction = serializers.FloatField(allow_null=True)
    uncertainty_m3_s = serializers.FloatField(allow_null=True)
    verdict = serializers.ChoiceField(choices=VERDICTS)


class PointResultOut(serializers.Serializer[Any]):
    """What a point comes to."""

    point_id = serializers.IntegerField()
    round = serializers.ChoiceField(choices=ROUNDS)
    setpoint = serializers.ChoiceField(choices=SETPOINTS)
    design_m3_s = serializers.FloatField(allow_null=True)
    measured_m3_s = serializers.FloatField(allow_null=True)
    uncertainty_m3_s = serializers.FloatField(allow_null=True)
    share_fraction = serializers.FloatField(allow_null=True)
    verdict = serializers.ChoiceField(choices=VERDICTS)
    reported_against_measured_fraction = serializers.FloatField(allow_null=True)
    agrees = serializers.BooleanField(allow_null=True)
    k_m3_s_sqrt_pa = serializers.FloatField(allow_null=True)
    unusable = serializers.CharField()
    predicted_m3_s = serializers.FloatField(allow_null=True)
    outlets = OutletResultOut(many=True)
    working = StepOut(many=True)


class KOptionOut(serializers.Serializer[Any]):
    """One way to a K factor."""

    method = serializers.ChoiceField(choices=K_METHODS)
    k_m3_s_sqrt_pa = serializers.FloatField()
    zero_pa = serializers.FloatField()
    predicted_m3_s = serializers.ListField(child=serializers.FloatField())
    error_fractions = serializers.ListField(child=serializers.FloatField())
    refusal = serializers.CharField()


class KChoiceOut(serializers.Serializer[Any]):
    """The ways to a K factor and the recommended one."""

    recommended = serializers.ChoiceField(choices=K_METHODS)
    reason = serializers.CharField()
    zero_first = serializers.BooleanField()
    spread_fraction = serializers.FloatField()
    change_fraction = serializers.FloatField(allow_null=True)
    needs_reason = serializers.BooleanField()
    options = KOptionOut(many=True)


class BalanceOut(serializers.Serializer[Any]):
    """Where proportional balancing brings the outlets, at the cooling maximum."""

    ratio_fraction = serializers.FloatField()
    key_outlet_id = serializers.IntegerField()
    targets = serializers.ListField(child=serializers.DictField())


class TestFindingOut(serializers.Serializer[Any]):
    """One finding, in the reader's units; the compared values are SI."""

    code = serializers.CharField()
    severity = serializers.ChoiceField(choices=SEVERITIES)
    subject = serializers.CharField()
    message = serializers.CharField()
    action = serializers.CharField()
    reference = serializers.CharField()
    values = serializers.DictField(child=serializers.FloatField(allow_null=True))


class EvaluationOut(serializers.Serializer[Any]):
    """Everything computed from a test."""

    verdict = serializers.ChoiceField(choices=VERDICTS)
    final_round = serializers.ChoiceField(choices=ROUNDS)
    missing = serializers.ListField(child=serializers.CharField())
    density_kg_m3 = serializers.FloatField(allow_null=True)
    readable_pressure_pa = serializers.FloatField()
    lowest_controllable_m3_s = serializers.FloatField(allow_null=True)
    points = PointResultOut(many=True)
    k = KChoiceOut(allow_null=True)
    balance = BalanceOut(allow_null=True)
    working = StepOut(many=True)
    findings = TestFindingOut(many=True)


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


def evaluation_of(
    result: TestResult, missing: list[str], findings: list[Finding]
) -> dict[str, Any]:
    """Give an evaluated test as plain values."""
    return {
        "verdict": result.verdict,
        "final_round": result.final_round,
        "missing": missing,
        "density_kg_m3": result.density_kg_m3,
        "readable_pressure_pa": result.readable_pressure_pa,
        "lowest_controllable_m3_s": result.lowest_controllable_m3_s,
        "points": [_point(point) for point in result.points],
        "k": _choice(result),
        "balance": _balance(result),
        "working": _steps(result.steps),
        "findings": [
            {
                "code": found.code,
                "severity": found.severity.name.lower(),
                "subject": found.subject.label,
                "message": found.message,
                "action": found.action,
                "reference": found.reference,
                "values": dict(found.values),
            }
            for found in findings
        ],
    }


def _steps(steps: Any) -> list[dict[str, Any]]:
    return [
        {
            "text": step.text,
            "terms": [
                {"name": name, "value": value, "kind": kind} for name, value, kind in step.terms
            ],
        }
        for step in steps
    ]


def _point(result: PointResult) -> dict[str, Any]:
    return {
        "point_id": result.point.id,
        "round": result.point.round,
        "setpoint": result.point.setpoint,
        "design_m3_s": result.design_m3_s,
        "measured_m3_s": result.measured_m3_s,
        "uncertainty_m3_s": result.uncertainty_m3_s,
        "share_fraction": result.share,
        "verdict": result.verdict,
        "reported_against_measured_fraction": result.error,
        "agrees": result.agrees,
        "k_m3_s_sqrt_pa": result.k_m3_s_sqrt_pa,
        "unusable": result.unusable,
        "predicted_m3_s": result.predicted_m3_s,
        "outlets": [_outlet(outlet) for outlet in result.outlets],
        "working": _steps(result.steps),
    }


def _outlet(outlet: OutletResult) -> dict[str, Any]:
    return {
        "outlet_id": outlet.outlet_id,
        "tag": outlet.tag,
        "repeats": outlet.repeats,
        "mean_m3_s": outlet.mean_m3_s,
        "measured_m3_s": outlet.measured_m3_s,
        "spread_fraction": outlet.spread,
        "design_m3_s": outlet.design_m3_s,
        "share_fraction": outlet.share,
        "uncertainty_m3_s": outlet.uncertainty_m3_s,
        "verdict": outlet.verdict,
    }


def _choice(result: TestResult) -> dict[str, Any] | None:
    choice = result.choice
    if choice is None:
        return None
    return {
        "recommended": choice.option.method,
        "reason": choice.reason,
        "zero_first": choice.zero_first,
        "spread_fraction": choice.spread,
        "change_fraction": choice.change,
        "needs_reason": choice.needs_reason,
        "options": [
            {
                "method": option.method,
                "k_m3_s_sqrt_pa": option.k_m3_s_sqrt_pa,
                "zero_pa": option.zero_pa,
                "predicted_m3_s": list(option.predicted_m3_s),
                "error_fractions": list(option.errors),
                "refusal": option.refusal,
            }
            for option in choice.options
        ],
    }


def _balance(result: TestResult) -> dict[str, Any] | None:
    plan = result.balance
    point = next((p for p in result.final_points if p.point.setpoint == "cooling-max"), None)
    if plan is None or point is None:
        return None
    steps = {step.index: (order, step) for order, step in enumerate(plan.steps, start=1)}
    targets = []
    for i, outlet in enumerate(point.outlets):
        order, step = steps.get(i, (None, None))
        targets.append(
            {
                "outlet_id": outlet.outlet_id,
                "order": order,
                "target_m3_s": step.target_m3_s if step else None,
                "final_m3_s": plan.final_m3_s[i],
            }
        )
    return {
        "ratio_fraction": plan.ratio,
        "key_outlet_id": point.outlets[plan.key].outlet_id,
        "targets": targets,
    }
