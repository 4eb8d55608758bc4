"""Calculators of uncertainty. Inputs and outputs in SI."""

from __future__ import annotations

from collections.abc import Sequence

from balancing.airflow.domain import uncertainty
from balancing.airflow.domain.outlets import repeats
from balancing.airflow.domain.ranges import require
from projectsite.core.formulas import Formula, Input, Output, Result, Step

_GUM = "JCGM 100 (GUM) and NIST TN 1297: limits ±a give a/√3"


def _hood(
    readings: Sequence[float], accuracy: float, floor: float, coverage: float, treat_as: str
) -> Result:
    require("accuracy", accuracy, "", low=0.0)
    require("floor", floor, "m³/s", low=0.0)
    require("coverage", coverage, "", low=0.0, above=True)
    if treat_as == "outlets" and len(readings) > 1:
        return _sum(readings, accuracy, floor, coverage)
    told = repeats(readings)
    got = uncertainty.hood_uncertainty(
        told.mean_m3_s,
        accuracy,
        floor,
        repeatability_m3_s=told.standard_m3_s,
        coverage=coverage,
    )
    steps = [
        Step(
            "u = √((a Q)² + b²)/√3" + (", and s/√n of the repeats beside it" * (len(readings) > 1)),
            (
                ("Q", told.mean_m3_s, "airflow"),
                ("a", accuracy, "fraction"),
                ("b", floor, "airflow"),
                ("u", got.standard_m3_s, "airflow"),
            ),
        ),
        Step("U = k u", (("k", coverage, "number"), ("U", got.expanded_m3_s, "airflow"))),
    ]
    return Result(
        {
            "flow": told.mean_m3_s,
            "worst_case": got.worst_m3_s,
            "quadrature": got.rss_m3_s,
            "standard": got.standard_m3_s,
            "expanded": got.expanded_m3_s,
            "expanded_share": got.expanded_m3_s / told.mean_m3_s if told.mean_m3_s else None,
        },
        tuple(steps),
    )


def _sum(readings: Sequence[float], accuracy: float, floor: float, coverage: float) -> Result:
    total = sum(readings)
    expanded = uncertainty.sum_uncertainty_m3_s(readings, accuracy, floor, coverage=coverage)
    step = Step(
        "U = k √((a Σ Q)² + N b²)/√3: the share of reading is common, the fixed part is not",
        (
            ("Σ Q", total, "airflow"),
            ("N", float(len(readings)), "number"),
            ("U", expanded, "airflow"),
        ),
    )
    limits = accuracy * total, floor * len(readings) ** 0.5
    return Result(
        {
            "flow": total,
            "worst_case": accuracy * total + floor * len(readings),
            "quadrature": (limits[0] ** 2 + limits[1] ** 2) ** 0.5,
            "standard": expanded / coverage,
            "expanded": expanded,
            "expanded_share": expanded / total if total else None,
        },
        (step,),
    )


def _sensor(
    sensed_pressure: float,
    pressure_limit: float,
    k_uncertainty: float,
    density_uncertainty: float,
    coverage: float,
) -> Result:
    got = uncertainty.sensor_uncertainty(
        sensed_pressure,
        k_uncertainty=k_uncertainty,
        pressure_limit_pa=pressure_limit,
        density_uncertainty=density_uncertainty,
        coverage=coverage,
    )
    step = Step(
        "(u/Q)² = (u K/K)² + (d/(√3 · 2 Δp))² + (u density/(2 density))²; U = k u",
        (
            ("Δp", sensed_pressure, "pressure"),
            ("d", pressure_limit, "pressure"),
            ("part of Δp", got.pressure_part, "fraction"),
            ("u/Q", got.standard, "fraction"),
            ("U/Q", got.expanded, "fraction"),
        ),
    )
    return Result(
        {
            "pressure_part": got.pressure_part,
            "standard": got.standard,
            "expanded": got.expanded,
        },
        (step,),
    )


_COVERAGE = Input(
    "coverage", "number", "coverage factor", required=False, default=uncertainty.COVERAGE
)

FORMULAS = (
    Formula(
        name="hood-uncertainty",
        title="Uncertainty of hood readings",
        summary="Uncertainty of a reading, of repeats, or of the sum of several outlets.",
        inputs=(
            Input("flow", "airflow", "hood readings", is_list=True),
            Input("accuracy", "fraction", "accuracy, share of reading"),
            Input("floor", "airflow", "accuracy, fixed part", required=False, default=0.0),
            _COVERAGE,
            Input(
                "treat_as",
                "",
                "several readings are",
                required=False,
                choices=("outlets", "repeats"),
                default="outlets",
                help="Readings of several outlets add up; repeats of one outlet are averaged.",
            ),
        ),
        outputs=(
            Output("flow", "airflow", "flow"),
            Output("worst_case", "airflow", "worst case"),
            Output("quadrature", "airflow", "limits in quadrature"),
            Output("standard", "airflow", "standard uncertainty"),
            Output("expanded", "airflow", "expanded uncertainty"),
            Output("expanded_share", "fraction", "expanded uncertainty, share of flow"),
        ),
        compute=lambda *, flow, accuracy, floor, coverage, treat_as: _hood(
            flow, accuracy, floor, coverage, treat_as
        ),
        reference=_GUM,
        mark="published",
    ),
    Formula(
        name="sensor-uncertainty",
        title="Uncertainty of a flow sensor",
        summary="Uncertainty of an indicated flow from those of K, pressure and density.",
        inputs=(
            Input("sensed_pressure", "pressure", "sensed pressure"),
            Input("pressure_limit", "pressure", "accuracy of the pressure, ±"),
            Input(
                "k_uncertainty",
                "fraction",
                "standard uncertainty of K",
                required=False,
                default=0.01,
            ),
            Input(
                "density_uncertainty",
                "fraction",
                "standard uncertainty of the density",
                required=False,
                default=0.01,
            ),
            _COVERAGE,
        ),
        outputs=(
            Output("pressure_part", "fraction", "part of the sensed pressure"),
            Output("standard", "fraction", "standard uncertainty of the flow"),
            Output("expanded", "fraction", "expanded uncertainty of the flow"),
        ),
        compute=_sensor,
        reference=_GUM + "; applied to Q = K √(Δp/density)",
        mark="published",
    ),
)
