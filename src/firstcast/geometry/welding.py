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
    exact = np.ascontiguousarray(points, dtype=np.float64) + 0.0  # -0 becomes 0
    label, first = weld_exact(exact.view(np.int64))
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
    places, label = weld_equal(points)
    leader = np.arange(len(places), dtype=np.int32)
    if tolerance > 0 and len(places):
        leader = weld_near(np.ascontiguousarray(places - places.min(axis=0)), float(tolerance))
    kept = leader == np.arange(len(places))
    number = np.cumsum(kept, dtype=np.int32) - 1
    row = number[leader[label]]
    joined = len(points) - int(kept.sum())
    place = None
    if joined:
        _, first = np.unique(row, return_index=True)
        lone = np.ones(len(points), dtype=bool)
        lone[first] = False
        place = np.asarray(points[int(np.flatnonzero(lone)[0])], dtype=np.float64)
    return Welded(places[kept], np.ascontiguousarray(row[triangles]), joined, place)
