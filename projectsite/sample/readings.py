"""Flow tests of the sample project. The air is invented; the way it is entered is not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import NAMESPACE_URL, uuid5

from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.operations import acceptance, k_factor, points, tests
from balancing.airflow.queries import tests as queries
from balancing.airflow.queries.snapshots import test_snapshot
from projectsite.core import units
from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from projectsite.core.units import Entered
from zones.inventory.domain.types import UnitFacts
from zones.inventory.queries import unit_facts, unit_id_of


@dataclass(frozen=True, slots=True)
class Story:
    """What a box is like, and how far its test has come.

    Attributes
    ----------
    true_k
        True K over the K in the controller.
    supply
        Largest flow that the duct gives over the cooling maximum.
    zero_pa
        Offset of the controller's sensor [Pa].
    spread
        How unevenly the outlets share, 0 for evenly.
    ends
        "open", "submitted", "accepted" or "returned".
    """

    true_k: float = 0.97
    supply: float = 1.25
    zero_pa: float = 0.0
    spread: float = 0.04
    ends: str = "accepted"
    instrument: str = "Flow hood 1"
    other_inlet: bool = False


STORIES: Mapping[str, Story] = {
    "VAV-1-01": Story(true_k=0.94),
    "VAV-1-02": Story(true_k=1.06, spread=0.02),
    "VAV-1-03": Story(true_k=0.98),
    "VAV-1-04": Story(true_k=0.91, spread=0.12),
    "VAV-1-05": Story(true_k=1.02),
    "VAV-1-06": Story(true_k=0.96, zero_pa=0.35),
    "VAV-1-07": Story(true_k=1.04),
    "VAV-1-08": Story(true_k=0.95, supply=0.82, ends="returned"),
    "VAV-1-10": Story(true_k=0.93, ends="submitted"),
    "VAV-1-12": Story(true_k=1.03, ends="submitted", instrument="Flow hood 2"),
    "VAV-1-13": Story(true_k=0.97, other_inlet=True, ends="open"),
    "VAV-2-01": Story(true_k=0.95),
    "VAV-2-02": Story(true_k=0.99),
    "VAV-2-03": Story(true_k=1.05),
    "VAV-2-04": Story(true_k=0.92, ends="submitted"),
}
"""What is told of which unit; the units not named here wait for the balancer."""


def enter_tests(
    office: Scope,
    balancer: Scope,
    instruments: Mapping[str, int],
    *,
    moments: Iterable[datetime],
) -> int:
    """Enter the tests that the stories tell, one at each moment; how many were entered."""
    entered = 0
    for (tag, story), at in zip(STORIES.items(), moments, strict=False):
        try:
            unit_id = unit_id_of(balancer, tag)
        except NotFound:
            continue
        facts = unit_facts(balancer, [unit_id])[0]
        _enter(office, balancer, facts, story, instruments[story.instrument], at)
        entered += 1
    return entered


def _enter(
    office: Scope, balancer: Scope, facts: UnitFacts, story: Story, instrument_id: int, at: datetime
) -> None:
    begun = tests.start_test(
        balancer,
        unit_id=facts.id,
        client_key=uuid5(NAMESPACE_URL, f"sample:{balancer.project.key}:{facts.tag}"),
        tested_date=at.date(),
        at=at,
        technician_id=None,
        instrument_id=instrument_id,
    )
    held_k = _held_k(facts, story)
    version = _version(balancer, begun.test_id)
    tests.save_conditions(
        balancer,
        test_id=begun.test_id,
        version=version,
        conditions={
            "air_degc": _typed(balancer, 13.0, "temperature"),
            "humidity_fraction": _typed(balancer, 0.85, "fraction"),
            "zero_reading_pa": _typed(balancer, story.zero_pa, "pressure"),
            "k_as_found_m3_s_sqrt_pa": _typed(balancer, held_k, "k_factor"),
        },
    )
    held_k = _typed(balancer, held_k, "k_factor").value
    _read_round(balancer, begun.test_id, facts, story, "as-found", held_k, at)
    if story.ends == "open":
        return
    left_k = _take_k(balancer, begun.test_id)
    if left_k != held_k:
        _read_round(balancer, begun.test_id, facts, story, "as-left", left_k, at)
    _hand_in(office, balancer, begun.test_id, story, at)


def _hand_in(office: Scope, balancer: Scope, test_id: int, story: Story, at: datetime) -> None:
    acceptance.submit(balancer, test_id=test_id, version=_version(balancer, test_id), at=at)
    if story.ends == "accepted":
        acceptance.accept(
            office,
            test_id=test_id,
            version=_version(office, test_id),
            at=at,
            note="Readings looked through; what is open goes on the list for the owner.",
        )
    elif story.ends == "returned":
        acceptance.return_to_balancer(
            office,
            test_id=test_id,
            version=_version(office, test_id),
            at=at,
            note="The box is short of air with its damper open. Have the branch damper looked at, "
            "then read the maximum again.",
        )


def _take_k(balancer: Scope, test_id: int) -> float:
    """Take the K that the program recommends and give it."""
    result = evaluate(test_snapshot(balancer, test_id), balancer.project.tolerances)
    option = result.choice.option if result.choice else None
    k_factor.take_recommended_k(
        balancer,
        test_id=test_id,
        version=_version(balancer, test_id),
        method=option.method if option and not option.refusal else "kept",
        reason="Checked with a second reading at the maximum.",
    )
    return float(queries.test_row(balancer, test_id)["k_as_left_m3_s_sqrt_pa"])


def _held_k(facts: UnitFacts, story: Story) -> float:
    """K in the controller: the inlet's nominal one, or by mistake that of another inlet."""
    if facts.inlet is None:
        raise NotFound(f"{facts.tag} has no inlet, so the sample can't tell its K.")
    if not story.other_inlet:
        return facts.inlet.nominal_k_m3_s_sqrt_pa
    others = [i for i in facts.inlets if i.diameter_m > facts.inlet.diameter_m]
    return (others or list(facts.inlets))[0].nominal_k_m3_s_sqrt_pa


