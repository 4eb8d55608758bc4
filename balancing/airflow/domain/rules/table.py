"""Every finding that airflow can yield, and how one is put together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from balancing.airflow.domain.results import TestResult
from balancing.airflow.domain.types import UnitSnapshot
from projectsite.core.findings import Finding, Rule, Severity, Subject, sentence

Text = Callable[[float, str], str]
"""Prints an SI value of a kind in the reader's units: ``text(0.283, "airflow")`` is "600 cfm"."""

PRACTICE_SOURCE = "common practice, no source"
GUIDELINE_36 = "ASHRAE Guideline 36 (published, as quoted by an open sequence library)"
TOLERANCES = "tolerances of the project"

RULES: tuple[Rule, ...] = (
    Rule("airflow.not-tested", "No flow test", Severity.HOLDS, PRACTICE_SOURCE),
    Rule("airflow.test-not-accepted", "Test not accepted yet", Severity.LOOK, PRACTICE_SOURCE),
    Rule(
        "airflow.tested-before-schedule-change",
        "Schedule changed after the test",
        Severity.HOLDS,
        PRACTICE_SOURCE,
    ),
    Rule(
        "airflow.minimum-not-readable",
        "Minimum below what the controller reads",
        Severity.DISAGREES,
        GUIDELINE_36,
    ),
    Rule(
        "airflow.maximum-above-span",
        "Maximum above the sensor's range",
        Severity.DISAGREES,
        PRACTICE_SOURCE,
    ),
    Rule("airflow.setpoints-out-of-order", "Setpoints out of order", Severity.DISAGREES, "design"),
    Rule("airflow.inlet-velocity-high", "Fast air in the inlet", Severity.LOOK, PRACTICE_SOURCE),
    Rule(
        "airflow.amplification-doubtful",
        "K does not suit the inlet",
        Severity.LOOK,
        PRACTICE_SOURCE,
    ),
    Rule("airflow.unit-out-of-tolerance", "Unit out of tolerance", Severity.HOLDS, TOLERANCES),
    Rule("airflow.outlet-out-of-tolerance", "Outlet out of tolerance", Severity.HOLDS, TOLERANCES),
    Rule(
        "airflow.verdict-indeterminate",
        "Too close to call",
        Severity.LOOK,
        "ISO 14253-1, guard band (published idea)",
    ),
    Rule(
        "airflow.reported-disagrees",
        "Reported differs from measured",
        Severity.HOLDS,
        TOLERANCES,
    ),
    Rule("airflow.short-but-agrees", "Air is short", Severity.HOLDS, PRACTICE_SOURCE),
    Rule("airflow.damper-open-short", "Short with the damper open", Severity.HOLDS, GUIDELINE_36),
    Rule(
        "airflow.target-not-design",
        "Held at another airflow",
        Severity.DISAGREES,
        PRACTICE_SOURCE,
    ),
    Rule(
        "airflow.outlet-sum-leak",
        "Outlets do not add up",
        Severity.LOOK,
        "leakage of 1 to 8 % at outlet connections (published laboratory study, 2003)",
    ),
    Rule("airflow.repeats-spread", "Repeats differ", Severity.LOOK, PRACTICE_SOURCE),
    Rule(
        "airflow.k-looks-like-other-inlet",
        "K of another inlet",
        Severity.DISAGREES,
        PRACTICE_SOURCE,
    ),
    Rule("airflow.k-impossible", "Impossible K", Severity.DISAGREES, PRACTICE_SOURCE),
    Rule("airflow.k-change-large", "Large change of K", Severity.LOOK, PRACTICE_SOURCE),
    Rule("airflow.k-trends-with-flow", "K trends with flow", Severity.DISAGREES, PRACTICE_SOURCE),
    Rule(
        "airflow.k-not-in-use",
        "Controller uses another K",
        Severity.DISAGREES,
        "Q = K √Δp (published)",
    ),
    Rule("airflow.tubes-crossed-or-off", "Tubes crossed or off", Severity.HOLDS, PRACTICE_SOURCE),
    Rule("airflow.zero-drift", "Zero is off", Severity.DISAGREES, PRACTICE_SOURCE),
    Rule(
        "airflow.instrument-out-of-calibration",
        "Instrument out of calibration",
        Severity.HOLDS,
        PRACTICE_SOURCE,
    ),
    Rule("airflow.instrument-unknown", "Instrument unknown", Severity.LOOK, PRACTICE_SOURCE),
    Rule("airflow.hood-unsuited", "Flow too small for the hood", Severity.LOOK, PRACTICE_SOURCE),
    Rule(
        "airflow.conditions-missing",
        "Air temperature missing",
        Severity.LOOK,
        PRACTICE_SOURCE,
    ),
)
_BY_NAME = {rule.code.removeprefix("airflow."): rule for rule in RULES}


def finding(
    name: str, subject: Subject, message: str, action: str, **values: float | None
) -> Finding:
    """Put a finding together; severity and reference come from the table."""
    rule = _BY_NAME[name]
    return Finding(
        rule.code,
        rule.severity,
        subject,
        sentence(message),
        sentence(action),
        rule.reference,
        values,
    )


def of_unit(unit: UnitSnapshot) -> Subject:
    """The unit as subject."""
    return Subject("unit", unit.unit_id, unit.tag, unit.unit_id)


def of_test(result: TestResult) -> Subject:
    """The flow test as subject."""
    unit = result.test.design
    return Subject(
        "flow-test", result.test.id, f"{unit.tag}, test {result.test.number}", unit.unit_id
    )


def of_outlet(result: TestResult, outlet_id: int, tag: str) -> Subject:
    """One outlet as subject."""
    unit = result.test.design
    return Subject("outlet", outlet_id, f"{unit.tag} / {tag}", unit.unit_id)


def percent(share: float, *, signed: bool = False) -> str:
    """Print a share as a whole percentage, or with one decimal below ten percent."""
    value = 100.0 * share
    decimals = 0 if abs(value) >= 9.95 else 1
    return f"{value:+.{decimals}f} %" if signed else f"{value:.{decimals}f} %"


def listed(parts: list[str]) -> str:
    """Join with commas and "and"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


@dataclass(frozen=True, slots=True)
class Spoken:
    """Prints values for one reader."""

    text: Text

    def flow(self, value: float | None) -> str:
        """An airflow [m³/s]."""
        return "—" if value is None else self.text(value, "airflow")

    def pressure(self, value: float | None) -> str:
        """A pressure [Pa]."""
        return "—" if value is None else self.text(value, "pressure")

    def k(self, value: float | None) -> str:
        """A K factor [m³/s at 1 Pa]."""
        return "—" if value is None else self.text(value, "k_factor")

    def velocity(self, value: float) -> str:
        """A velocity [m/s]."""
        return self.text(value, "velocity")
