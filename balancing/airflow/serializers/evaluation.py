"""What the API gives of an evaluated test. Quantities are SI numbers."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from balancing.airflow.domain.results import OutletResult, PointResult, TestResult
from balancing.airflow.serializers.words import (
    K_METHODS,
    ROUNDS,
    SETPOINTS,
    SEVERITIES,
    VERDICTS,
)
from projectsite.core.findings import Finding


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
