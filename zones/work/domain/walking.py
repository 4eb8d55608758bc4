"""The order in which somebody walks past the units of a floor."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Order = npt.NDArray[np.intp]
_SWEEPS = 40
"""Most passes of improvement; floors settle in fewer than ten."""
_SMALLEST_GAIN_M = 1e-9
"""Less than this is rounding: without it two equal paths would take turns for ever."""


@lru_cache(maxsize=256)
def walking_order(xs: tuple[float, ...], ys: tuple[float, ...]) -> tuple[int, ...]:
    """Order points into a short open path that begins in the south-west.

    The nearest point comes next; then stretches are turned round as long as that shortens the
    path (2-opt). The path is never longer than one that begins at the same point and takes the
    others as they were given. The same points give the same order.

    Parameters
    ----------
    xs, ys
        Positions to the east and north [m, finite].

    Returns
    -------
    tuple of int
        Indices of the points, in the order of the walk [0 to count - 1, each once].

    Raises
    ------
    ValueError
        ``xs`` and ``ys`` differ in number, or a position is not finite.

    References
    ----------
    G. A. Croes, "A method for solving traveling-salesman problems", Operations Research 6
    (1958), pp. 791-812 (the exchange of two edges; from memory).

    Examples
    --------
    >>> walking_order((10.0, 0.0, 20.0, 30.0), (0.0, 0.0, 0.0, 0.0))
    (1, 0, 2, 3)
    """
    points = _points(xs, ys)
    if len(points) == 0:
        return ()
    start = _south_west(points)
    apart = np.hypot(
        points[:, 0, None] - points[None, :, 0], points[:, 1, None] - points[None, :, 1]
    )
    found = _shortened(_nearest_first(apart, start), apart)
    as_given = np.array([start, *(i for i in range(len(points)) if i != start)], np.intp)
    if _length(as_given, apart) < _length(found, apart):
        found = _shortened(as_given, apart)
    return tuple(int(i) for i in found)


def path_length_m(
    xs: tuple[float, ...], ys: tuple[float, ...], order: tuple[int, ...] | None = None
) -> float:
    """Length of the path through points, straight from one to the next.

    Parameters
    ----------
    xs, ys
        Positions to the east and north [m, finite].
    order
        Indices of the points in the order of the walk; as given when it is None.

    Returns
    -------
    float
        Length [m, >= 0].

    Raises
    ------
    ValueError
        ``xs`` and ``ys`` differ in number, or a position is not finite.

    Examples
    --------
    >>> path_length_m((0.0, 3.0, 3.0), (0.0, 4.0, 10.0))
    11.0
    """
    points = _points(xs, ys)
    if order is not None:
        points = points[list(order)]
    steps = np.diff(points, axis=0)
    return float(np.hypot(steps[:, 0], steps[:, 1]).sum())


def _points(xs: tuple[float, ...], ys: tuple[float, ...]) -> Floats:
    if len(xs) != len(ys):
        raise ValueError(f"there are {len(xs)} positions to the east and {len(ys)} to the north")
    points = np.array([xs, ys], np.float64).T.reshape(-1, 2)
    if not np.isfinite(points).all():
        raise ValueError("each position must be a finite number of metres")
    return points


def _south_west(points: Floats) -> int:
    """Farthest along the diagonal to the south-west; among equals the southern one."""
    return int(np.lexsort((points[:, 1], points.sum(axis=1)))[0])


def _nearest_first(apart: Floats, start: int) -> Order:
    order = np.empty(len(apart), np.intp)
    is_open = np.ones(len(apart), np.bool_)
    here = start
    for i in range(len(apart)):
        order[i] = here
        is_open[here] = False
        here = int(np.where(is_open, apart[here], np.inf).argmin())
    return order


def _shortened(order: Order, apart: Floats) -> Order:
    """Turn stretches round while it pays; the first point stays."""
    order = order.copy()
    for _ in range(_SWEEPS):
        is_better = False
        for i in range(1, len(order) - 1):
            gains = _gains(order, apart, i)
            best = int(gains.argmax())
            if gains[best] > _SMALLEST_GAIN_M:
                order[i : i + best + 1] = order[i : i + best + 1][::-1].copy()
                is_better = True
        if not is_better:
            break
    return order


def _gains(order: Order, apart: Floats, i: int) -> Floats:
    """How much shorter the path gets when the stretch from ``i`` to each later end turns."""
    before, ends = order[i - 1], order[i:]
    gains = apart[before, order[i]] - apart[before, ends]
    gains[:-1] += apart[ends[:-1], ends[1:]] - apart[order[i], ends[1:]]
    return np.asarray(gains, np.float64)


def _length(order: Order, apart: Floats) -> float:
    return float(apart[order[:-1], order[1:]].sum())
