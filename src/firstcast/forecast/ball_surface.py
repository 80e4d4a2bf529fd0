"""A mesh made ready for a ball to roll on: triangles and vertices sorted into cells, normals, what bulges."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.blocks import run_blocks
from firstcast.kernels.ball import Stars
from firstcast.kernels.ball_grid import SIDE, Cells, find_cells, mark_bricks, number_bricks, sort_by_cell
from firstcast.kernels.ball_surface import (
    Surface,
    bounds_of,
    bulges_of,
    middles_of,
    sum_normals,
    take_triangles,
)
from firstcast.kernels.facets import list_stars

BRICKS = 1 << 24
"""Most entries of a table of bricks: 64 MB."""

CELL = 0.8
"""Side of a cell of triangles, as a share of the radius; no shorter than an edge."""

BLOCK = 1 << 12


class Ground(NamedTuple):
    """What a ball rolls on.

    Attributes
    ----------
    surface : Surface
        Its points are those that were given, sorted by their cells, and the new ones where long triangles were cut.
    normals : (n, 3) float64
        Of the surface's points.
    order : (n,) int32
        Which of the given points each is; new ones have numbers from the count of those given.
    """

    surface: Surface
    normals: npt.NDArray[np.float64]
    order: npt.NDArray[np.int32]


def ground_of(points: Points, triangles: Triangles, radius_mm: float, reach_mm: float) -> Ground:
    """A mesh made ready for a ball of some radius.

    Long triangles are cut up first, so that no cell holds what is far from it and balls stand on them too.

    Parameters
    ----------
    points, triangles : (n, 3) float64, (m, 3) int32
        mm; triangles wound so that the ball rolls outside.
    """
    normals = _normals(points, triangles)
    middles, edges = _middles(points, triangles)
    usual = float(np.median(edges))
    longest = max(2.0 * radius_mm, min(3.0 * usual, reach_mm))
    curved, whole = len(triangles), edges <= longest
    if not whole.all():
        points, normals, pieces = _cut(points, normals, triangles[~whole], longest)
        triangles = np.concatenate([triangles[whole], pieces])
        curved = len(triangles) - len(pieces)
        middles, _ = _middles(points, triangles)
    del edges, whole
    size = max(CELL * radius_mm, usual)
    cells = _cells(middles, size)
    del middles
    order = _cells(points, cells.size).order
    points, normals = points[order], normals[order]
    triangles = _renumbered(triangles, cells.order, order)
    bulges = np.empty((len(triangles), 3), np.float32)
    run_blocks(
        bulges_of, len(triangles), points, triangles, normals, cells.order, curved, bulges, block=BLOCK
    )
    bounds = np.empty((8, len(triangles)), np.float32)
    run_blocks(bounds_of, len(triangles), points, triangles, bulges, cells.low, bounds, block=BLOCK)
    return Ground(Surface(cells, points, triangles, bounds, bulges, _reach(bounds)), normals, order)


def stars_of(triangles: Triangles, count: int) -> Stars:
    """The triangles about each of `count` vertices."""
    stars = Stars(np.zeros(count + 1, np.int32), np.empty(triangles.size, np.int32))
    list_stars(triangles, *stars)
    return stars


def _reach(bounds: npt.NDArray[np.float32]) -> float:
    """How far a triangle comes out from its middle at most, what it bulges counted."""
    return float(bounds[3].max()) + float(bounds[7].max())


def _normals(points: Points, triangles: Triangles) -> Points:
    """(n, 3) float64 unit vectors, weighted by the corners' angles."""
    normals = np.empty((len(points), 3))
    run_blocks(
        sum_normals, len(points), points, triangles, *stars_of(triangles, len(points)), normals, block=BLOCK
    )
    return normals


def _renumbered(triangles: Triangles, rows: npt.NDArray[np.int32], order: npt.NDArray[np.int32]) -> Triangles:
    """The triangles in the order of `rows`, over points in the order of `order`."""
    rank = np.empty(len(order), np.int32)
    rank[order] = np.arange(len(order), dtype=np.int32)
    found = np.empty((len(triangles), 3), np.int32)
    run_blocks(take_triangles, len(triangles), rows, rank, triangles, found, block=BLOCK)
    return found


def _middles(points: Points, triangles: Triangles) -> tuple[Points, npt.NDArray[np.float64]]:
    middles, longest = np.empty((len(triangles), 3)), np.empty(len(triangles))
    run_blocks(middles_of, len(triangles), points, triangles, middles, longest, block=BLOCK)
    return middles, longest


def _cut(points, normals, triangles: Triangles, longest: float) -> tuple[Points, Points, Triangles]:
    """Points, normals and triangles, halved across their longest edges until none is longer.

    New points have the normal of the triangle that they lie on, and are shared by its pieces alone.
    """
    done = []
    while len(triangles):
        corners = points[triangles]
        edges = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        long = edges.max(axis=1) > longest
        done.append(triangles[~long])
        triangles, edges = triangles[long], edges[long]
        turn = (edges.argmax(axis=1)[:, None] + np.arange(3)) % 3
        a, b, c = np.take_along_axis(triangles, turn, axis=1).T
        middle = np.arange(len(a), dtype=np.int32) + np.int32(len(points))
        facing = np.cross(points[b] - points[a], points[c] - points[a])
        facing /= np.maximum(np.linalg.norm(facing, axis=1, keepdims=True), 1e-300)
        points = np.concatenate([points, 0.5 * (points[a] + points[b])])
        normals = np.concatenate([normals, facing])
        triangles = np.concatenate([np.c_[a, middle, c], np.c_[middle, b, c]]).astype(np.int32)
    return points, normals, np.concatenate(done)


def _cells(places: Points, least_mm: float) -> Cells:
    low, high = places.min(axis=0), places.max(axis=0)
    size = least_mm
    while True:
        shape = np.floor((high - low) / (SIDE * size)).astype(np.int64) + 1
        if shape.astype(float).prod() <= BRICKS:
            break
        size *= 1.25
    index = np.full(tuple(shape + 1), -1, np.int32)
    run_blocks(mark_bricks, len(places), places, low, size, index, block=BLOCK)
    starts = np.zeros(SIDE**3 * number_bricks(index) + 1, np.int64)
    cells, order = np.empty(len(places), np.int64), np.empty(len(places), np.int32)
    run_blocks(find_cells, len(places), places, low, size, index, cells, block=BLOCK)
    sort_by_cell(cells, starts, order)
    return Cells(low, size, index, starts, order)
