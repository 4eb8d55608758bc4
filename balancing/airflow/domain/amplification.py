"""Free area, amplification and K factor of a flow sensor, each from the other two."""

from __future__ import annotations

import math

from balancing.airflow.domain.ranges import Numbers, require, root
from balancing.airflow.domain.sensor import STANDARD_VELOCITY_M_S_SQRT_PA


def round_area_m2(diameter_m: Numbers) -> Numbers:
    """Area of a round inlet.

    Parameters
    ----------
    diameter_m
        Inside diameter [m], above 0.

    Returns
    -------
    float or array
        Area [m²].

    Raises
    ------
    ValueError
        The diameter is not above 0.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(round_area_m2(8 * 0.0254) / 0.3048**2, 4)
    0.3491
    """
    require("diameter_m", diameter_m, "m", low=0.0, above=True)
    return math.pi / 4.0 * diameter_m**2


def k_from_amplification(free_area_m2: Numbers, amplification: Numbers) -> Numbers:
    """K factor of a sensor in standard air; an amplification of 1 gives the upper bound of K.

    Parameters
    ----------
    free_area_m2
        Free area at the sensor [m²], above 0.
    amplification
        Sensed pressure over true velocity pressure [ratio], above 0.

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
    K = 4005 A/√F (from memory: ASHRAE Guideline 36 §3.2.1).

    Examples
    --------
    >>> area_m2 = round_area_m2(8 * 0.0254)
    >>> round(k_from_amplification(area_m2, 2.6) / 2.990316e-5)
    867
    """
    require("free_area_m2", free_area_m2, "m²", low=0.0, above=True)
    require("amplification", amplification, "", low=0.0, above=True)
    return STANDARD_VELOCITY_M_S_SQRT_PA * free_area_m2 / root(amplification)


def amplification(free_area_m2: Numbers, k_m3_s_sqrt_pa: Numbers) -> Numbers:
    """Amplification of a sensor: sensed pressure over true velocity pressure.

    Parameters
    ----------
    free_area_m2
        Free area at the sensor [m²], above 0.
    k_m3_s_sqrt_pa
        K factor for standard air [m³/s at 1 Pa], above 0.

    Returns
    -------
    float or array
        Amplification [ratio]; an amplifying sensor is above 1.

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    F = (4005 A/K)² (from memory: ASHRAE Guideline 36 §3.2.1).

    Examples
    --------
    >>> round(amplification(0.3491 * 0.3048**2, 916 * 2.990316e-5), 2)
    2.33
    """
    require("free_area_m2", free_area_m2, "m²", low=0.0, above=True)
    require("k_m3_s_sqrt_pa", k_m3_s_sqrt_pa, "m³/s at 1 Pa", low=0.0, above=True)
    return (STANDARD_VELOCITY_M_S_SQRT_PA * free_area_m2 / k_m3_s_sqrt_pa) ** 2


def free_area_m2(k_m3_s_sqrt_pa: Numbers, amplification: Numbers) -> Numbers:
    """Free area that belongs to a K factor and an amplification.

    Parameters
    ----------
    k_m3_s_sqrt_pa
        K factor for standard air [m³/s at 1 Pa], above 0.
    amplification
        Sensed pressure over true velocity pressure [ratio], above 0.

    Returns
    -------
    float or array
        Free area [m²].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    K = 4005 A/√F solved for A (from memory: ASHRAE Guideline 36 §3.2.1).

    Examples
    --------
    >>> round(free_area_m2(867 * 2.990316e-5, 2.6) / 0.3048**2, 3)
    0.349
    """
    require("k_m3_s_sqrt_pa", k_m3_s_sqrt_pa, "m³/s at 1 Pa", low=0.0, above=True)
    require("amplification", amplification, "", low=0.0, above=True)
    return k_m3_s_sqrt_pa * root(amplification) / STANDARD_VELOCITY_M_S_SQRT_PA
