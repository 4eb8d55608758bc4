"""Duct traverse: where to read, the flow that follows, and whether the plane is good enough."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from balancing.airflow.domain.ranges import Array, require
from balancing.airflow.domain.sensor import velocity_m_s

RECTANGULAR_LOG_TCHEBYCHEFF: Mapping[int, tuple[float, ...]] = {
    5: (0.074, 0.288, 0.500, 0.712, 0.926),
    6: (0.061, 0.235, 0.437, 0.563, 0.765, 0.939),
    7: (0.053, 0.203, 0.366, 0.500, 0.634, 0.797, 0.947),
}
"""Fractions of the inside dimension from one wall (published: row of 5 as corrected by the
erratum of 9 January 1997 to ASHRAE 111-1988, which had printed 0.238 for 0.288; rows of 6 and 7
from several manuals)."""
ROUND_LOG_LINEAR: Mapping[int, tuple[float, ...]] = {
    6: (0.032, 0.135, 0.321, 0.679, 0.865, 0.968),
    8: (0.021, 0.117, 0.184, 0.345, 0.655, 0.816, 0.883, 0.979),
    10: (0.019, 0.077, 0.153, 0.217, 0.361, 0.639, 0.783, 0.847, 0.923, 0.981),
}
"""Fractions of the diameter from one wall (published: ISO 5802:2001, tables 2 and 3, for 6 and
8 points; 10 points from instrument manuals). Manuals often print these under the title
log-Tchebycheff; the 8-point row satisfies the log-linear condition."""
ROUND_LOG_TCHEBYCHEFF: Mapping[int, tuple[float, ...]] = {
    6: (0.032, 0.137, 0.312, 0.688, 0.863, 0.968),
    8: (0.024, 0.100, 0.194, 0.334, 0.666, 0.806, 0.900, 0.976),
}
"""Fractions of the diameter from one wall (published: ISO 5802:2001, tables 2 and 3)."""


def rectangular_log_tchebycheff(side_m: float, points: int | None = None) -> tuple[float, ...]:
    """Positions across one side of a rectangular duct by the log-Tchebycheff rule.

    Parameters
    ----------
    side_m
        Inside dimension [m], above 0.
    points
        Number of points [number], 5, 6 or 7; None chooses by the side: 5 below 30 in. (0.762 m),
        6 up to 36 in. (0.9144 m), 7 above.

    Returns
    -------
    tuple of float
        Distances from one wall [m].

    Raises
    ------
    ValueError
        The side is not above 0, or no such number of points is defined.

    References
    ----------
    ``RECTANGULAR_LOG_TCHEBYCHEFF``; side rule from instrument manuals (published).

    Examples
    --------
    >>> [round(position / 0.0254, 2) for position in rectangular_log_tchebycheff(20 * 0.0254)]
    [1.48, 5.76, 10.0, 14.24, 18.52]
    """
    require("side_m", side_m, "m", low=0.0, above=True)
    if points is None:
        points = 5 if side_m < 0.762 - 1e-9 else 6 if side_m <= 0.9144 + 1e-9 else 7
    return _scaled(RECTANGULAR_LOG_TCHEBYCHEFF, points, side_m)


def rectangular_equal_area(side_m: float, points: int) -> tuple[float, ...]:
    """Centres of equal parts of one side.

    Parameters
    ----------
    side_m
        Inside dimension [m], above 0.
    points
        Number of points [number], at least 1.

    Returns
    -------
    tuple of float
        Distances from one wall [m].

    Raises
    ------
    ValueError
        An argument is out of range.

    References
    ----------
    (2 i - 1)/(2 n) (published: instrument guides).

    Examples
    --------
    >>> rectangular_equal_area(1.0, 2)
    (0.25, 0.75)
    """
    require("side_m", side_m, "m", low=0.0, above=True)
    require("points", points, "", low=1)
    return tuple(side_m * (2 * i - 1) / (2 * points) for i in range(1, points + 1))


def round_log_linear(diameter_m: float, points: int) -> tuple[float, ...]:
    """Positions along a diameter by the log-linear rule.

    Parameters
    ----------
    diameter_m
        Inside diameter [m], above 0.
    points
        Points on the diameter [number]: 6, 8 or 10.

    Returns
    -------
    tuple of float
        Distances from one wall [m].

    Raises
    ------
    ValueError
        The diameter is not above 0, or no such number of points is defined.

    References
    ----------
    ``ROUND_LOG_LINEAR``: ISO 5802:2001 (published).

    Examples
    --------
    >>> [round(position / 0.0254, 2) for position in round_log_linear(12 * 0.0254, 6)]
    [0.38, 1.62, 3.85, 8.15, 10.38, 11.62]
    """
    require("diameter_m", diameter_m, "m", low=0.0, above=True)
    return _scaled(ROUND_LOG_LINEAR, points, diameter_m)


def round_log_tchebycheff(diameter_m: float, points: int) -> tuple[float, ...]:
    """Positions along a diameter by the log-Tchebycheff rule for round ducts.

    Parameters
    ----------
    diameter_m
        Inside diameter [m], above 0.
    points
        Points on the diameter [number]: 6 or 8.

    Returns
    -------
    tuple of float
        Distances from one wall [m].

    Raises
    ------
    ValueError
        The diameter is not above 0, or no such number of points is defined.

    References
    ----------
    ``ROUND_LOG_TCHEBYCHEFF``: ISO 5802:2001 (published).

    Examples
    --------
    >>> round_log_tchebycheff(1.0, 6)
    (0.032, 0.137, 0.312, 0.688, 0.863, 0.968)
    """
    require("diameter_m", diameter_m, "m", low=0.0, above=True)
    return _scaled(ROUND_LOG_TCHEBYCHEFF, points, diameter_m)


def round_equal_area(diameter_m: float, points: int) -> tuple[float, ...]:
    """Positions along a diameter in the middle of rings of equal area.

    Parameters
    ----------
    diameter_m
        Inside diameter [m], above 0.
    points
        Points on the diameter [number], even, at least 2: two for each ring.

    Returns
    -------
    tuple of float
        Distances from one wall [m].

    Raises
    ------
    ValueError
        The diameter is not above 0, or the number of points is odd or below 2.

    References
    ----------
    40 CFR 60 appendix A-1, Method 1, table 1-2 (published).

    Examples
    --------
    >>> [round(position, 3) for position in round_equal_area(1.0, 4)]
    [0.067, 0.25, 0.75, 0.933]
    """
    require("diameter_m", diameter_m, "m", low=0.0, above=True)
    require("points", points, "", low=2)
    if points % 2:
        raise ValueError(f"points must be even, got {points}")
    radii = [math.sqrt((2 * i - 1) / points) for i in range(1, points // 2 + 1)]
    shares = [(1.0 - r) / 2.0 for r in reversed(radii)] + [(1.0 + r) / 2.0 for r in radii]
    return tuple(diameter_m * share for share in shares)


def _scaled(
    table: Mapping[int, tuple[float, ...]], points: int, size_m: float
) -> tuple[float, ...]:
    if points not in table:
        raise ValueError(f"points must be one of {', '.join(map(str, table))}, got {points}")
    return tuple(share * size_m for share in table[points])


@dataclass(frozen=True, slots=True)
class PlaneQuality:
    """Whether a measuring plane is good enough, and the shares that decide it."""

    is_good: bool
    share_above: float
    negative: int


@dataclass(frozen=True, slots=True)
class TraverseFlow:
    """Flow [m³/s], mean velocity [m/s] and quality of a traverse."""

    flow_m3_s: float
    velocity_m_s: float
    quality: PlaneQuality


def flow_by_traverse(
    velocity_pressures_pa: Array, area_m2: float, density_kg_m3: float | None = None
) -> TraverseFlow:
    """Flow of a duct from velocity pressures at points of equal weight.

    Parameters
    ----------
    velocity_pressures_pa
        Velocity pressures [Pa]; a negative one counts as no velocity and spoils the plane.
    area_m2
        Inside area of the duct [m²], above 0.
    density_kg_m3
        Density of the air [kg/m³], above 0; None takes standard air.

    Returns
    -------
    TraverseFlow
        Actual flow [m³/s], mean velocity [m/s] and quality of the plane.

    Raises
    ------
    ValueError
        No readings, or a value that is not finite or out of range.

    References
    ----------
    Mean of velocities, never of pressures, times area (published: UFGS-15951N §3.2.2.2).

    Examples
    --------
    >>> import numpy as np
    >>> told = flow_by_traverse(np.array([10.0, 10.0]), 0.5, 1.2)
    >>> round(told.velocity_m_s, 4), round(told.flow_m3_s, 4)
    (4.0825, 2.0412)
    """
    require("area_m2", area_m2, "m²", low=0.0, above=True)
    quality = plane_quality(velocity_pressures_pa)
    positive = np.maximum(np.asarray(velocity_pressures_pa, dtype=float), 0.0)
    density = None if density_kg_m3 is None else np.asarray(density_kg_m3, dtype=float)
    mean = float(np.mean(velocity_m_s(positive, density)))
    return TraverseFlow(mean * area_m2, mean, quality)


def plane_quality(velocity_pressures_pa: Array) -> PlaneQuality:
    """Judge a measuring plane: enough readings that count, none negative.

    Parameters
    ----------
    velocity_pressures_pa
        Velocity pressures [Pa].

    Returns
    -------
    PlaneQuality
        Good when more than 75 % of the readings exceed a tenth of the largest and none is
        negative; the share [fraction] and the number of negative readings.

    Raises
    ------
    ValueError
        No readings, or a value that is not finite.

    References
    ----------
    "Balancing of a Water and Air System", p. 16 (published); AMCA 203 (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> plane_quality(np.array([10.0, 9.0, 8.0, 0.5])).is_good
    False
    """
    readings = np.asarray(velocity_pressures_pa, dtype=float)
    if not readings.size:
        raise ValueError("velocity_pressures_pa needs at least 1 reading, got 0")
    require("velocity_pressures_pa", readings, "Pa")
    largest = float(readings.max())
    share = float(np.mean(readings > 0.1 * largest))
    negative = int(np.sum(readings < 0.0))
    return PlaneQuality(share > 0.75 and not negative and largest > 0.0, share, negative)


def rectangular_area_m2(width_m: float, height_m: float) -> float:
    """Area of a rectangular duct.

    Parameters
    ----------
    width_m, height_m
        Inside dimensions [m], above 0.

    Returns
    -------
    float
        Area [m²].

    Raises
    ------
    ValueError
        A dimension is not above 0.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> rectangular_area_m2(0.5, 0.4)
    0.2
    """
    require("width_m", width_m, "m", low=0.0, above=True)
    require("height_m", height_m, "m", low=0.0, above=True)
    return width_m * height_m


def flat_oval_area_m2(major_m: float, minor_m: float) -> float:
    """Area of a flat oval duct: rectangle and circle.

    Parameters
    ----------
    major_m, minor_m
        Inside dimensions [m], above 0, the major at least as long as the minor.

    Returns
    -------
    float
        Area [m²].

    Raises
    ------
    ValueError
        A dimension is out of range.

    References
    ----------
    "Balancing of a Water and Air System", p. 19 (published).

    Examples
    --------
    >>> round(flat_oval_area_m2(1.0, 0.4), 4)
    0.3657
    """
    require("minor_m", minor_m, "m", low=0.0, above=True)
    require("major_m", major_m, "m", low=minor_m)
    return (major_m - minor_m) * minor_m + math.pi / 4.0 * minor_m**2
