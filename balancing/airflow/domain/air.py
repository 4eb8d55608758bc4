"""Density of air: standard atmosphere, dry and moist air."""

from __future__ import annotations

import math

import numpy as np

from balancing.airflow.domain.ranges import Array, Numbers, power, require

STANDARD_DENSITY_KG_M3 = 0.075 * 0.45359237 / 0.3048**3
"""Standard air, 0.075 lb/ft³ [kg/m³]: the trade's rounded convention (published: airflow
quick-reference sheet of an instrument maker)."""
SEA_LEVEL_PRESSURE_PA = 101325.0
"""Pressure of the standard atmosphere at sea level [Pa] (published: ASHRAE Fundamentals 2017,
chapter 1, equation 3)."""
GAS_CONSTANT_J_KG_K = 287.042
"""Gas constant of dry air [J/(kg K)] (published: ASHRAE Fundamentals 2017, chapter 1)."""
ZERO_DEGC_K = 273.15
STANDARD_DEGC = (70.0 - 32.0) / 1.8
"""Temperature of standard air, 70 °F [°C]."""

# Coefficients of ln(saturation pressure), over ice and over water (published: ASHRAE
# Fundamentals 2017, chapter 1, equations 5 and 6).
_ICE = (
    -5.6745359e3,
    6.3925247,
    -9.677843e-3,
    6.2215701e-7,
    2.0747825e-9,
    -9.484024e-13,
    4.1635019,
)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)
_TRIPLE_POINT_DEGC = 0.01


def standard_pressure_pa(elevation_m: Numbers) -> Numbers:
    """Pressure of the standard atmosphere at an elevation.

    Parameters
    ----------
    elevation_m
        Elevation above sea level [m], -500 to 11000.

    Returns
    -------
    float or array
        Barometric pressure [Pa], as a barometer on the site shows it; a weather report is
        reduced to sea level and does not.

    Raises
    ------
    ValueError
        The elevation is out of range.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, chapter 1, equation 3 (published).

    Examples
    --------
    >>> round(standard_pressure_pa(0.0)), round(standard_pressure_pa(304.8))
    (101325, 97717)
    """
    require("elevation_m", elevation_m, "m", low=-500.0, high=11000.0)
    return SEA_LEVEL_PRESSURE_PA * power(1.0 - 2.25577e-5 * elevation_m, 5.2559)


def saturation_pressure_pa(air_degc: Numbers) -> Numbers:
    """Pressure of saturated water vapour, over ice below the triple point.

    Parameters
    ----------
    air_degc
        Temperature [°C], -100 to 200.

    Returns
    -------
    float or array
        Saturation pressure [Pa].

    Raises
    ------
    ValueError
        The temperature is out of range.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, chapter 1, equations 5 and 6 (published).

    Examples
    --------
    >>> round(saturation_pressure_pa(20.0), 1)
    2338.8
    """
    require("air_degc", air_degc, "°C", low=-100.0, high=200.0)
    if isinstance(air_degc, (int, float)):
        return math.exp(_log_saturation(float(air_degc), over_ice=air_degc <= _TRIPLE_POINT_DEGC))
    ice = np.array([_log_saturation(float(t), over_ice=True) for t in air_degc.flat])
    water = np.array([_log_saturation(float(t), over_ice=False) for t in air_degc.flat])
    log = np.where(air_degc.ravel() <= _TRIPLE_POINT_DEGC, ice, water)
    result: Array = np.exp(log).reshape(air_degc.shape)
    return result


def _log_saturation(air_degc: float, *, over_ice: bool) -> float:
    kelvin = air_degc + ZERO_DEGC_K
    if over_ice:
        c1, c2, c3, c4, c5, c6, c7 = _ICE
        powers = c2 + kelvin * (c3 + kelvin * (c4 + kelvin * (c5 + kelvin * c6)))
        return c1 / kelvin + powers + c7 * math.log(kelvin)
    c8, c9, c10, c11, c12, c13 = _WATER
    powers = c9 + kelvin * (c10 + kelvin * (c11 + kelvin * c12))
    return c8 / kelvin + powers + c13 * math.log(kelvin)


def humidity_ratio(air_degc: Numbers, humidity_fraction: Numbers, pressure_pa: Numbers) -> Numbers:
    """Mass of water vapour per mass of dry air.

    Parameters
    ----------
    air_degc
        Dry-bulb temperature [°C], -100 to 200.
    humidity_fraction
        Relative humidity [fraction], 0 to 1.
    pressure_pa
        Absolute pressure [Pa], above 0.

    Returns
    -------
    float or array
        Humidity ratio [kg/kg].

    Raises
    ------
    ValueError
        An argument is out of range, or the vapour pressure reaches the air pressure.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, chapter 1 (published).

    Examples
    --------
    >>> round(humidity_ratio(20.0, 0.5, 101325.0), 6)
    0.007262
    """
    require("humidity_fraction", humidity_fraction, "", low=0.0, high=1.0)
    require("pressure_pa", pressure_pa, "Pa", low=0.0, above=True)
    vapour_pa = humidity_fraction * saturation_pressure_pa(air_degc)
    require("pressure_pa less vapour pressure", pressure_pa - vapour_pa, "Pa", low=0.0, above=True)
    return 0.621945 * vapour_pa / (pressure_pa - vapour_pa)


def air_density_kg_m3(
    air_degc: Numbers, pressure_pa: Numbers, humidity_fraction: Numbers | None = None
) -> Numbers:
    """Density of dry or moist air.

    Parameters
    ----------
    air_degc
        Dry-bulb temperature [°C], -100 to 200.
    pressure_pa
        Absolute pressure where the air is [Pa], above 0.
    humidity_fraction
        Relative humidity [fraction], 0 to 1; None takes dry air.

    Returns
    -------
    float or array
        Density [kg/m³].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, chapter 1: density is (1 + W)/v (published).

    Examples
    --------
    >>> round(air_density_kg_m3(20.0, 101325.0), 4)
    1.2042
    >>> round(air_density_kg_m3(20.0, 101325.0, 0.5), 4)
    1.1989
    """
    require("air_degc", air_degc, "°C", low=-100.0, high=200.0)
    require("pressure_pa", pressure_pa, "Pa", low=0.0, above=True)
    dry = pressure_pa / (GAS_CONSTANT_J_KG_K * (air_degc + ZERO_DEGC_K))
    if humidity_fraction is None:
        return dry
    ratio = humidity_ratio(air_degc, humidity_fraction, pressure_pa)
    return dry * (1.0 + ratio) / (1.0 + 1.607858 * ratio)


def duct_pressure_pa(station_pressure_pa: Numbers, duct_static_pa: Numbers) -> Numbers:
    """Absolute pressure inside a duct.

    Parameters
    ----------
    station_pressure_pa
        Barometric pressure on the site [Pa], above 0.
    duct_static_pa
        Static pressure in the duct against the room [Pa], negative on the suction side.

    Returns
    -------
    float or array
        Absolute pressure [Pa].

    Raises
    ------
    ValueError
        The station pressure is not above 0.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> duct_pressure_pa(101325.0, 373.6)
    101698.6
    """
    require("station_pressure_pa", station_pressure_pa, "Pa", low=0.0, above=True)
    return station_pressure_pa + duct_static_pa
