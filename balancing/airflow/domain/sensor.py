"""The flow sensor of a terminal unit: K factor, amplification, what it can still read."""

from __future__ import annotations

import math
from typing import Literal

from balancing.airflow.domain.air import STANDARD_DENSITY_KG_M3
from balancing.airflow.domain.ranges import Numbers, require, root

STANDARD_VELOCITY_M_S_SQRT_PA = 4005 * 0.3048 / 60 / math.sqrt(249.08891)
"""Velocity of standard air at 1 Pa of velocity pressure [m/s at 1 Pa].

4005 fpm at 1 in. w.c. (published: airflow quick-reference sheet of an instrument maker). The
constant is rounded and lies 0.09 % below √(2/density) with water of 4 °C, so that a check finer
than 0.1 % tells constants apart, not formulas.
"""
Instrument = Literal["differential-pressure", "thermal", "rotating-vane"]


def velocity_m_s(velocity_pressure_pa: Numbers, density_kg_m3: Numbers | None = None) -> Numbers:
    """Velocity from velocity pressure.

    Parameters
    ----------
    velocity_pressure_pa
        Velocity pressure [Pa], at least 0.
    density_kg_m3
        Density of the air [kg/m³], above 0; None takes standard air by the trade's constant.

    Returns
    -------
    float or array
        Velocity [m/s].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    V = √(2 Δp/density) (published: Bernoulli); V = 4005 √VP in fpm and in. w.c. for standard
    air (published: airflow quick-reference sheet of an instrument maker).

    Examples
    --------
    >>> round(velocity_m_s(10.0, 1.2), 5)
    4.08248
    >>> round(velocity_m_s(249.08891) / 0.00508, 6)
    4005.0
    """
    require("velocity_pressure_pa", velocity_pressure_pa, "Pa", low=0.0)
    if density_kg_m3 is None:
        return STANDARD_VELOCITY_M_S_SQRT_PA * root(velocity_pressure_pa)
    require("density_kg_m3", density_kg_m3, "kg/m³", low=0.0, above=True)
    return root(2.0 * velocity_pressure_pa / density_kg_m3)


def velocity_pressure_pa(velocity_m_s: Numbers, density_kg_m3: Numbers | None = None) -> Numbers:
    """Velocity pressure of a velocity; the inverse of ``velocity_m_s``.

    Parameters
    ----------
    velocity_m_s
        Velocity [m/s], at least 0.
    density_kg_m3
        Density of the air [kg/m³], above 0; None takes standard air by the trade's constant.

    Returns
    -------
    float or array
        Velocity pressure [Pa].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    VP = (V/4005)² and VP = density V²/2 (published, as for ``velocity_m_s``).

    Examples
    --------
    >>> round(velocity_pressure_pa(1000 * 0.00508) / 249.08891, 6)
    0.062344
    """
    require("velocity_m_s", velocity_m_s, "m/s", low=0.0)
    if density_kg_m3 is None:
        return (velocity_m_s / STANDARD_VELOCITY_M_S_SQRT_PA) ** 2
    require("density_kg_m3", density_kg_m3, "kg/m³", low=0.0, above=True)
    return density_kg_m3 * velocity_m_s**2 / 2.0


def indicated_flow_m3_s(k_m3_s_sqrt_pa: Numbers, sensed_pressure_pa: Numbers) -> Numbers:
    """Flow that a controller shows for a sensed pressure.

    Parameters
    ----------
    k_m3_s_sqrt_pa
        K factor [m³/s at 1 Pa], above 0.
    sensed_pressure_pa
        Pressure that the sensor gives [Pa], at least 0.

    Returns
    -------
    float or array
        Indicated flow, true for standard air [m³/s].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    Q = K √Δp (published: installation manual of a terminal unit and help text of a controller).

    Examples
    --------
    >>> round(indicated_flow_m3_s(0.026913, 25.0), 6)
    0.134565
    """
    require("k_m3_s_sqrt_pa", k_m3_s_sqrt_pa, "m³/s at 1 Pa", low=0.0, above=True)
    require("sensed_pressure_pa", sensed_pressure_pa, "Pa", low=0.0)
    return k_m3_s_sqrt_pa * root(sensed_pressure_pa)


def actual_flow_m3_s(
    indicated_m3_s: Numbers,
    density_kg_m3: Numbers,
    instrument: Instrument = "differential-pressure",
) -> Numbers:
    """Actual flow from a reading that was scaled for standard air.

    Parameters
    ----------
    indicated_m3_s
        Reading [m³/s], at least 0.
    density_kg_m3
        Density of the air that was measured [kg/m³], above 0.
    instrument
        What measured: a differential pressure reading needs the square root of the density
        ratio, a thermal anemometer the ratio itself, a rotating vane nothing.

    Returns
    -------
    float or array
        Actual flow at that density [m³/s].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    Common practice, no source; the square root follows from Q = K √Δp.

    Examples
    --------
    >>> density = 0.060675 * 16.018463
    >>> round(actual_flow_m3_s(1000.0, density), 1)
    1111.8
    >>> round(actual_flow_m3_s(1000.0, density, "thermal"), 1)
    1236.1
    """
    require("indicated_m3_s", indicated_m3_s, "m³/s", low=0.0)
    require("density_kg_m3", density_kg_m3, "kg/m³", low=0.0, above=True)
    if instrument == "rotating-vane":
        return indicated_m3_s * 1.0
    ratio = STANDARD_DENSITY_KG_M3 / density_kg_m3
    if instrument == "thermal":
        return indicated_m3_s * ratio
    return indicated_m3_s * root(ratio)


