"""Rules that need no test: the schedule, the inlet and the controller against each other."""

from __future__ import annotations

from collections.abc import Iterator

from balancing.airflow.domain import amplification, sensor
from balancing.airflow.domain.rules.table import (
    Spoken,
    Text,
    finding,
    listed,
    of_unit,
)
from balancing.airflow.domain.types import PRACTICE, FlowTestSnapshot, Practice, UnitSnapshot
from projectsite.core.findings import Finding
from projectsite.core.numeric import at_least, at_most, same
from projectsite.core.scope import Tolerances


def check_unit(
    unit: UnitSnapshot,
    tolerances: Tolerances,
    text: Text,
    *,
    k_m3_s_sqrt_pa: float | None = None,
    practice: Practice = PRACTICE,
) -> Iterator[Finding]:
    """Yield what the schedule alone says is wrong.

    ``k_m3_s_sqrt_pa`` is the K factor of an accepted test [m³/s at 1 Pa]; None takes that of
    the library.
    """
    said = Spoken(text)
    k = k_m3_s_sqrt_pa or (unit.inlet.nominal_k_m3_s_sqrt_pa if unit.inlet else None)
    yield from _order(unit, said)
    if k is not None:
        yield from _minimum(unit, tolerances, said, k)
        yield from _span(unit, said, k)
    yield from _velocity(unit, tolerances, said)
    yield from _amplification(unit, said, practice)


def _order(unit: UnitSnapshot, said: Spoken) -> Iterator[Finding]:
    setpoints = unit.setpoints
    # Heating above cooling maximum is the inventory's own finding.
    pairs = (
        ("cooling minimum", setpoints.cooling_min_m3_s, "cooling maximum", "cooling_max_m3_s"),
        ("heating minimum", setpoints.heating_min_m3_s, "heating maximum", "heating_max_m3_s"),
        ("cooling minimum", setpoints.cooling_min_m3_s, "heating maximum", "heating_max_m3_s"),
        ("standby minimum", setpoints.standby_min_m3_s, "cooling minimum", "cooling_min_m3_s"),
    )
    wrong = []
    values: dict[str, float | None] = {}
    for low_name, low, high_name, field in pairs:
        high: float | None = getattr(setpoints, field)
        # A heating maximum of 0 says that there is no heat, not that the order is wrong.
        no_heat = field == "heating_max_m3_s" and high == 0.0
        if low is None or high is None or no_heat or at_most(low, high):
            continue
        wrong.append(f"the {low_name} {said.flow(low)} is above the {high_name} {said.flow(high)}")
        values |= {f"{low_name.replace(' ', '_')}_m3_s": low, field: high}
    if wrong:
        message = listed(wrong)
        yield finding(
            "setpoints-out-of-order",
            of_unit(unit),
            f"{message[0].upper()}{message[1:]}.",
            "Compare with the schedule; ask the designer when it says the same.",
            **values,
        )


def _minimum(
    unit: UnitSnapshot, tolerances: Tolerances, said: Spoken, k: float
) -> Iterator[Finding]:
    own = unit.controller.readable_pressure_pa if unit.controller else None
    readable = own or tolerances.readable_pressure_pa
    lowest = sensor.lowest_controllable_flow_m3_s(k, readable)
    setpoints = unit.setpoints
    low = [
        (name, value)
        for name, value in (
            ("cooling minimum", setpoints.cooling_min_m3_s),
            ("heating minimum", setpoints.heating_min_m3_s),
            ("standby minimum", setpoints.standby_min_m3_s),
        )
        # A scheduled 0 is a closed damper, not a flow to hold.
        if value is not None and value > 0.0 and not at_least(value, lowest)
    ]
    if not low:
        return
    names = listed([f"{name} of {said.flow(value)}" for name, value in low])
    of_whom = "this controller" if own else "a controller"
    yield finding(
        "minimum-not-readable",
        of_unit(unit),
        # The symbols end in a full stop, so that words end the sentence.
        f"The scheduled {names} {'lies' if len(low) == 1 else 'lie'} below {said.flow(lowest)}; "
        f"with K {said.k(k)} and {said.pressure(readable)} {of_whom} can hold no less.",
        f"Ask the designer for at least {said.flow(lowest)}, for 0, or for a smaller inlet.",
        scheduled_m3_s=min(value for _, value in low),
        lowest_controllable_m3_s=lowest,
        readable_pressure_pa=readable,
    )


