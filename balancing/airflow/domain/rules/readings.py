"""Rules about what was read: verdicts, agreement, outlets, supply of air."""

from __future__ import annotations

import math
from collections.abc import Iterator

from balancing.airflow.domain.results import OutletResult, PointResult, TestResult
from balancing.airflow.domain.rules.table import (
    Spoken,
    finding,
    listed,
    of_outlet,
    of_test,
    percent,
)
from balancing.airflow.domain.types import SETPOINT_NAMES, Practice
from projectsite.core.findings import Finding
from projectsite.core.numeric import at_least, at_most


def check_readings(result: TestResult, said: Spoken, practice: Practice) -> Iterator[Finding]:
    """Yield what the readings of the final round say."""
    for point in result.final_points:
        yield from _unit_verdict(result, point, said)
        yield from _reported(result, point, said)
        yield from _leak(result, point, said, practice)
        if point.point.setpoint == "cooling-max":
            yield from _short(result, point, said, practice)
            for outlet in point.outlets:
                yield from _outlet_verdict(result, outlet, said)
    yield from _spread(result, practice)
    yield from _hood(result, said)


def _at(point: PointResult) -> str:
    return SETPOINT_NAMES[point.point.setpoint]


def _unit_verdict(result: TestResult, point: PointResult, said: Spoken) -> Iterator[Finding]:
    if point.verdict not in {"low", "high", "indeterminate"}:
        return
    share = f" ({percent(point.share)} of design)" if point.share is not None else ""
    values = {
        "measured_m3_s": point.measured_m3_s,
        "design_m3_s": point.design_m3_s,
        "uncertainty_m3_s": point.uncertainty_m3_s,
    }
    told = f"measured {said.flow(point.measured_m3_s)}, design {said.flow(point.design_m3_s)}"
    if point.verdict == "indeterminate":
        yield finding(
            "verdict-indeterminate",
            of_test(result),
            f"At {_at(point)} {told}{share}: the limit lies inside the uncertainty of "
            f"±{said.flow(point.uncertainty_m3_s)}.",
            "Repeat the reading, or use an instrument that is better at this flow.",
            **values,
        )
        return
    yield finding(
        "unit-out-of-tolerance",
        of_test(result),
        f"At {_at(point)} {told}{share}: too {point.verdict}.",
        "Correct it and read again, or have the office settle it with the designer.",
        **values,
    )


def _outlet_verdict(result: TestResult, outlet: OutletResult, said: Spoken) -> Iterator[Finding]:
    if outlet.verdict not in {"low", "high", "indeterminate"}:
        return
    share = f" ({percent(outlet.share)})" if outlet.share is not None else ""
    subject = of_outlet(result, outlet.outlet_id, outlet.tag)
    told = f"measured {said.flow(outlet.measured_m3_s)}, design {said.flow(outlet.design_m3_s)}"
    values = {"measured_m3_s": outlet.measured_m3_s, "design_m3_s": outlet.design_m3_s}
    if outlet.verdict == "indeterminate":
        yield finding(
            "verdict-indeterminate",
            subject,
            f"Outlet {outlet.tag}: {told}{share}; the limit lies inside the uncertainty of "
            f"±{said.flow(outlet.uncertainty_m3_s)}.",
            "Repeat the reading, or use an instrument that is better at this flow.",
            **values,
        )
        return
    yield finding(
        "outlet-out-of-tolerance",
        subject,
        f"Outlet {outlet.tag}: {told}{share}: too {outlet.verdict}.",
        "Proportion the outlets; the worst served one keeps its damper open.",
        **values,
    )


def _reported(result: TestResult, point: PointResult, said: Spoken) -> Iterator[Finding]:
    if point.agrees is not False or point.error is None:
        return
    instrument = result.test.instrument
    what = "hood" if instrument is not None and instrument.kind == "hood" else "measured"
    way = "high" if point.error > 0 else "low"
    yield finding(
        "reported-disagrees",
        of_test(result),
        f"At {_at(point)} reported {said.flow(point.point.reported_m3_s)}, {what} "
        f"{said.flow(point.measured_m3_s)}: the controller reads {percent(abs(point.error))} "
        f"{way}.",
        _remedy(result, said),
        reported_m3_s=point.point.reported_m3_s,
        measured_m3_s=point.measured_m3_s,
        difference_fraction=point.error,
    )


def _remedy(result: TestResult, said: Spoken) -> str:
    choice = result.choice
    if choice is None:
        return "Find out why: K, inlet size, tubes, zero, in this order."
    if choice.zero_first:
        return "Zero the transducer and read again before K is changed."
    return f"Enter K {said.k(choice.option.k_m3_s_sqrt_pa)} and read again."


