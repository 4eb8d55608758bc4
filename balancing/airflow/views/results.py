"""How the results of a test are shown: figures, tables, methods for K, picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe

from balancing.airflow.domain.choice import KOption
from balancing.airflow.domain.results import OutletResult, PointResult, TestResult
from balancing.airflow.domain.types import METHOD_NAMES, PRACTICE, SETPOINT_NAMES
from projectsite.core import plots, units
from projectsite.core.numeric import rounded
from projectsite.core.scope import Scope
from projectsite.ui.columns import Column, Empty
from projectsite.ui.marks import Mark
from projectsite.ui.tables import Table

_VERDICTS: Mapping[str, Mark] = {
    "within": Mark("done", "within"),
    "low": Mark("hold", "low"),
    "high": Mark("hold", "high"),
    "indeterminate": Mark("look", "too close to tell"),
    "not-applicable": Mark("wait", "no limit"),
    "unknown": Mark("wait", "not judged"),
}
_ROUND_WORDS = {"as-found": "as found", "as-left": "as left"}


def verdict_mark(verdict: str) -> Mark:
    """Mark and word of a verdict."""
    return _VERDICTS[verdict]


def point_title(result: PointResult) -> str:
    """Name of a point: "Cooling maximum, as found"."""
    point = result.point
    return f"{SETPOINT_NAMES[point.setpoint].capitalize()}, {_ROUND_WORDS[point.round]}"


def agreement_mark(result: PointResult) -> Mark | None:
    """Whether reported and measured agree."""
    if result.agrees is None:
        return None
    return Mark("done", "agrees") if result.agrees else Mark("hold", "disagrees")


@dataclass(frozen=True, slots=True)
class Figures:
    """The three figures of a point that are read from an arm's length."""

    result: PointResult
    verdict: Mark
    agreement: Mark | None
    direction: str
    difference: float | None


def figures(result: PointResult) -> Figures:
    """Give the figures of a point."""
    error = result.error
    direction = "reads high by" if error is not None and error > 0 else "reads low by"
    return Figures(
        result=result,
        verdict=verdict_mark(result.verdict),
        agreement=agreement_mark(result),
        direction=direction if error else "agrees with the measured flow to",
        difference=None if error is None else abs(error),
    )


def points_table(scope: Scope, points: list[PointResult]) -> Table:
    """What was read at each point and what it comes to."""
    return Table(
        caption="Readings and what they come to",
        columns=(
            Column("point", "Point", value=point_title, width=26),
            Column("design_m3_s", "Design", "airflow"),
            Column("reported", "Reported", "airflow", value=lambda r: r.point.reported_m3_s),
            Column(
                "pressure",
                "Sensed",
                "pressure",
                value=lambda r: r.point.sensed_pressure_pa,
                priority=2,
            ),
            Column(
                "damper", "Damper", "fraction", value=lambda r: r.point.damper_fraction, priority=3
            ),
            Column("measured_m3_s", "Measured", "airflow"),
            Column("uncertainty_m3_s", "±", "airflow", priority=2),
            Column("share", "Of design", "fraction"),
            Column("verdict", "Verdict", "mark", value=lambda r: verdict_mark(r.verdict)),
            Column(
                "error",
                "Reported against measured",
                "fraction",
                flag=lambda r: r.agrees is False,
                priority=2,
            ),
            Column("k_m3_s_sqrt_pa", "K here", "k_factor", priority=3),
            Column("predicted_m3_s", "Flow after the change", "airflow", priority=3),
        ),
        rows=points,
        system=scope.system,
        stack=True,
        empty=Empty("No readings yet.", "Choose a point above and enter what was read."),
    )


@dataclass(frozen=True, slots=True)
class Method:
    """One way to a K factor as the page offers it."""

    method: str
    name: str
    k_m3_s_sqrt_pa: float
    zero_pa: float | None
    change: float | None
    worst: float
    is_recommended: bool
    is_taken: bool
    needs_reason: bool
    refusal: str


def methods(result: TestResult) -> list[Method]:
    """The ways to a K factor that the readings allow."""
    choice = result.choice
    if choice is None:
        return []
    return [_method(result, option) for option in choice.options]


