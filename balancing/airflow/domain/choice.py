"""Which K factor to enter, and why: the options, the choice and its guard rails."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from balancing.airflow.domain import fit
from balancing.airflow.domain.sensor import k_from_reading
from balancing.airflow.domain.types import KMethod, Practice

Trend = Literal["none", "rises-toward-low-flow", "falls-toward-low-flow", "scatter"]


@dataclass(frozen=True, slots=True)
class KOption:
    """One way to a K factor.

    Attributes
    ----------
    k_m3_s_sqrt_pa, zero_pa
        K factor [m³/s at 1 Pa] and the zero error taken off with it [Pa].
    predicted_m3_s
        What the controller would have shown at each reading [m³/s].
    errors
        Predicted against measured at each reading [fraction].
    refusal
        Why it must not be entered; "" when it may.
    """

    method: KMethod
    k_m3_s_sqrt_pa: float
    zero_pa: float
    predicted_m3_s: tuple[float, ...]
    errors: tuple[float, ...]
    refusal: str = ""


@dataclass(frozen=True, slots=True)
class KChoice:
    """The recommended K factor.

    Attributes
    ----------
    option
        The chosen way.
    options
        All ways that the readings allow, in the order of ``KMethod``.
    trend, spread
        How K moves from high to low flow, and largest over smallest K less 1 [fraction].
    reason
        Why this way, in one or two sentences without quantities.
    zero_first
        Zero the transducer and read again before anything is entered.
    change
        New K against K as found [fraction], None when that is unknown.
    needs_reason
        The change is so large that it needs a written reason.
    """

    option: KOption
    options: tuple[KOption, ...]
    trend: Trend
    spread: float
    reason: str
    zero_first: bool
    change: float | None
    needs_reason: bool


def k_trend(
    pressures_pa: Sequence[float], flows_m3_s: Sequence[float], uncertainty: float
) -> tuple[Trend, float]:
    """Tell how K moves from high to low flow.

    Parameters
    ----------
    pressures_pa, flows_m3_s
        Readings [Pa, m³/s], all above 0.
    uncertainty
        Expanded uncertainty of a measured flow [fraction]; a smaller spread is no trend.

    Returns
    -------
    tuple
        The trend, and largest over smallest K less 1 [fraction].

    Raises
    ------
    ValueError
        No readings, or a value out of range.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> trend, spread = k_trend([0.01, 0.04, 0.16, 0.36], [96, 184, 352, 530], 0.05)
    >>> trend, round(spread, 3)
    ('rises-toward-low-flow', 0.091)
    """
    if not pressures_pa:
        raise ValueError("pressures_pa needs at least 1 reading, got 0")
    pairs = sorted(zip(pressures_pa, flows_m3_s, strict=True), reverse=True)
    ks = [k_from_reading(q, p) for p, q in pairs]
    spread = max(ks) / min(ks) - 1.0
    if spread < uncertainty or len(ks) < 2:
        return "none", spread
    if len(ks) >= 3 and _runs(ks):
        return "rises-toward-low-flow", spread
    if len(ks) >= 3 and _runs([-k for k in ks]):
        return "falls-toward-low-flow", spread
    return "scatter", spread


def _runs(values: Sequence[float]) -> bool:
    # A step against the run of under a tenth of the whole is noise of the instrument: readings
    # at high flow lie close together once the zero error no longer matters there.
    whole = values[-1] - values[0]
    return whole > 0 and all(later - earlier > -0.1 * whole for earlier, later in pairwise(values))


def options(
    pressures_pa: Sequence[float],
    flows_m3_s: Sequence[float],
    *,
    readable_pressure_pa: float,
) -> tuple[KOption, ...]:
    """Every way to a K factor that the readings allow.

    Parameters
    ----------
    pressures_pa, flows_m3_s
        Readings [Pa, m³/s], all above 0.
    readable_pressure_pa
        Lowest readable pressure of the controller [Pa], above 0; an offset that makes zero
        pressure look like more than that is refused.

    Returns
    -------
    tuple of KOption
        One reading (taken at the highest pressure), least squares, least relative squares and
        zero offset, as far as there are enough readings.

    Raises
    ------
    ValueError
        A value is out of range.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> [option.method for option in options([25.0], [0.1], readable_pressure_pa=1.0)]
    ['one-reading']
    """
    if not pressures_pa:
        return ()
    highest = max(range(len(pressures_pa)), key=lambda i: pressures_pa[i])
    found = [
        _option(
            "one-reading",
            k_from_reading(flows_m3_s[highest], pressures_pa[highest]),
            pressures_pa,
            flows_m3_s,
        )
    ]
    if len(pressures_pa) > 1:
        for method, fitted in (
            ("least-squares", fit.fit_least_squares),
            ("least-relative", fit.fit_least_relative),
        ):
            k = fitted(pressures_pa, flows_m3_s)
            found.append(_option(method, k, pressures_pa, flows_m3_s))  # type: ignore[arg-type]  # the literals widen in the table
    try:
        line = fit.fit_zero_offset(pressures_pa, flows_m3_s)
    except ValueError:
        # Fewer than three readings, one pressure only, or flows that fall with pressure.
        return tuple(found)
    refusal = ""
    if line.zero_pa < -readable_pressure_pa:
        refusal = "At no flow the controller would show more than its lowest controllable flow."
    elif line.zero_pa >= min(pressures_pa):
        refusal = "The offset swallows the lowest reading."
    found.append(
        _option("zero-offset", line.k_m3_s_sqrt_pa, pressures_pa, flows_m3_s, line.zero_pa, refusal)
    )
    return tuple(found)


def _option(
    method: KMethod,
    k: float,
    pressures: Sequence[float],
    flows: Sequence[float],
    zero_pa: float = 0.0,
    refusal: str = "",
) -> KOption:
    predicted = tuple(k * max(p - zero_pa, 0.0) ** 0.5 for p in pressures)
    errors = tuple(value / flow - 1.0 for value, flow in zip(predicted, flows, strict=True))
    return KOption(method, k, zero_pa, predicted, errors, refusal)


def choose(
    pressures_pa: Sequence[float],
    flows_m3_s: Sequence[float],
    *,
    uncertainty: float,
    readable_pressure_pa: float,
    practice: Practice,
    k_as_found: float | None = None,
    is_zeroed: bool = False,
) -> KChoice | None:
    """Recommend a K factor from readings that can be used.

    Parameters
    ----------
    pressures_pa, flows_m3_s
        Readings at or above the lowest readable pressure [Pa, m³/s].
    uncertainty
        Expanded uncertainty of a measured flow [fraction], at least 0.
    readable_pressure_pa
        Lowest readable pressure of the controller [Pa], above 0.
    practice
        Largest change of K without a reason, and the span that asks for relative squares.
    k_as_found
        K factor in the controller [m³/s at 1 Pa], None when unknown.
    is_zeroed
        The zero was read and is good, so that a trend that is left is real.

    Returns
    -------
    KChoice or None
        None when there are no readings.

    Raises
    ------
    ValueError
        A value is out of range.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> from balancing.airflow.domain.types import PRACTICE
    >>> choice = choose([25.0, 100.0], [0.1, 0.2], uncertainty=0.05,
    ...                 readable_pressure_pa=1.0, practice=PRACTICE)
    >>> choice.option.method, round(choice.option.k_m3_s_sqrt_pa, 6)
    ('least-squares', 0.02)
    """
    found = options(pressures_pa, flows_m3_s, readable_pressure_pa=readable_pressure_pa)
    if not found:
        return None
    by_method = {option.method: option for option in found}
    trend, spread = k_trend(pressures_pa, flows_m3_s, uncertainty)
    wide = max(flows_m3_s) > practice.relative_span * min(flows_m3_s)
    zero = by_method.get("zero-offset")
    zero_first = False
    if len(pressures_pa) == 1:
        chosen = found[0]
        reason = "There is one usable reading. A second one at another flow would confirm it."
    elif trend in {"rises-toward-low-flow", "falls-toward-low-flow"}:
        zero_first = not is_zeroed
        usable = zero is not None and not zero.refusal
        chosen = zero if zero is not None and usable else by_method["least-relative"]
        way = "rises" if trend == "rises-toward-low-flow" else "falls"
        reason = f"K {way} steadily toward low flow, which is how a zero error looks. "
        if zero_first and usable:
            reason += (
                "Zero the transducer first and read again; the K of the fit with zero offset is "
                "the one that should then hold."
            )
        elif usable:
            reason += "The zero is good, so the offset is entered with K."
        else:
            reason += (
                "No offset can be entered for it"
                + (f" ({zero.refusal[0].lower()}{zero.refusal[1:-1]})" if zero else "")
                + "; one K with the least relative error is the best that is left."
            )
    elif trend == "scatter":
        chosen = by_method["least-relative" if wide else "least-squares"]
        reason = (
            "K differs between the readings by more than the instrument explains, without a "
            "trend. Read again, the lowest flow first, before K is entered."
        )
    else:
        chosen = by_method["least-relative" if wide else "least-squares"]
        reason = "One K fits all readings within the uncertainty of the instrument" + (
            "; the flows span widely, so relative errors are kept small." if wide else "."
        )
    change = None if not k_as_found else chosen.k_m3_s_sqrt_pa / k_as_found - 1.0
    return KChoice(
        option=chosen,
        options=found,
        trend=trend,
        spread=spread,
        reason=reason,
        zero_first=zero_first,
        change=change,
        needs_reason=change is not None and abs(change) > practice.k_change * (1 + 1e-9),
    )
