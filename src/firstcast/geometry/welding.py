"""Welding: points at one place become one point."""

from typing import NamedTuple

import numpy as np

from firstcast.arrays import Points, Triangles
from firstcast.kernels.welding import weld_exact, weld_near


class Welded(NamedTuple):
    """points (k, 3) float64; triangles (m, 3) int32 over them; what was joined.

    `joined` counts the points that went into another; `place` is one of them, or None.
    """

    points: Points
    triangles: Triangles
    joined: int
    place: np.ndarray | None


def weld_equal(points: np.ndarray) -> tuple[Points, np.ndarray]:
    """Each different place once, in the order of first appearance, and the number of each row's place.

    Parameters
    ----------
    points : (n, 3) float32 or float64
        Finite or not: NaN equals itself where its bits do.

    Returns
    -------
    (k, 3) float64 and (n,) int32
    """
    exact, label, first = _weld_rows(points)
    return exact[first], label


def weld(points: Points, triangles: Triangles, tolerance: float) -> Welded:
    """The mesh with points nearer than `tolerance` as one.

    Parameters
    ----------
    points : (n, 3) float64, finite
    triangles : (m, 3) int32
    tolerance : float
        In the units of the points; 0 joins equal points only.
    """
    points = np.ascontiguousarray(points, dtype=np.float64)
    if tolerance > 0:
        leader = weld_near(points - points.min(axis=0), float(tolerance))
    else:
        _, label, first = _weld_rows(points)
        leader = first[label]
    joins = leader != np.arange(len(points))
    joined = int(joins.sum())
    if not joined:
        return Welded(points, np.ascontiguousarray(triangles, dtype=np.int32), 0, None)
    row = (np.cumsum(~joins) - 1).astype(np.int32)[leader]
    return Welded(points[~joins], np.ascontiguousarray(row[triangles]), joined, points[np.argmax(joins)])


def _weld_rows(points: np.ndarray) -> tuple[Points, np.ndarray, np.ndarray]:
    """Points, the number of each one's place, and the first row of each place."""
    with np.errstate(invalid="ignore"):  # a damaged file's NaN may be a signalling one
        exact = np.ascontiguousarray(points, dtype=np.float64) + 0.0  # -0 becomes 0
    label, first = weld_exact(exact.view(np.int64))
    return exact, label, first