def _short(
    result: TestResult, point: PointResult, said: Spoken, practice: Practice
) -> Iterator[Finding]:
    if point.verdict != "low" or point.measured_m3_s is None:
        return
    measured, design = said.flow(point.measured_m3_s), said.flow(point.design_m3_s)
    values = {
        "reported_m3_s": point.point.reported_m3_s,
        "measured_m3_s": point.measured_m3_s,
        "design_m3_s": point.design_m3_s,
        "damper_fraction": point.point.damper_fraction,
    }
    target = point.point.target_m3_s
    is_held_low = (
        target is not None
        and point.design_m3_s is not None
        and not at_least(target, point.design_m3_s)
    )
    if is_held_low:
        yield finding(
            "target-not-design",
            of_test(result),
            f"The controller was told to hold {said.flow(target)}; the cooling maximum is "
            f"{design}.",
            "Set the cooling maximum in the controller as scheduled and read again.",
            target_m3_s=target,
            design_m3_s=point.design_m3_s,
        )
    damper = point.point.damper_fraction
    is_open = damper is not None and at_least(damper, practice.damper_open)
    if point.agrees and (is_open or not is_held_low):
        yield finding(
            "short-but-agrees",
            of_test(result),
            f"Reported {said.flow(point.point.reported_m3_s)} and measured {measured} agree, and "
            f"both are short of {design}: the air is short, not the sensor wrong.",
            "Look at the supply: fan, duct static pressure, dampers and duct ahead of the unit.",
            **values,
        )
    if is_open and damper is not None:
        yield finding(
            "damper-open-short",
            of_test(result),
            f"With the damper at {percent(damper)} the unit reaches {measured} of {design}.",
            "Check static pressure at the inlet, flexible duct, and closed dampers downstream.",
            **values,
        )


def _leak(
    result: TestResult, point: PointResult, said: Spoken, practice: Practice
) -> Iterator[Finding]:
    total, unit = point.outlet_sum_m3_s, point.measured_m3_s
    if point.point.measured_single_m3_s is None or total is None or not unit:
        return
    share = (unit - total) / unit
    # The share of reading is common to the outlets, so their uncertainties add up.
    outlets = sum(outlet.uncertainty_m3_s or 0.0 for outlet in point.outlets)
    combined = math.hypot(point.uncertainty_m3_s or 0.0, outlets)
    if share >= 0 and at_most(share, practice.outlet_leak):
        return
    if share < 0 and at_most(total - unit, combined):
        return
    more = "less" if share > 0 else "more"
    yield finding(
        "outlet-sum-leak",
        of_test(result),
        f"At {_at(point)} the outlets add up to {said.flow(total)}, {percent(abs(share))} {more} "
        f"than the unit's {said.flow(unit)}.",
        "Look for open joints at the outlets and for one that was not read."
        if share > 0
        else "Read again: outlets can't give more air than their unit.",
        unit_m3_s=unit,
        outlets_m3_s=total,
        difference_fraction=share,
    )


def _spread(result: TestResult, practice: Practice) -> Iterator[Finding]:
    wide = [
        (outlet.tag, _at(point), outlet.spread)
        for point in result.final_points
        for outlet in point.outlets
        if not at_most(outlet.spread, practice.repeat_spread)
    ]
    if wide:
        told = listed([f"{tag} at {at} by {percent(spread)}" for tag, at, spread in wide])
        yield finding(
            "repeats-spread",
            of_test(result),
            f"Repeated readings differ: {told}; {percent(practice.repeat_spread)} is allowed.",
            "Wait until the unit is steady, seat the hood tightly and read again.",
            spread_fraction=max(spread for _, _, spread in wide),
        )


def _hood(result: TestResult, said: Spoken) -> Iterator[Finding]:
    instrument = result.test.instrument
    if instrument is None or instrument.kind != "hood":
        return
    least = max(result.limits.hood_minimum_m3_s, instrument.minimum_m3_s or 0.0)
    small: list[tuple[str, float]] = []
    for point in result.final_points:
        single = point.point.measured_single_m3_s
        if single is not None and not point.point.is_traverse and not at_least(single, least):
            small.append((_at(point), single))
        small.extend(
            (f"{outlet.tag} at {_at(point)}", outlet.mean_m3_s)
            for outlet in point.outlets
            if not at_least(outlet.mean_m3_s, least)
        )
    if not small:
        return
    where, flow = min(small, key=lambda pair: pair[1])
    others = f" and {len(small) - 1} more" if len(small) > 1 else ""
    yield finding(
        "hood-unsuited",
        of_test(result),
        f"The hood read {said.flow(flow)} ({where}{others}); below {said.flow(least)} a hood is "
        "not to be trusted.",
        "Measure small flows by traverse or with a small-range instrument.",
        reading_m3_s=flow,
        minimum_m3_s=least,
    )
