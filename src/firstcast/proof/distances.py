"""Distances and windings of many points, and points spread evenly over a surface."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof import _certify, _columns, _creases, _nearest
from firstcast.proof.threads import over_blocks
from firstcast.proof.tree import Tree

Points = npt.NDArray[np.float64]
SHARP_COSINE = 0.9
"""Normals that differ by more than 26 degrees within reach make a crease."""


class Nearest(NamedTuple):
    """Distance (n,) to the nearest triangle and its place (n,) in the tree."""

    distance: npt.NDArray[np.float64]
    triangle: npt.NDArray[np.int64]


class Certified(NamedTuple):
    """State (m,) uint8: 0 within, 1 open, 2 beyond; and the bound (m,) that was proved, in mm."""

    state: npt.NDArray[np.uint8]
    bound: npt.NDArray[np.float64]


def nearest(tree: Tree, points: Points) -> Nearest:
    """Exact distance from each point (n, 3) to the tree's triangles. Fast where rows are neighbours."""
    points = np.ascontiguousarray(points, dtype=np.float64)
    distance = np.empty(len(points))
    triangle = np.empty(len(points), dtype=np.int64)
    over_blocks(
        _nearest.nearest_triangles,
        len(points),
        points,
        tree.corners,
        tree.boxes,
        tree.leaves,
        distance,
        triangle,
    )
    return Nearest(distance, triangle)


def windings(tree: Tree, points: Points) -> npt.NDArray[np.int32]:
    """(n,) how often the tree's closed triangles wrap each point; points on the surface may fall either way."""
    points = np.ascontiguousarray(points, dtype=np.float64)
    winding = np.empty(len(points), dtype=np.int32)
    low, high = tree.boxes[0, :3].min(axis=1), tree.boxes[0, 3:].max(axis=1)
    over_blocks(
        _columns.windings,
        len(points),
        points,
        np.concatenate([high - points, points - low], axis=1).argmin(axis=1),
        tree.corners,
        tree.boxes,
        tree.leaves,
        winding,
        block=2048,
    )
    return winding


def at_creases(tree: Tree, points: Points, reaches: Points, found: Nearest) -> npt.NDArray[np.bool_]:
    """(n,) whether the tree's surface turns by more than 26 degrees within `reaches` (n,) of each point."""
    cosine = np.empty(len(points))
    over_blocks(
        _creases.sharpest_turns,
        len(points),
        np.ascontiguousarray(points, dtype=np.float64),
        np.ascontiguousarray(reaches, dtype=np.float64),
        found.triangle,
        tree.corners,
        tree.boxes,
        tree.leaves,
        cosine,
        block=1024,
    )
    return cosine < SHARP_COSINE


def certify(tree: Tree, corners: npt.NDArray[np.float64], tolerance_mm: float) -> Certified:
    """Whether whole triangles (m, 3, 3) lie within a tolerance of the tree's, by bound and not by samples."""
    corners = np.ascontiguousarray(corners, dtype=np.float64)
    state = np.zeros(len(corners), dtype=np.uint8)
    bound = np.empty(len(corners))
    over_blocks(
        _certify.certify,
        len(corners),
        corners,
        float(tolerance_mm),
        tree.corners,
        tree.boxes,
        tree.leaves,
        state,
        bound,
        block=512,
    )
    return Certified(state, bound)


def areas(corners: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """(m,) area of each triangle (m, 3, 3)."""
    a, b, c = (np.ascontiguousarray(corners[:, k].T) for k in range(3))
    u, v = b - a, c - a
    x, y, z = u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]
    return np.sqrt(x * x + y * y + z * z) / 2.0


def spread_points(
    corners: npt.NDArray[np.float64], count: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """`count` points evenly by area over triangles (m, 3, 3), and the triangle of each. No randomness.

    Equal steps along the summed area choose the triangle; a rank-one lattice of the plane (M. Roberts'
    R2 sequence: powers of the inverse of the root of x³ = x + 1) chooses the place in it.
    """
    summed = np.cumsum(areas(corners))
    if not len(corners) or summed[-1] <= 0.0:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    steps = (np.arange(count) + 0.5) * (summed[-1] / count)
    rows = np.minimum(np.searchsorted(summed, steps, side="right"), len(corners) - 1)
    step = 1.0 / 1.3247179572447460
    u = (np.arange(count) * step) % 1.0
    v = (np.arange(count) * (step * step)) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    a, b, c = corners[rows, 0], corners[rows, 1], corners[rows, 2]
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), rows
