"""What a flow test comes to, and the working behind each number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from balancing.airflow.domain.air import STANDARD_DENSITY_KG_M3
from balancing.airflow.domain.choice import KChoice
from balancing.airflow.domain.outlets import BalancePlan
from balancing.airflow.domain.types import (
    METHOD_NAMES,
    FlowTestSnapshot,
    PointSnapshot,
    RoundName,
)
from balancing.airflow.domain.verdict import Verdict
from projectsite.core.formulas import Step
from projectsite.core.scope import Tolerances


@dataclass(frozen=True, slots=True)
class OutletResult:
    """One outlet at one point.

    Attributes
    ----------
    mean_m3_s
        Mean of the repeats as the instrument showed them [m³/s].
    measured_m3_s
        The same with hood factor and density correction [m³/s].
    repeatability_m3_s
        Standard uncertainty of the mean, corrected alike [m³/s]; 0 for one reading.
    spread
        (max - min)/mean of the repeats [fraction].
    share
        Measured over design [fraction], None when there is no design.
    uncertainty_m3_s
        Expanded uncertainty [m³/s], None when the instrument is unknown.
    verdict
        Against the outlet tolerances; judged at the cooling maximum only.
    """

    outlet_id: int
    tag: str
    repeats: int
    mean_m3_s: float
    measured_m3_s: float
    repeatability_m3_s: float
    spread: float
    design_m3_s: float | None
    share: float | None
    uncertainty_m3_s: float | None
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class PointResult:
    """One point.

    Attributes
    ----------
    design_m3_s
        Airflow that it is judged against: as scheduled, or the target for a middle flow [m³/s].
    measured_m3_s, uncertainty_m3_s
        Measured flow and its expanded uncertainty [m³/s], None when unknown.
    outlet_sum_m3_s
        Sum of the outlets [m³/s], None when an expected one is missing or none was read.
    missing_outlets
        How many expected outlets were not read.
    share
        Measured over design [fraction].
    error, agrees
        (reported - measured)/measured [fraction], and whether the project allows it.
    pressure_pa, is_derived
        Sensed pressure for K [Pa]; derived when it follows from reported flow and K.
    k_m3_s_sqrt_pa
        K of this point alone [m³/s at 1 Pa].
    unusable
        Why the point gives no K; "" when it does.
    predicted_reported_m3_s
        What the controller would have shown here with the recommended K [m³/s].
    predicted_m3_s
        Flow that will pass when the controller then holds the target [m³/s].
    """

    point: PointSnapshot
    design_m3_s: float | None
    measured_m3_s: float | None
    uncertainty_m3_s: float | None
    density_factor: float
    outlets: tuple[OutletResult, ...]
    outlet_sum_m3_s: float | None
    missing_outlets: int
    share: float | None
    verdict: Verdict
    error: float | None
    agrees: bool | None
    pressure_pa: float | None
    is_derived: bool
    k_m3_s_sqrt_pa: float | None
    unusable: str
    predicted_reported_m3_s: float | None = None
    predicted_m3_s: float | None = None

    @property
    def steps(self) -> tuple[Step, ...]:
        """Working of this point, line by line."""
        return tuple(_point_steps(self))


@dataclass(frozen=True, slots=True)
class TestResult:
    """A test as a whole.

    Attributes
    ----------
    points
        In the order of the test.
    final_round
        Round that the verdict rests on: as left where it was measured.
    verdict
        Of the final round: "low", "high" or "indeterminate" when a point is, "unknown" when
        something is missing, else "within".
    missing
        What is missing before the test can be handed in, in plain words.
    density_kg_m3
        Density of the air at the test [kg/m³]; None when nothing had to be corrected.
    readable_pressure_pa, lowest_controllable_m3_s
        Lowest readable pressure [Pa] and the flow that belongs to it [m³/s]; the flow is None
        while K is unknown.
    choice
        Recommended K factor; None when no point is usable.
    balance
        Proportional balance of the outlets at cooling maximum, when all were read.
    """

    # Its name is no reason for a test runner to collect it.
    __test__: ClassVar[bool] = False

    test: FlowTestSnapshot
    limits: Tolerances
    points: tuple[PointResult, ...]
    final_round: RoundName
    verdict: Verdict
    missing: tuple[str, ...]
    density_kg_m3: float | None
    readable_pressure_pa: float
    k_m3_s_sqrt_pa: float | None
    lowest_controllable_m3_s: float | None
    choice: KChoice | None
    balance: BalancePlan | None

    @property
    def is_complete(self) -> bool:
        """Whether nothing is missing before it can be handed in."""
        return not self.missing

    @property
    def final_points(self) -> tuple[PointResult, ...]:
        """Points of the final round."""
        return tuple(point for point in self.points if point.point.round == self.final_round)

    @property
    def steps(self) -> tuple[Step, ...]:
        """Working of the recommendation and of what the controller can hold."""
        return tuple(_test_steps(self))


def _point_steps(result: PointResult) -> list[Step]:
    steps = []
    corrected = result.density_factor != 1.0
    factors = {reading.outlet_id: reading.hood_factor for reading in result.point.outlets}
    for outlet in result.outlets:
        hood_factor = factors[outlet.outlet_id]
        terms: list[tuple[str, float | str | None, str]] = [
            ("mean of readings", outlet.mean_m3_s, "airflow")
        ]
        text = "outlet = mean of readings"
        if hood_factor != 1.0:
            text += " × hood factor"
            terms.append(("hood factor", hood_factor, "number"))
        if corrected:
            text += " × density factor"
            terms.append(("density factor", result.density_factor, "number"))
        terms.append(("outlet", outlet.measured_m3_s, "airflow"))
        steps.append(Step(f"{outlet.tag}: {text}", tuple(terms)))
    if result.point.measured_single_m3_s is not None:
        text = "measured = reading" + (" × density factor" if corrected else "")
        read = ("reading", result.point.measured_single_m3_s, "airflow")
        steps.append(Step(text, (read, ("measured", result.measured_m3_s, "airflow"))))
    elif result.outlet_sum_m3_s is not None:
        steps.append(Step("measured = Σ outlets", (("measured", result.measured_m3_s, "airflow"),)))
    if result.uncertainty_m3_s is not None:
        steps.append(
            Step(
                "U = 2 √(((a Σ Q)² + N b²)/3 + Σ s²/n), with the instrument's limits ±a of "
                "reading and ±b, and s of n repeats",
                (("U", result.uncertainty_m3_s, "airflow"),),
            )
        )
    if result.share is not None:
        steps.append(
            Step(
                "share of design = measured/design",
                (
                    ("measured", result.measured_m3_s, "airflow"),
                    ("design", result.design_m3_s, "airflow"),
                    ("share of design", result.share, "fraction"),
                ),
            )
        )
    if result.error is not None:
        steps.append(
            Step(
                "difference = (reported − measured)/measured",
                (
                    ("reported", result.point.reported_m3_s, "airflow"),
                    ("measured", result.measured_m3_s, "airflow"),
                    ("difference", result.error, "fraction"),
                ),
            )
        )
    steps.extend(_k_steps(result))
    return steps


def _k_steps(result: PointResult) -> list[Step]:
    steps = []
    if result.is_derived:
        steps.append(
            Step(
                "Δp = (reported/K)², as no sensed pressure was entered",
                (
                    ("reported", result.point.reported_m3_s, "airflow"),
                    ("Δp", result.pressure_pa, "pressure"),
                ),
            )
        )
    if result.k_m3_s_sqrt_pa is not None:
        steps.append(
            Step(
                "K = measured/√Δp",
                (
                    ("measured", result.measured_m3_s, "airflow"),
                    ("Δp", result.pressure_pa, "pressure"),
                    ("K", result.k_m3_s_sqrt_pa, "k_factor"),
                ),
            )
        )
    elif result.unusable:
        steps.append(Step(result.unusable))
    if result.predicted_m3_s is not None:
        steps.append(
            Step(
                "flow after the change = target × measured/(K new √(Δp − zero))",
                (
                    ("target", result.point.target_m3_s or result.design_m3_s, "airflow"),
                    ("K new √(Δp − zero)", result.predicted_reported_m3_s, "airflow"),
                    ("flow after the change", result.predicted_m3_s, "airflow"),
                ),
            )
        )
    return steps


_METHOD_FORMULAS = {
    "one-reading": "K = Q/√Δp at the highest pressure",
    "least-squares": "K = Σ(√Δp Q)/ΣΔp",
    "least-relative": "K = Σ(√Δp/Q)/Σ(Δp/Q²)",
    "zero-offset": "Q² = K² (Δp − zero), straight line of Q² on Δp",
}


def _test_steps(result: TestResult) -> list[Step]:
    steps = []
    conditions = result.test.conditions
    if result.density_kg_m3 is not None:
        steps.append(
            Step(
                "density from elevation, temperature and humidity; "
                "density factor = √(standard density/density)",
                (
                    ("elevation", conditions.elevation_m, "elevation"),
                    ("temperature", conditions.air_degc, "temperature"),
                    ("humidity", conditions.humidity_fraction, "fraction"),
                    ("standard density", STANDARD_DENSITY_KG_M3, "density"),
                    ("density", result.density_kg_m3, "density"),
                ),
            )
        )
    if result.choice is not None:
        for option in result.choice.options:
            terms: list[tuple[str, float | str | None, str]] = [
                ("K", option.k_m3_s_sqrt_pa, "k_factor")
            ]
            if option.method == "zero-offset":
                terms.append(("zero", option.zero_pa, "pressure"))
            name = METHOD_NAMES[option.method]
            steps.append(Step(f"{name}: {_METHOD_FORMULAS[option.method]}", tuple(terms)))
        if result.choice.change is not None:
            steps.append(
                Step(
                    "change = K new/K as found − 1",
                    (
                        ("K as found", result.test.k_as_found_m3_s_sqrt_pa, "k_factor"),
                        ("K new", result.choice.option.k_m3_s_sqrt_pa, "k_factor"),
                        ("change", result.choice.change, "fraction"),
                    ),
                )
            )
    if result.lowest_controllable_m3_s is not None:
        steps.append(
            Step(
                "lowest controllable flow = K √(lowest readable pressure)",
                (
                    ("K", result.k_m3_s_sqrt_pa, "k_factor"),
                    ("lowest readable pressure", result.readable_pressure_pa, "pressure"),
                    ("lowest controllable flow", result.lowest_controllable_m3_s, "airflow"),
                ),
            )
        )
    return steps
