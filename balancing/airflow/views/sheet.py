"""Everything that the page of one flow test shows, gathered once for page and fragments."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from django.urls import reverse

from balancing.airflow import tables
from balancing.airflow.domain.completeness import has_readings, missing
from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.domain.results import PointResult, TestResult
from balancing.airflow.domain.types import METHOD_NAMES, SETPOINT_NAMES
from balancing.airflow.queries import standing
from balancing.airflow.queries import tests as queries
from balancing.airflow.queries.snapshots import test_snapshot
from balancing.airflow.views import results
from projectsite.accounts.access import Action
from projectsite.core.findings import Finding, Severity
from projectsite.core.formulas import Step
from projectsite.core.scope import Scope
from projectsite.ui.marks import Mark
from zones.inventory.queries import unit_facts

_ROUNDS = (("as-found", "As found"), ("as-left", "As left"))


@dataclass(frozen=True, slots=True)
class PointTab:
    """A point in the strip of points."""

    id: int
    label: str
    target_m3_s: float | None
    mark: Mark
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """One test with everything computed from it."""

    row: dict[str, Any]
    result: TestResult
    findings: list[Finding]
    missing: list[str]
    chosen: PointResult | None
    may: dict[str, bool]

    @property
    def state(self) -> Mark:
        """Mark of the test's state."""
        return tables.test_state(self.row)

    @property
    def rounds(self) -> list[tuple[str, list[PointTab]]]:
        """Strips of points by round."""
        return [
            (
                label,
                [
                    _tab(point, is_chosen=point is self.chosen)
                    for point in self.result.points
                    if point.point.round == name
                ],
            )
            for name, label in _ROUNDS
        ]

    @property
    def read_points(self) -> list[PointResult]:
        """Points at which anything was read."""
        return [point for point in self.result.points if has_readings(point.point)]

    @property
    def next_point_id(self) -> int | None:
        """The point after the chosen one, in the order of the strips."""
        ids = [point.point.id for point in self.result.points]
        if self.chosen is None or self.chosen.point.id == ids[-1]:
            return None
        return ids[ids.index(self.chosen.point.id) + 1]

    @property
    def point_title(self) -> str:
        """Name of the chosen point."""
        return results.point_title(self.chosen) if self.chosen else ""

    @property
    def figures(self) -> results.Figures | None:
        """What the chosen point comes to."""
        return results.figures(self.chosen) if self.chosen else None

    @property
    def grave(self) -> list[Finding]:
        """Findings that acceptance needs a reason for."""
        return [found for found in self.findings if found.severity >= Severity.DISAGREES]

    @property
    def workings(self) -> list[tuple[str, tuple[Step, ...]]]:
        """Working of the points that are not the chosen one."""
        return [
            (f"Working: {results.point_title(point).lower()}", point.steps)
            for point in self.read_points
            if point is not self.chosen and point.steps
        ]

    @property
    def is_behind_schedule(self) -> bool:
        """Whether the schedule has changed since the test was begun."""
        return any(found.code == standing.OUT_OF_DATE for found in self.findings)

    @property
    def k_method_name(self) -> str:
        """How K as left was found."""
        return METHOD_NAMES.get(self.row["k_method"], "")


def _tab(result: PointResult, *, is_chosen: bool) -> PointTab:
    label = SETPOINT_NAMES[result.point.setpoint].capitalize()
    target = result.point.target_m3_s
    if not has_readings(result.point):
        mark = Mark("wait", "to read")
    elif result.measured_m3_s is None or result.point.reported_m3_s is None:
        mark = Mark("look", "in hand")
    else:
        mark = results.verdict_mark(result.verdict)
    return PointTab(result.point.id, label, target, mark, is_chosen)


def sheet_of(scope: Scope, test_id: int, *, point_id: int | None = None) -> Sheet:
    """Read one test and compute it; the first point with something to read is chosen."""
    row = queries.test_row(scope, test_id)
    snapshot = test_snapshot(scope, test_id)
    result = evaluate(snapshot, scope.project.tolerances)
    is_settled = snapshot.state == "superseded"
    facts = [] if is_settled else unit_facts(scope, [row["unit_id"]])
    # Rounds in the order of the work: as found, then as left.
    result = replace(result, points=tuple(sorted(result.points, key=_order)))
    return Sheet(
        row=row,
        result=result,
        findings=standing.findings_of_test(scope, snapshot, facts[0] if facts else None),
        missing=list(missing(result)),
        chosen=_chosen(result, point_id),
        may=_may(scope, row["state"]),
    )


def _order(result: PointResult) -> int:
    return [name for name, _ in _ROUNDS].index(result.point.round)


def _chosen(result: TestResult, point_id: int | None) -> PointResult | None:
    if not result.points:
        return None
    asked = next((p for p in result.points if p.point.id == point_id), None)
    unread = next((p for p in result.points if not has_readings(p.point)), None)
    return asked or unread or result.points[0]


def _may(scope: Scope, state: str) -> dict[str, bool]:
    may_enter, may_accept = scope.allows(Action.ENTER_READINGS), scope.allows(Action.ACCEPT_TEST)
    is_writable = state in {"open", "returned"}
    return {
        "write": may_enter and is_writable,
        "withdraw": may_enter and state == "submitted",
        "decide": may_accept and state == "submitted",
        "renew": may_enter and state == "accepted",
        "choose_person": may_accept,
    }


def results_context(scope: Scope, sheet: Sheet) -> dict[str, Any]:
    """What the computed part of the page needs."""
    return {
        "sheet": sheet,
        "row": sheet.row,
        "table": results.points_table(scope, sheet.read_points),
        "plot": results.plot(scope, sheet.result),
        "methods": results.methods(sheet.result),
        "balance": results.balance_table(scope, sheet.result),
        "balance_words": results.balance_words(sheet.result),
    }


def page_context(scope: Scope, sheet: Sheet) -> dict[str, Any]:
    """What the whole page needs, besides its forms."""
    row = sheet.row
    key = scope.project.key
    history = queries.tests_of_unit(scope, row["unit_id"])
    return {
        **results_context(scope, sheet),
        "history": tables.history_table(
            scope,
            history,
            address=lambda test: reverse("airflow:test", args=[key, test["id"]]),
            current=row["id"],
        ),
        "trail": [("Airflow", reverse("airflow:tests", args=[key])), (row["tag"], "")],
    }
