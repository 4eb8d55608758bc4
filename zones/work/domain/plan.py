"""The scale of a floor plan, and distances between positions on a floor."""

from __future__ import annotations

import math
from dataclasses import dataclass

Place = tuple[float, float]
"""To the east and north from the floor's origin [m], or across and down a picture [px]."""


@dataclass(frozen=True, slots=True)
class PlanScale:
    """How a picture of a plan maps to positions on the floor.

    Pixels count from the upper left corner to the right and down; metres from the floor's
    origin to the east and north. The plan's north is up.

    Attributes
    ----------
    m_per_px
        Size of a pixel on the floor [m, > 0].
    origin_x_px, origin_y_px
        Where the floor's origin lies on the picture [px, finite; also beyond its edge].

    Raises
    ------
    ValueError
        A pixel without a size, or an origin that is not finite.

    Examples
    --------
    >>> scale = PlanScale.from_points((100.0, 50.0), (300.0, 50.0), 10.0, (0.0, 400.0))
    >>> scale.m_per_px, scale.to_m((100.0, 300.0)), scale.to_px((5.0, 5.0))
    (0.05, (5.0, 5.0), (100.0, 300.0))
    """

    m_per_px: float
    origin_x_px: float
    origin_y_px: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.m_per_px) and self.m_per_px > 0):
            raise ValueError(f"m_per_px must be above 0, not {self.m_per_px}")
        if not (math.isfinite(self.origin_x_px) and math.isfinite(self.origin_y_px)):
            raise ValueError("origin_x_px and origin_y_px must be finite")

    @classmethod
    def from_points(
        cls, first_px: Place, second_px: Place, distance_m: float, origin_px: Place
    ) -> PlanScale:
        """Find the scale from two points of the picture and the distance between them.

        Parameters
        ----------
        first_px, second_px
            The points [px, different].
        distance_m
            How far they are apart on the floor [m, > 0].
        origin_px
            Where the floor's origin lies on the picture [px].

        Returns
        -------
        PlanScale
            The scale.

        Raises
        ------
        ValueError
            The points fall together, or the distance is not above 0.
        """
        apart_px = math.dist(first_px, second_px)
        if not (math.isfinite(apart_px) and apart_px > 0):
            raise ValueError("first_px and second_px must be two different points")
        if not (math.isfinite(distance_m) and distance_m > 0):
            raise ValueError(f"distance_m must be above 0, not {distance_m}")
        return cls(distance_m / apart_px, *origin_px)

    def to_px(self, place_m: Place) -> Place:
        """Where a position on the floor [m] lies on the picture [px]."""
        return (
            self.origin_x_px + place_m[0] / self.m_per_px,
            self.origin_y_px - place_m[1] / self.m_per_px,
        )

    def to_m(self, place_px: Place) -> Place:
        """Which position on the floor [m] a point of the picture [px] is."""
        return (
            (place_px[0] - self.origin_x_px) * self.m_per_px,
            (self.origin_y_px - place_px[1]) * self.m_per_px,
        )


def straight_m(a: Place, b: Place) -> float:
    """Straight distance between two positions of a floor.

    Parameters
    ----------
    a, b
        Positions to the east and north [m, finite].

    Returns
    -------
    float
        Distance [m, >= 0].

    Examples
    --------
    >>> straight_m((0.0, 0.0), (3.0, 4.0))
    5.0
    """
    return math.dist(a, b)


def along_walls_m(a: Place, b: Place) -> float:
    """Distance between two positions when the way runs east-west and north-south only.

    Parameters
    ----------
    a, b
        Positions to the east and north [m, finite].

    Returns
    -------
    float
        Distance [m, >= 0]; never shorter than the straight one.

    Examples
    --------
    >>> along_walls_m((0.0, 0.0), (3.0, 4.0))
    7.0
    """
    return abs(a[0] - b[0]) + abs(a[1] - b[1])


def cable_length_m(a: Place, b: Place, *, riser_m: float = 0.0, slack_fraction: float) -> float:
    """Propose the length of a cable between two positions of a floor.

    Cables follow the building's grid; each is cut longer than its way.

    Parameters
    ----------
    a, b
        Positions of the two ends to the east and north [m, finite].
    riser_m
        What goes up and down besides [m, >= 0].
    slack_fraction
        Extra over the whole way for drops, bends and ends [fraction, >= 0].

    Returns
    -------
    float
        Length [m, >= 0].

    Raises
    ------
    ValueError
        ``riser_m`` or ``slack_fraction`` below 0 or not finite, or a position not finite.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> cable_length_m((0.0, 0.0), (30.0, 10.0), riser_m=10.0, slack_fraction=0.5)
    75.0
    """
    for name, value in (("riser_m", riser_m), ("slack_fraction", slack_fraction)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} must be 0 or more, not {value}")
    way_m = along_walls_m(a, b)
    if not math.isfinite(way_m):
        raise ValueError("both positions must be finite")
    return (way_m + riser_m) * (1 + slack_fraction)
