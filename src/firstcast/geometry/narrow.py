"""Places narrower than a limit, gathered into regions that a person can be shown: the gravest first."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh

LEAST_AREA_MM2 = 0.01
"""A region with less surface than this, a square of 0.1 mm on both sides together, is a grain that nobody would miss."""


class NarrowRegion(NamedTuple):
    """A run of places narrower than the limit, both sides of the wall or gap together.

    Attributes
    ----------
    least_mm, middle_mm : float
        The least reading, and the one that half of the region's surface lies below.
    area_mm2 : float
        Surface of the places, both sides.
    place_mm : (float, float, float)
        Where it is narrowest.
    part : int
        The part of that place, 0 if no parts were given.
    vertices : (k,) int64
        The places themselves, in rising order.
    """

    least_mm: float
    middle_mm: float
    area_mm2: float
    place_mm: tuple[float, float, float]
    part: int
    vertices: npt.NDArray[np.int64]


def narrow_regions(
    mesh: Mesh,
    width_mm: npt.NDArray[np.float32],
    opposite: npt.NDArray[np.int32],
    *,
    limit_mm: float,
    part_of_triangle: npt.NDArray[np.integer] | None = None,
    least_area_mm2: float = LEAST_AREA_MM2,
) -> list[NarrowRegion]:
    """Regions of vertices whose reading is below `limit_mm`, by their least reading, then the larger first.

    Parameters
    ----------
    width_mm : (n,) float32
        `Widths.wall_mm` or `Widths.gap_mm` of `firstcast.geometry.walls`.
    opposite : (n,) int32
        The triangle opposite each vertex, -1 if none: the same record's `wall_opposite` or `gap_opposite`.
    limit_mm : float
    part_of_triangle : (m,) integers, optional
    least_area_mm2 : float
        Regions with less surface are left out.

    Notes
    -----
    Two places belong together if an edge joins them, or if one lies at a corner of the triangle opposite the other.
    A vertex stands for a third of the triangles round it.
    """
    points, triangles = mesh.points, mesh.triangles
    _check_lengths(len(width_mm), len(opposite), len(points))
    narrow = width_mm < limit_mm
    rows = np.flatnonzero(narrow)
    if not len(rows):
        return []
    label = _labels(triangles, narrow, rows, opposite)
    area = _vertex_areas(mesh, narrow)[rows]
    part_of_vertex = _vertex_parts(triangles, part_of_triangle, len(points))
    order = np.lexsort((rows, width_mm[rows], label))
    starts = np.flatnonzero(np.diff(label[order], prepend=-1))
    found = []
    for mine in np.split(order, starts[1:]):
        whole = float(area[mine].sum())
        if whole >= least_area_mm2:
            middle = mine[np.searchsorted(np.cumsum(area[mine]), whole / 2.0)]
            narrowest = rows[mine[0]]
            least, half = float(width_mm[narrowest]), float(width_mm[rows[middle]])
            x, y, z = (float(c) for c in points[narrowest])
            part = int(part_of_vertex[narrowest])
            found.append(NarrowRegion(least, half, whole, (x, y, z), part, np.sort(rows[mine])))
    return sorted(found, key=lambda region: (region.least_mm, -region.area_mm2, region.place_mm))


def _check_lengths(widths: int, opposites: int, points: int) -> None:
    if widths != points or opposites != points:
        raise InputError(
            f"{widths} widths and {opposites} opposites for {points} vertices",
            where="narrow regions",
            mend="Give the readings of the same mesh.",
        )


def _labels(triangles, narrow, rows, opposite) -> npt.NDArray[np.int32]:
    """Which region each of the narrow vertices `rows` belongs to."""
    from scipy.sparse import coo_matrix  # slow to import: a run that makes nothing again does without it
    from scipy.sparse.csgraph import connected_components

    number = np.full(len(narrow), -1, np.int64)
    number[rows] = np.arange(len(rows))
    near = triangles[narrow[triangles].any(axis=1)]
    along = np.concatenate([near[:, [0, 1]], near[:, [1, 2]], near[:, [2, 0]]])
    faced = rows[opposite[rows] >= 0]
    across = np.stack([np.repeat(faced, 3), triangles[opposite[faced]].ravel()], axis=1)
    pairs = number[np.concatenate([along, across])]
    pairs = pairs[(pairs >= 0).all(axis=1)]
    graph = coo_matrix((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(rows),) * 2)
    return connected_components(graph, directed=False)[1]


def _vertex_parts(triangles, part_of_triangle, count: int) -> npt.NDArray[np.int64]:
    """(n,) int64: the part of the first triangle round each vertex, 0 if no parts are given."""
    part_of_vertex = np.zeros(count, np.int64)
    if part_of_triangle is not None:
        part_of_vertex[triangles[::-1].ravel()] = np.repeat(np.asarray(part_of_triangle)[::-1], 3)
    return part_of_vertex


def _vertex_areas(mesh: Mesh, wanted: npt.NDArray[np.bool_]) -> npt.NDArray[np.float64]:
    """(n,) float64: a third of the area of the triangles round each vertex, right where `wanted`."""
    near = mesh.triangles[wanted[mesh.triangles].any(axis=1)]
    a, b, c = np.moveaxis(np.asarray(mesh.points, np.float64)[near], 1, 0)
    third = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 6.0
    areas = np.zeros(len(mesh.points))
    np.add.at(areas, near.ravel(), np.repeat(third, 3))
    return areas
