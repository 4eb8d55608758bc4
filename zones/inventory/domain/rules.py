"""Rules of the inventory itself: what a record lacks, and where two of its facts disagree.

Whether a controller can read a scheduled airflow at all needs the sensor and is judged by
the airflow rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from projectsite.core import numeric
from projectsite.core.findings import Finding, Rule, Severity, Subject, sentence
from zones.inventory.domain.types import OutletFacts, UnitFacts

Show = Callable[[float, str], str]
"""Prints an SI value of a kind in the reader's unit, with the unit."""

PRACTICE = "common practice, no source"
OUTLET_SUM_FRACTION = 0.02
"""Allowed difference of the outlets' design sum from the cooling maximum: rounding of outlet
airflows on a schedule stays inside it (common practice, no source)."""
HOOD_FACTOR_LOW, HOOD_FACTOR_HIGH = 0.85, 1.15
"""Traverse over hood outside this range says that the hood suits the outlet badly (common
practice, no source)."""

RULES: tuple[Rule, ...] = (
    Rule("inventory.unit-without-air-handler", "No air handler", Severity.LOOK, PRACTICE),
    Rule("inventory.unit-without-zone", "No zone", Severity.LOOK, PRACTICE),
    Rule("inventory.unit-without-inlet", "Inlet size unknown", Severity.HOLDS, PRACTICE),
    Rule("inventory.unit-without-controller", "No controller model", Severity.LOOK, PRACTICE),
    Rule("inventory.cooling-maximum-missing", "No cooling maximum", Severity.HOLDS, PRACTICE),
    Rule("inventory.cooling-minimum-missing", "No cooling minimum", Severity.LOOK, PRACTICE),
    Rule("inventory.above-inlet-range", "More air than the inlet takes", Severity.LOOK, PRACTICE),
    Rule("inventory.heating-above-cooling", "Heating above cooling", Severity.LOOK, PRACTICE),
    Rule("inventory.heating-maximum-missing", "No heating maximum", Severity.LOOK, PRACTICE),
    Rule("inventory.electric-heat-incomplete", "Heater data missing", Severity.LOOK, PRACTICE),
    Rule("inventory.water-flow-missing", "No reheat water flow", Severity.LOOK, PRACTICE),
    Rule("inventory.heat-data-stray", "Reheat data of another kind", Severity.DISAGREES, PRACTICE),
    Rule("inventory.water-not-cooled", "Water leaves hotter", Severity.DISAGREES, PRACTICE),
    Rule("inventory.unit-without-outlets", "No outlets", Severity.LOOK, PRACTICE),
    Rule("inventory.outlet-without-design", "Outlet without design", Severity.LOOK, PRACTICE),
    Rule("inventory.outlet-sum-differs", "Outlets differ from unit", Severity.DISAGREES, PRACTICE),
    Rule("inventory.hood-factor-doubtful", "Doubtful hood factor", Severity.LOOK, PRACTICE),
)
_SEVERITIES = {rule.code: rule.severity for rule in RULES}


def _finding(
    unit: UnitFacts,
    name: str,
    message: str,
    action: str,
    *,
    outlet: OutletFacts | None = None,
    **values: float | None,
) -> Finding:
    subject = (
        Subject("unit", unit.id, unit.tag, unit.id)
        if outlet is None
        else Subject("outlet", outlet.id, f"{unit.tag} / {outlet.tag}", unit.id)
    )
    code = f"inventory.{name}"
    return Finding(
        code, _SEVERITIES[code], subject, sentence(message), sentence(action), PRACTICE, values
    )


def check(unit: UnitFacts, show: Show) -> Iterator[Finding]:
    """Yield everything that the inventory finds about a unit in use; an archived one is left.

    Parameters
    ----------
    unit
        The unit as scheduled, SI.
    show
        Prints the figures that a message names.
    """
    if unit.is_archived:
        return
    yield from _missing(unit)
    yield from _airflow(unit, show)
    yield from _heat(unit, show)
    yield from _outlets(unit, show)


def _missing(unit: UnitFacts) -> Iterator[Finding]:
    if unit.air_handler_id is None:
        yield _finding(
            unit,
            "unit-without-air-handler",
            "No air handler feeds this unit in the record.",
            "Choose its air handler, so that the unit counts in that report.",
        )
    if unit.zone_id is None:
        yield _finding(
            unit,
            "unit-without-zone",
            "The unit serves no zone in the record.",
            "Choose its zone, or add one.",
        )
    if unit.inlet is None:
        yield _finding(
            unit,
            "unit-without-inlet",
            "The inlet size is not known, so free area and K factor are not known either.",
            "Choose box model and inlet before airflow is verified.",
        )
    if unit.controller is None:
        yield _finding(
            unit,
            "unit-without-controller",
            "The controller model is not known; the project's lowest readable pressure stands in.",
            "Choose the controller model.",
        )