def _span(unit: UnitSnapshot, said: Spoken, k: float) -> Iterator[Finding]:
    maximum = unit.setpoints.cooling_max_m3_s
    span = unit.controller.span_pa if unit.controller else None
    if maximum is None or not span:
        return
    highest = sensor.indicated_flow_m3_s(k, span)
    if not at_most(maximum, highest):
        yield finding(
            "maximum-above-span",
            of_unit(unit),
            f"The cooling maximum {said.flow(maximum)} is above {said.flow(highest)}, where the "
            f"controller's sensor ends at {said.pressure(span)}.",
            "Check inlet size and K; else choose a controller with a wider pressure range.",
            cooling_max_m3_s=maximum,
            highest_m3_s=highest,
            span_pa=span,
        )


def _velocity(unit: UnitSnapshot, tolerances: Tolerances, said: Spoken) -> Iterator[Finding]:
    maximum = unit.setpoints.cooling_max_m3_s
    if maximum is None or unit.inlet is None:
        return
    velocity = maximum / unit.inlet.free_area_m2
    limit = tolerances.inlet_velocity_limit_m_s
    if not at_most(velocity, limit):
        yield finding(
            "inlet-velocity-high",
            of_unit(unit),
            f"At the cooling maximum the air passes the {unit.inlet.label} inlet at "
            f"{said.velocity(velocity)}, above {said.velocity(limit)}.",
            "Check the inlet size; expect noise and pressure loss if it is right.",
            inlet_velocity_m_s=velocity,
            limit_m_s=limit,
        )


def _amplification(unit: UnitSnapshot, said: Spoken, practice: Practice) -> Iterator[Finding]:
    inlet = unit.inlet
    if inlet is None:
        return
    area = amplification.round_area_m2(inlet.diameter_m)
    factor = amplification.amplification(area, inlet.nominal_k_m3_s_sqrt_pa)
    if not (
        at_least(factor, practice.amplification_low)
        and at_most(factor, practice.amplification_high)
    ):
        yield finding(
            "amplification-doubtful",
            of_unit(unit),
            f"The library's K {said.k(inlet.nominal_k_m3_s_sqrt_pa)} for the {inlet.label} inlet "
            f"means that the sensor amplifies {factor:.2g} times; {practice.amplification_low:g} "
            f"to {practice.amplification_high:g} is usual.",
            "Check K, diameter and units of this inlet in the library.",
            nominal_k_m3_s_sqrt_pa=inlet.nominal_k_m3_s_sqrt_pa,
            amplification=factor,
        )


def check_progress(
    unit: UnitSnapshot, tests: tuple[FlowTestSnapshot, ...], text: Text
) -> Iterator[Finding]:
    """Yield whether the unit is tested, accepted, and tested for what is scheduled now."""
    said = Spoken(text)
    standing = [test for test in tests if test.state != "superseded"]
    accepted = next((test for test in standing if test.state == "accepted"), None)
    if not standing:
        yield finding(
            "not-tested",
            of_unit(unit),
            "The airflow has not been tested.",
            "Test it when supply air is there and the sensor is zeroed.",
        )
    elif accepted is None:
        test = standing[-1]
        state = {
            "open": "is in hand",
            "submitted": "is handed in and waits for the office",
            "returned": "was returned to the balancer",
        }[test.state]
        yield finding(
            "test-not-accepted",
            of_unit(unit),
            f"Flow test {test.number} {state}.",
            "The office accepts it when it is complete.",
        )
    if accepted is not None:
        yield from _outdated(unit, accepted, said)


def _outdated(unit: UnitSnapshot, test: FlowTestSnapshot, said: Spoken) -> Iterator[Finding]:
    now, then = unit.setpoints, test.design.setpoints
    changes = []
    values: dict[str, float | None] = {}
    for name, field in (
        ("cooling maximum", "cooling_max_m3_s"),
        ("cooling minimum", "cooling_min_m3_s"),
        ("heating maximum", "heating_max_m3_s"),
    ):
        old, new = getattr(then, field), getattr(now, field)
        if same(old, new):
            continue
        was = "no" if old is None else f"a {name} of {said.flow(old)}"
        was = f"{was} {name}" if old is None else was
        changes.append(f"{was} → {'none' if new is None else said.flow(new)}")
        values |= {f"tested_{field}": old, f"scheduled_{field}": new}
    old_inlet = test.design.inlet.label if test.design.inlet else "unknown"
    new_inlet = unit.inlet.label if unit.inlet else "unknown"
    if old_inlet != new_inlet:
        changes.append(f"inlet {old_inlet} → {new_inlet}")
    if changes:
        yield finding(
            "tested-before-schedule-change",
            of_unit(unit),
            f"The schedule changed after test {test.number} was made: {listed(changes)}.",
            "Test the unit again for what is scheduled now.",
            **values,
        )
