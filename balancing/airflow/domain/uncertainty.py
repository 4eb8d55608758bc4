"""How sure a measured flow is, and what that means for a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic

from balancing.airflow.domain.ranges import Numbers, require, root

COVERAGE = 2.0
"""Coverage factor of expanded uncertainty, about 95 % (published: JCGM 100, GUM)."""


@dataclass(frozen=True, slots=True)
class ReadingUncertainty(Generic[Numbers]):
    """Uncertainty of one reading [m³/s], told in the four usual ways.

    Attributes
    ----------
    worst_m3_s
        Both limits added.
    rss_m3_s
        Limits added in quadrature.
    standard_m3_s, expanded_m3_s
        By the GUM: standard uncertainty, and the same times the coverage factor.
    """

    worst_m3_s: Numbers
    rss_m3_s: Numbers
    standard_m3_s: Numbers
    expanded_m3_s: Numbers


@dataclass(frozen=True, slots=True)
class SensorUncertainty(Generic[Numbers]):
    """Uncertainty of an indicated flow [fraction of the flow]."""

    pressure_part: Numbers
    standard: Numbers
    expanded: Numbers


def hood_uncertainty(
    flow_m3_s: Numbers,
    accuracy_fraction: float,
    accuracy_floor_m3_s: float,
    *,
    repeatability_m3_s: float = 0.0,
    coverage: float = COVERAGE,
) -> ReadingUncertainty[Numbers]:
    """Uncertainty of a hood reading from the accuracy on its data sheet.

    Parameters
    ----------
    flow_m3_s
        Reading [m³/s], at least 0.
    accuracy_fraction
        Limit ± as a share of the reading [fraction], at least 0.
    accuracy_floor_m3_s
        Fixed limit ± beside it [m³/s], at least 0.
    repeatability_m3_s
        Standard uncertainty of the mean of repeats [m³/s], at least 0.
    coverage
        Coverage factor [number], above 0.

    Returns
    -------
    ReadingUncertainty
        Worst case, quadrature of limits, standard and expanded uncertainty [m³/s].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    JCGM 100 (GUM) and NIST TN 1297: limits ±a give a/√3 (published).

    Examples
    --------
    >>> told = hood_uncertainty(250.0, 0.03, 7.0)
    >>> round(told.worst_m3_s, 1), round(told.rss_m3_s, 2), round(told.expanded_m3_s, 2)
    (14.5, 10.26, 11.85)
    """
    require("flow_m3_s", flow_m3_s, "m³/s", low=0.0)
    require("accuracy_fraction", accuracy_fraction, "", low=0.0)
    require("accuracy_floor_m3_s", accuracy_floor_m3_s, "m³/s", low=0.0)
    require("repeatability_m3_s", repeatability_m3_s, "m³/s", low=0.0)
    require("coverage", coverage, "", low=0.0, above=True)
    share = accuracy_fraction * flow_m3_s
    rss = root(share**2 + accuracy_floor_m3_s**2)
    standard = root(rss**2 / 3.0 + repeatability_m3_s**2)
    return ReadingUncertainty(share + accuracy_floor_m3_s, rss, standard, coverage * standard)


def sum_uncertainty_m3_s(
    flows_m3_s: Sequence[float],
    accuracy_fraction: float,
    accuracy_floor_m3_s: float,
    *,
    repeatability_m3_s: Sequence[float] = (),
    coverage: float = COVERAGE,
) -> float:
    """Expanded uncertainty of a sum of readings by one instrument.

    Parameters
    ----------
    flows_m3_s
        Readings [m³/s], at least 0.
    accuracy_fraction
        Limit ± as a share of the reading [fraction]; common to all readings, so it adds up.
    accuracy_floor_m3_s
        Fixed limit ± [m³/s]; independent from reading to reading, so it adds in quadrature.
    repeatability_m3_s
        Standard uncertainties of the means of repeats [m³/s].
    coverage
        Coverage factor [number], above 0.

    Returns
    -------
    float
        Expanded uncertainty of the sum [m³/s].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    JCGM 100 (GUM) (published); the split into common and independent part is derived.

    Examples
    --------
    >>> round(sum_uncertainty_m3_s([200, 200, 250, 150], 0.03, 7.0), 1)
    32.1
    """
    for flow in flows_m3_s:
        require("flows_m3_s", flow, "m³/s", low=0.0)
    require("accuracy_fraction", accuracy_fraction, "", low=0.0)
    require("accuracy_floor_m3_s", accuracy_floor_m3_s, "m³/s", low=0.0)
    require("coverage", coverage, "", low=0.0, above=True)
    common = accuracy_fraction * sum(flows_m3_s)
    independent = len(flows_m3_s) * accuracy_floor_m3_s**2
    repeats = sum(value**2 for value in repeatability_m3_s)
    return coverage * math.sqrt((common**2 + independent) / 3.0 + repeats)


def sensor_uncertainty(
    sensed_pressure_pa: Numbers,
    *,
    k_uncertainty: float,
    pressure_limit_pa: float,
    density_uncertainty: float,
    coverage: float = COVERAGE,
) -> SensorUncertainty[Numbers]:
    """Uncertainty of a flow from a pressure sensor.

    Parameters
    ----------
    sensed_pressure_pa
        Sensed pressure [Pa], above 0.
    k_uncertainty
        Standard uncertainty of K [fraction], at least 0.
    pressure_limit_pa
        Limit ± of the pressure reading [Pa], at least 0.
    density_uncertainty
        Standard uncertainty of the air's density [fraction], at least 0.
    coverage
        Coverage factor [number], above 0.

    Returns
    -------
    SensorUncertainty
        Part of the pressure, standard and expanded uncertainty [fraction of the flow].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    JCGM 100 (GUM), applied to Q = K √(Δp/density) (published method, derived formula).

    Examples
    --------
    >>> told = sensor_uncertainty(0.01, k_uncertainty=0.01, pressure_limit_pa=0.001,
    ...                           density_uncertainty=0.01)
    >>> round(told.pressure_part, 4), round(told.expanded, 4)
    (0.0289, 0.0619)
    """
    require("sensed_pressure_pa", sensed_pressure_pa, "Pa", low=0.0, above=True)
    require("k_uncertainty", k_uncertainty, "", low=0.0)
    require("pressure_limit_pa", pressure_limit_pa, "Pa", low=0.0)
    require("density_uncertainty", density_uncertainty, "", low=0.0)
    require("coverage", coverage, "", low=0.0, above=True)
    pressure = pressure_limit_pa / math.sqrt(3.0) / (2.0 * sensed_pressure_pa)
    standard = root(pressure**2 + k_uncertainty**2 + (density_uncertainty / 2.0) ** 2)
    return SensorUncertainty(pressure, standard, coverage * standard)


def normalized_error(
    first: float, second: float, first_expanded: float, second_expanded: float
) -> float:
    """Difference of two results in terms of their uncertainties; at most 1 agrees.

    Parameters
    ----------
    first, second
        Results of two methods [one unit].
    first_expanded, second_expanded
        Their expanded uncertainties [the same unit], at least 0 and not both 0.

    Returns
    -------
    float
        Normalized error E_n [ratio].

    Raises
    ------
    ValueError
        An uncertainty is negative, or both are 0.

    References
    ----------
    ISO 13528 and ISO/IEC 17043 (from memory).

    Examples
    --------
    >>> round(normalized_error(247.0, 262.0, 11.85, 9.6), 3)
    0.984
    """
    require("first_expanded", first_expanded, "", low=0.0)
    require("second_expanded", second_expanded, "", low=0.0)
    both = math.hypot(first_expanded, second_expanded)
    require("first_expanded and second_expanded", both, "", low=0.0, above=True)
    return abs(first - second) / both