def _read_round(
    scope: Scope,
    test_id: int,
    facts: UnitFacts,
    story: Story,
    round_name: str,
    held_k: float,
    at: datetime,
) -> None:
    assert facts.inlet is not None
    true_k = facts.inlet.nominal_k_m3_s_sqrt_pa * story.true_k
    highest = (facts.cooling_max_m3_s or 0.0) * story.supply
    for point in queries.point_rows(scope, test_id):
        target = point["target_m3_s"]
        if point["round"] != round_name or not target:
            continue
        # The controller holds what it believes; the duct gives no more than it can.
        wanted_pa = (target / held_k) ** 2
        flow = min(true_k * max(wanted_pa - story.zero_pa, 0.0) ** 0.5, highest)
        sensed = (flow / true_k) ** 2 + story.zero_pa
        is_short = flow >= highest * 0.999
        readings = _hood(scope, facts, flow, story, point["setpoint"])
        values: points.PointValues = {
            "reported_m3_s": _typed(scope, held_k * sensed**0.5, "airflow"),
            "sensed_pressure_pa": _typed(scope, sensed, "pressure"),
            "damper_fraction": _typed(
                scope, 1.0 if is_short else 0.25 + 0.5 * flow / highest, "fraction"
            ),
        }
        if not readings:
            values["measured_m3_s"] = _typed(scope, flow, "airflow")
        points.save_point(
            scope,
            point_id=point["id"],
            version=point["version"],
            at=at,
            values=values,
            readings=readings,
        )


def _hood(
    scope: Scope, facts: UnitFacts, flow: float, story: Story, setpoint: str
) -> dict[tuple[int, int], Entered | None]:
    """Share the flow over the outlets by design, unevenly as the story tells."""
    outlets = [o for o in facts.outlets if o.design_m3_s]
    total = sum(o.design_m3_s or 0.0 for o in outlets)
    readings: dict[tuple[int, int], Entered | None] = {}
    for place, outlet in enumerate(outlets):
        lean = story.spread * (1 if place % 2 else -1) * (0.5 if setpoint != "cooling-max" else 1)
        share = (outlet.design_m3_s or 0.0) / total * (1 + lean)
        readings[outlet.id, 1] = _typed(scope, flow * share * 0.985 / outlet.hood_factor, "airflow")
    return readings


def _typed(scope: Scope, value: float, kind: str) -> Entered:
    """Type a value as a person reads it off a display: rounded, in the project's units."""
    shown = units.show(value, kind, scope.project.system, with_unit=True)
    return units.parse(shown, kind, default_unit=units.default_unit(kind, scope.project.system))


def _version(scope: Scope, test_id: int) -> int:
    return int(queries.test_row(scope, test_id)["version"])
