"""K factor from several readings: the four fits of flow on sensed pressure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from balancing.airflow.domain.ranges import require, require_same_length


@dataclass(frozen=True, slots=True)
class ZeroOffsetFit:
    """K factor [m³/s at 1 Pa] and the pressure [Pa] that the transducer shows at no flow."""

    k_m3_s_sqrt_pa: float
    zero_pa: float


@dataclass(frozen=True, slots=True)
class GainOffsetFit:
    """True flow = gain [ratio] x reported flow + offset [m³/s]."""

    gain: float
    offset_m3_s: float


def _checked(pressures_pa: Sequence[float], flows_m3_s: Sequence[float], least: int) -> None:
    count = require_same_length(sensed_pressure_pa=pressures_pa, measured_m3_s=flows_m3_s)
    if count < least:
        raise ValueError(f"sensed_pressure_pa needs at least {least} readings, got {count}")
    for pressure, flow in zip(pressures_pa, flows_m3_s, strict=True):
        require("sensed_pressure_pa", pressure, "Pa", low=0.0, above=True)
        require("measured_m3_s", flow, "m³/s", low=0.0, above=True)


def fit_least_squares(sensed_pressure_pa: Sequence[float], measured_m3_s: Sequence[float]) -> float:
    """K factor by least squares through the origin.

    Parameters
    ----------
    sensed_pressure_pa
        Sensed pressures [Pa], each above 0.
    measured_m3_s
        Flows measured with them [m³/s], each above 0.

    Returns
    -------
    float
        K factor [m³/s at 1 Pa].

    Raises
    ------
    ValueError
        A list is empty, they differ in length, or a value is out of range.

    References
    ----------
    K = Σ√Δp Q/ΣΔp (common practice, no source; ordinary least squares).

    Examples
    --------
    >>> round(fit_least_squares([0.01, 0.04, 0.16, 0.36], [96, 184, 352, 530]), 2)
    886.32
    """
    _checked(sensed_pressure_pa, measured_m3_s, 1)
    pairs = zip(sensed_pressure_pa, measured_m3_s, strict=True)
    return float(sum(p**0.5 * q for p, q in pairs) / sum(sensed_pressure_pa))


def fit_least_relative(
    sensed_pressure_pa: Sequence[float], measured_m3_s: Sequence[float]
) -> float:
    """K factor by least squares of the relative errors, weights 1/Q².

    Parameters
    ----------
    sensed_pressure_pa
        Sensed pressures [Pa], each above 0.
    measured_m3_s
        Flows measured with them [m³/s], each above 0.

    Returns
    -------
    float
        K factor [m³/s at 1 Pa].

    Raises
    ------
    ValueError
        A list is empty, they differ in length, or a value is out of range.

    References
    ----------
    K = Σ(√Δp/Q)/Σ(Δp/Q²) (common practice, no source; weighted least squares).

    Examples
    --------
    >>> round(fit_least_relative([0.01, 0.04, 0.16, 0.36], [96, 184, 352, 530]), 2)
    908.59
    """
    _checked(sensed_pressure_pa, measured_m3_s, 1)
    pairs = list(zip(sensed_pressure_pa, measured_m3_s, strict=True))
    return float(sum(p**0.5 / q for p, q in pairs) / sum(p / q**2 for p, q in pairs))


def fit_zero_offset(
    sensed_pressure_pa: Sequence[float], measured_m3_s: Sequence[float]
) -> ZeroOffsetFit:
    """K factor and zero error of the transducer: straight line of Q² on Δp.

    Parameters
    ----------
    sensed_pressure_pa
        Sensed pressures as the transducer gives them [Pa], above 0, at least three.
    measured_m3_s
        Flows measured with them [m³/s], above 0.

    Returns
    -------
    ZeroOffsetFit
        K factor [m³/s at 1 Pa] and zero error [Pa]: Q = K √(Δp - zero).

    Raises
    ------
    ValueError
        Fewer than three readings, all at one pressure, a value out of range, or flows that
        do not rise with pressure.

    References
    ----------
    Slope is K², zero is -intercept/slope (common practice, no source).

    Examples
    --------
    >>> fit = fit_zero_offset([0.012, 0.042, 0.162, 0.362], [88, 176, 352, 528])
    >>> round(fit.k_m3_s_sqrt_pa, 6), round(fit.zero_pa, 6)
    (880.0, 0.002)
    """
    _checked(sensed_pressure_pa, measured_m3_s, 3)
    squares = [flow**2 for flow in measured_m3_s]
    slope, intercept = _line(sensed_pressure_pa, squares, "sensed_pressure_pa")
    if slope <= 0.0:
        raise ValueError("measured_m3_s does not rise with sensed_pressure_pa; no K factor fits")
    return ZeroOffsetFit(slope**0.5, -intercept / slope)


def fit_gain_offset(
    reported_m3_s: Sequence[float], measured_m3_s: Sequence[float]
) -> GainOffsetFit:
    """Gain and offset for a controller that holds both.

    Parameters
    ----------
    reported_m3_s
        Flows that the controller reported [m³/s], at least 0, two or more.
    measured_m3_s
        Flows measured at the same time [m³/s], at least 0.

    Returns
    -------
    GainOffsetFit
        Gain [ratio] and offset [m³/s]: measured = gain x reported + offset.

    Raises
    ------
    ValueError
        Fewer than two readings, all at one flow, or a value out of range.

    References
    ----------
    Ordinary least squares; two points give it exactly (common practice, no source).

    Examples
    --------
    >>> fit = fit_gain_offset([150.0, 400.0, 800.0], [132.0, 377.0, 769.0])
    >>> round(fit.gain, 4), round(fit.offset_m3_s, 2)
    (0.98, -15.0)
    """
    count = require_same_length(reported_m3_s=reported_m3_s, measured_m3_s=measured_m3_s)
    if count < 2:
        raise ValueError(f"reported_m3_s needs at least 2 readings, got {count}")
    for reported, measured in zip(reported_m3_s, measured_m3_s, strict=True):
        require("reported_m3_s", reported, "m³/s", low=0.0)
        require("measured_m3_s", measured, "m³/s", low=0.0)
    return GainOffsetFit(*_line(reported_m3_s, measured_m3_s, "reported_m3_s"))


def _line(x: Sequence[float], y: Sequence[float], name: str) -> tuple[float, float]:
    """Slope and intercept of the least squares line."""
    x_mean, y_mean = sum(x) / len(x), sum(y) / len(y)
    spread = sum((value - x_mean) ** 2 for value in x)
    if spread <= 1e-18 * max(abs(x_mean), 1e-12) ** 2:
        raise ValueError(f"{name} has all readings at one value; no line fits")
    slope = sum((a - x_mean) * (b - y_mean) for a, b in zip(x, y, strict=True)) / spread
    return slope, y_mean - slope * x_mean


def flow_with_zero_m3_s(k_m3_s_sqrt_pa: float, sensed_pressure_pa: float, zero_pa: float) -> float:
    """Flow by a K factor with a zero error of the transducer taken off.

    Parameters
    ----------
    k_m3_s_sqrt_pa
        K factor [m³/s at 1 Pa], above 0.
    sensed_pressure_pa
        Sensed pressure as the transducer gives it [Pa].
    zero_pa
        What the transducer gives at no flow [Pa].

    Returns
    -------
    float
        Flow [m³/s]; 0 where the pressure is at or below the zero.

    Raises
    ------
    ValueError
        The K factor is not above 0.

    References
    ----------
    Q = K √(Δp - zero) (common practice, no source).

    Examples
    --------
    >>> flow_with_zero_m3_s(880.0, 0.0121, 0.0021)
    88.0
    """
    require("k_m3_s_sqrt_pa", k_m3_s_sqrt_pa, "m³/s at 1 Pa", low=0.0, above=True)
    return float(k_m3_s_sqrt_pa * max(sensed_pressure_pa - zero_pa, 0.0) ** 0.5)


def flow_shown_at_rest_m3_s(k_m3_s_sqrt_pa: float, zero_pa: float) -> float:
    """Flow that a controller would show with no air when a zero error is entered.

    Parameters
    ----------
    k_m3_s_sqrt_pa
        K factor [m³/s at 1 Pa], above 0.
    zero_pa
        Zero error that the controller takes off [Pa].

    Returns
    -------
    float
        Flow shown at a sensed pressure of 0 [m³/s]; an offset that shows more than the lowest
        controllable flow must not be entered.

    Raises
    ------
    ValueError
        The K factor is not above 0.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> flow_shown_at_rest_m3_s(900.0, 0.002), round(flow_shown_at_rest_m3_s(900.0, -0.01), 6)
    (0.0, 90.0)
    """
    return flow_with_zero_m3_s(k_m3_s_sqrt_pa, 0.0, zero_pa)