def standard_flow_m3_s(actual_m3_s: Numbers, density_kg_m3: Numbers) -> Numbers:
    """Flow of standard air with the same mass.

    Parameters
    ----------
    actual_m3_s
        Actual flow [m³/s], at least 0.
    density_kg_m3
        Density of the air [kg/m³], above 0.

    Returns
    -------
    float or array
        Standard flow [m³/s].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    SCFM = ACFM density/0.075 (published: airflow quick-reference sheet of an instrument maker).

    Examples
    --------
    >>> round(standard_flow_m3_s(1111.8, 0.060675 * 16.018463), 1)
    899.4
    """
    require("actual_m3_s", actual_m3_s, "m³/s", low=0.0)
    require("density_kg_m3", density_kg_m3, "kg/m³", low=0.0, above=True)
    return actual_m3_s * density_kg_m3 / STANDARD_DENSITY_KG_M3


def k_from_reading(measured_m3_s: Numbers, sensed_pressure_pa: Numbers) -> Numbers:
    """K factor from one measured flow and the pressure sensed with it.

    Parameters
    ----------
    measured_m3_s
        Measured flow [m³/s], above 0.
    sensed_pressure_pa
        Sensed pressure [Pa], above 0.

    Returns
    -------
    float or array
        K factor [m³/s at 1 Pa].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    Q = K √Δp solved for K (published, as for ``indicated_flow_m3_s``).

    Examples
    --------
    >>> round(k_from_reading(0.2, 100.0), 6)
    0.02
    """
    require("measured_m3_s", measured_m3_s, "m³/s", low=0.0, above=True)
    require("sensed_pressure_pa", sensed_pressure_pa, "Pa", low=0.0, above=True)
    return measured_m3_s / root(sensed_pressure_pa)


def k_corrected(k_m3_s_sqrt_pa: Numbers, measured_m3_s: Numbers, reported_m3_s: Numbers) -> Numbers:
    """K factor that makes a controller report what was measured.

    Parameters
    ----------
    k_m3_s_sqrt_pa
        K factor in the controller [m³/s at 1 Pa], above 0.
    measured_m3_s
        Measured flow [m³/s], above 0.
    reported_m3_s
        Flow that the controller reported at the same time [m³/s], above 0.

    Returns
    -------
    float or array
        New K factor [m³/s at 1 Pa].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    K new = K old x measured/reported (common practice, no source).

    Examples
    --------
    >>> round(k_corrected(900.0, 540.0, 600.0), 6)
    810.0
    """
    require("k_m3_s_sqrt_pa", k_m3_s_sqrt_pa, "m³/s at 1 Pa", low=0.0, above=True)
    require("measured_m3_s", measured_m3_s, "m³/s", low=0.0, above=True)
    require("reported_m3_s", reported_m3_s, "m³/s", low=0.0, above=True)
    return k_m3_s_sqrt_pa * measured_m3_s / reported_m3_s


def lowest_controllable_flow_m3_s(
    k_m3_s_sqrt_pa: Numbers, readable_pressure_pa: Numbers
) -> Numbers:
    """Smallest flow that a controller can hold.

    Parameters
    ----------
    k_m3_s_sqrt_pa
        K factor [m³/s at 1 Pa], above 0.
    readable_pressure_pa
        Lowest stable sensed pressure of the controller [Pa], above 0.

    Returns
    -------
    float or array
        Lowest controllable flow [m³/s].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    V_m = K √VP_m (from memory: ASHRAE Guideline 36 §3.2.1).

    Examples
    --------
    >>> k, pascal = 916 * 2.990316e-5, 0.004 * 249.08891
    >>> round(lowest_controllable_flow_m3_s(k, pascal) / 0.00047194745, 1)
    57.9
    """
    require("k_m3_s_sqrt_pa", k_m3_s_sqrt_pa, "m³/s at 1 Pa", low=0.0, above=True)
    require("readable_pressure_pa", readable_pressure_pa, "Pa", low=0.0, above=True)
    return k_m3_s_sqrt_pa * root(readable_pressure_pa)


def usable_minimum_m3_s(scheduled_m3_s: float, lowest_m3_s: float) -> float:
    """Minimum to enter in the controller: never between 0 and what it can hold.

    Parameters
    ----------
    scheduled_m3_s
        Scheduled minimum [m³/s], at least 0.
    lowest_m3_s
        Lowest controllable flow [m³/s], at least 0.

    Returns
    -------
    float
        Minimum to use [m³/s]; a scheduled 0 stays 0.

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    ASHRAE Guideline 36, quoted in the documentation of an open sequence library (published).

    Examples
    --------
    >>> usable_minimum_m3_s(0.02, 0.03), usable_minimum_m3_s(0.0, 0.03)
    (0.03, 0.0)
    """
    require("scheduled_m3_s", scheduled_m3_s, "m³/s", low=0.0)
    require("lowest_m3_s", lowest_m3_s, "m³/s", low=0.0)
    return max(scheduled_m3_s, lowest_m3_s) if scheduled_m3_s else 0.0


def signal_resolution(sensed_pressure_pa: Numbers, error_pa: Numbers) -> Numbers:
    """Share by which the flow is wrong when the sensed pressure is wrong.

    Parameters
    ----------
    sensed_pressure_pa
        True sensed pressure [Pa], above 0.
    error_pa
        Error or smallest step of the reading [Pa], at least 0.

    Returns
    -------
    float or array
        Error of the flow [fraction].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    √(1 + d/Δp) - 1, about half of d/Δp (derived from Q = K √Δp).

    Examples
    --------
    >>> round(signal_resolution(0.004, 0.001), 3)
    0.118
    """
    require("sensed_pressure_pa", sensed_pressure_pa, "Pa", low=0.0, above=True)
    require("error_pa", error_pa, "Pa", low=0.0)
    return root(1.0 + error_pa / sensed_pressure_pa) - 1.0