def _method(result: TestResult, option: KOption) -> Method:
    found = result.test.k_as_found_m3_s_sqrt_pa
    change = option.k_m3_s_sqrt_pa / found - 1.0 if found else None
    choice = result.choice
    return Method(
        method=option.method,
        name=METHOD_NAMES[option.method],
        k_m3_s_sqrt_pa=option.k_m3_s_sqrt_pa,
        zero_pa=option.zero_pa if option.method == "zero-offset" else None,
        change=change,
        worst=max((abs(error) for error in option.errors), default=0.0),
        is_recommended=choice is not None and choice.option is option,
        is_taken=result.test.k_method == option.method,
        needs_reason=change is not None and abs(change) > PRACTICE.k_change * (1 + 1e-9),
        refusal=option.refusal,
    )


def plot(scope: Scope, result: TestResult) -> SafeString:
    """Reported against measured, with the fit and what the project allows."""
    points = [
        plots.Point(
            x=point.point.reported_m3_s,
            y=point.measured_m3_s,
            label=SETPOINT_NAMES[point.point.setpoint],
            is_open=point.point.round == "as-found",
            is_off=point.agrees is False,
        )
        for point in result.points
        if point.point.reported_m3_s is not None and point.measured_m3_s is not None
    ]
    if not points:
        return mark_safe("")
    found, choice = result.test.k_as_found_m3_s_sqrt_pa, result.choice
    slope = label = None
    if found and choice is not None:
        k = choice.option.k_m3_s_sqrt_pa
        slope, label = k / found, f"K {units.show(k, 'k_factor', scope.system)}"
    return mark_safe(  # noqa: S308  # core.plots escapes every text in it
        plots.scatter_with_fit(
            points,
            kind="airflow",
            system=scope.system,
            slope=slope,
            fit_label=label or "",
            tolerance=result.limits.agreement,
        )
    )


def _balanced_point(result: TestResult) -> PointResult | None:
    """The point at the cooling maximum whose outlets are compared."""
    return next(
        (
            point
            for point in result.final_points
            if point.point.setpoint == "cooling-max" and point.outlets
        ),
        None,
    )


@dataclass(frozen=True, slots=True)
class _Line:
    outlet: OutletResult
    final_m3_s: float | None
    target_m3_s: float | None
    order: int | None
    is_key: bool


def balance_table(scope: Scope, result: TestResult) -> Table | None:
    """Outlets at the cooling maximum, and where proportional balancing brings them."""
    point = _balanced_point(result)
    if point is None:
        return None
    return Table(
        caption="Outlets at the cooling maximum",
        columns=(
            Column("tag", "Outlet", value=lambda r: r.outlet.tag),
            Column("design", "Design", "airflow", value=lambda r: r.outlet.design_m3_s),
            Column("measured", "Measured", "airflow", value=lambda r: r.outlet.measured_m3_s),
            Column("share", "Of design", "fraction", value=lambda r: r.outlet.share),
            Column("verdict", "Verdict", "mark", value=lambda r: verdict_mark(r.outlet.verdict)),
            Column("order", "Set", value=_turn, priority=2),
            Column("target_m3_s", "Set to", "airflow", priority=2),
            Column("final_m3_s", "Ends at", "airflow", priority=2),
        ),
        rows=_lines(result, point),
        system=scope.system,
        stack=True,
    )


def _turn(line: _Line) -> str:
    if line.is_key:
        return "key, stays open"
    return "" if line.order is None else f"{line.order}."


def _lines(result: TestResult, point: PointResult) -> list[_Line]:
    plan = result.balance
    if plan is None:
        return [_Line(outlet, None, None, None, is_key=False) for outlet in point.outlets]
    turns = {step.index: (order, step) for order, step in enumerate(plan.steps, start=1)}
    lines = []
    for i, outlet in enumerate(point.outlets):
        order, step = turns.get(i, (None, None))
        target = step.target_m3_s if step else None
        lines.append(_Line(outlet, plan.final_m3_s[i], target, order, is_key=i == plan.key))
    return lines


def balance_words(result: TestResult) -> str:
    """What to do about the outlets, in one or two sentences."""
    point, plan = _balanced_point(result), result.balance
    if point is None or plan is None:
        return ""
    key, most = point.outlets[plan.key].tag, point.outlets[plan.most].tag
    if plan.spread < 1.05:
        return "The outlets share the air within 5 % of each other; nothing has to be set."
    return (
        f"{key} is the key outlet: it gets the smallest share and its damper stays open. "
        f"{most} gets the largest. Set the others in the order shown; each then ends at "
        f"{rounded(100 * plan.ratio, 0)} % of design."
    )