def _airflow(unit: UnitFacts, show: Show) -> Iterator[Finding]:
    maximum, minimum = unit.cooling_max_m3_s, unit.cooling_min_m3_s
    if maximum is None:
        yield _finding(
            unit,
            "cooling-maximum-missing",
            "No cooling maximum is scheduled; there is nothing to verify against.",
            "Enter the cooling maximum from the schedule.",
        )
    if minimum is None:
        yield _finding(
            unit,
            "cooling-minimum-missing",
            "No cooling minimum is scheduled.",
            "Enter the cooling minimum; enter 0 where the box may close.",
        )
    heating = unit.heating_max_m3_s
    if maximum is not None and heating is not None and not numeric.at_most(heating, maximum):
        yield _finding(
            unit,
            "heating-above-cooling",
            f"The heating maximum {show(heating, 'airflow')} is above the cooling maximum "
            f"{show(maximum, 'airflow')}.",
            "Ask the designer whether the two were exchanged.",
            heating_max_m3_s=heating,
            cooling_max_m3_s=maximum,
        )
    largest = unit.inlet.scheduled_high_m3_s if unit.inlet else None
    if maximum is not None and largest is not None and not numeric.at_most(maximum, largest):
        yield _finding(
            unit,
            "above-inlet-range",
            f"The cooling maximum {show(maximum, 'airflow')} is above {show(largest, 'airflow')}, "
            "the largest airflow that this inlet is scheduled for.",
            "Check the inlet size with the submittal.",
            cooling_max_m3_s=maximum,
            scheduled_high_m3_s=largest,
        )


def _heat(unit: UnitFacts, show: Show) -> Iterator[Finding]:
    if unit.heat != "none" and unit.heating_max_m3_s is None:
        yield _finding(
            unit,
            "heating-maximum-missing",
            "The unit has reheat but no heating maximum is scheduled.",
            "Enter the heating maximum, so that it can be verified.",
        )
    electric = {
        "power": unit.heater_power_w,
        "voltage": unit.heater_voltage_v,
        "phases": unit.heater_phases,
    }
    absent = [name for name, value in electric.items() if value is None]
    if unit.heat == "electric" and absent:
        yield _finding(
            unit,
            "electric-heat-incomplete",
            f"The electric heater has no {_listed(absent)}.",
            "Enter the heater's data from the schedule or its nameplate.",
        )
    if unit.heat == "hot-water" and unit.water_flow_m3_s is None:
        yield _finding(
            unit,
            "water-flow-missing",
            "The hot-water coil has no water flow.",
            "Enter the water flow from the schedule.",
        )
    yield from _stray(unit, has_electric=len(absent) < len(electric))
    entering, leaving = unit.entering_water_degc, unit.leaving_water_degc
    if entering is not None and leaving is not None and numeric.at_least(leaving, entering):
        yield _finding(
            unit,
            "water-not-cooled",
            f"The water enters the coil at {show(entering, 'temperature')} and leaves it at "
            f"{show(leaving, 'temperature')}, no cooler.",
            "Check whether entering and leaving water were exchanged.",
            entering_water_degc=entering,
            leaving_water_degc=leaving,
        )


def _stray(unit: UnitFacts, *, has_electric: bool) -> Iterator[Finding]:
    stray = []
    if unit.heat != "electric" and has_electric:
        stray.append("electric heater")
    if unit.heat != "hot-water" and unit.water_flow_m3_s is not None:
        stray.append("hot-water coil")
    for what in stray:
        said = {"none": "no reheat", "hot-water": "hot-water reheat", "electric": "electric reheat"}
        yield _finding(
            unit,
            "heat-data-stray",
            f"The record holds data of {_a(what)} but says {said[unit.heat]}.",
            "Correct the kind of reheat, or clear the data that does not belong.",
        )


def _outlets(unit: UnitFacts, show: Show) -> Iterator[Finding]:
    if not unit.outlets:
        yield _finding(
            unit,
            "unit-without-outlets",
            "No outlets are listed; the measured airflow can't be a sum of hood readings.",
            "Add the outlets, or measure by traverse.",
        )
        return
    for outlet in unit.outlets:
        if outlet.design_m3_s is None:
            yield _finding(
                unit,
                "outlet-without-design",
                f"Outlet {outlet.tag} has no design airflow.",
                "Enter its design airflow.",
                outlet=outlet,
            )
        if not HOOD_FACTOR_LOW <= outlet.hood_factor <= HOOD_FACTOR_HIGH:
            yield _finding(
                unit,
                "hood-factor-doubtful",
                f"The hood factor {outlet.hood_factor:.3g} of outlet {outlet.tag} lies outside "
                f"{HOOD_FACTOR_LOW} to {HOOD_FACTOR_HIGH}.",
                "Determine it again by a traverse, or use another hood for this outlet.",
                outlet=outlet,
                hood_factor=outlet.hood_factor,
            )
    designs = [o.design_m3_s for o in unit.outlets if o.design_m3_s is not None]
    maximum = unit.cooling_max_m3_s
    if maximum is None or len(designs) < len(unit.outlets):
        return
    total = sum(designs)
    if not numeric.at_most(abs(total - maximum), OUTLET_SUM_FRACTION * maximum):
        share = f" ({100 * (total - maximum) / maximum:+.1f} %)" if maximum else ""
        yield _finding(
            unit,
            "outlet-sum-differs",
            f"The outlets' design airflows add up to {show(total, 'airflow')}, the cooling maximum "
            f"is {show(maximum, 'airflow')}{share}.",
            "Correct the outlets or the unit; ask the designer when both follow the drawings.",
            outlets_m3_s=total,
            cooling_max_m3_s=maximum,
        )


def _a(what: str) -> str:
    return f"an {what}" if what[0] in "aeiou" else f"a {what}"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
