"""Where a mesh crosses or touches itself."""

import numpy as np
import numpy.typing as npt

from firstcast.arrays import check_triangles
from firstcast.errors import InputError
from firstcast.geometry.boxtree import SEARCHES, build_box_tree
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.threads import side_by_side
from firstcast.kernels.boxtree import BoxTree
from firstcast.kernels.crossings import find_crossings

FINEST_MM = 2.0**-44
"""Grid that all coordinates lie on, so that their differences are exact in float64."""

FARTHEST_MM = 256.0
"""Coordinates stay below this for the same reason."""


def snap_points(points: npt.ArrayLike, *, where: str) -> npt.NDArray[np.float32]:
    """Points (n, 3) as float32 on a grid of 2^-44 mm: what STL stores, and what exact tests need.

    Float32 numbers above 10^-6 mm are on that grid as they are.

    Raises
    ------
    InputError
        Wrong shape, not finite, or 256 mm and more from the origin.
    """
    array = np.ascontiguousarray(points, dtype=np.float32)
    if array.ndim != 2 or array.shape[1] != 3:
        raise InputError(
            f"shape {array.shape} is not (n, 3)", where=where, mend="Give one row x, y, z per place."
        )
    farthest = float(np.abs(array).max(initial=0.0))
    if not farthest < FARTHEST_MM:
        raise InputError(
            f"a coordinate is {farthest:g} mm, but {FARTHEST_MM:g} mm is the limit",
            where=where,
            mend="Move the mesh to the origin, or check its scale and its export.",
        )
    tiny = np.abs(array) < 2.0**-19
    if tiny.any():
        array = array.copy()
        array[tiny] = (np.round(array[tiny].astype(np.float64) / FINEST_MM) * FINEST_MM).astype(np.float32)
    return array


def crossing_rows(
    points: npt.NDArray[np.float32],
    triangles: npt.NDArray[np.int32],
    chosen: npt.NDArray[np.int32],
    tree: BoxTree,
    limit: int,
) -> npt.NDArray[np.int32]:
    """Up to `limit` pairs (k, 2) of rows that cross: one row among `chosen`, the other in the tree.

    Where all triangles are chosen each pair comes once, the lower row first.
    """
    count = np.empty(len(chosen), np.int32)
    later_only = len(chosen) == len(triangles)
    none, nowhere = np.empty((0, 2), np.int32), np.zeros(len(chosen), np.int64)

    def find(rows, count, start, pairs):
        side_by_side(
            lambda a, b: find_crossings(
                points, triangles, rows[a:b], later_only, tree, count[a:b], start[a:b], pairs
            ),
            len(rows),
            SEARCHES,
        )

    find(chosen, count, nowhere, none)
    crossing = np.flatnonzero(count)
    if not len(crossing):
        return none
    again = count[crossing]
    start = np.concatenate([[0], np.cumsum(again.astype(np.int64))])
    pairs = np.empty((min(limit, int(start[-1])), 2), np.int32)
    find(chosen[crossing], again, start[:-1], pairs)
    return pairs


def crossing_pairs(mesh: Mesh, *, limit: int = 1000) -> npt.NDArray[np.int32]:
    """Pairs of triangles that meet elsewhere than in the corners and edges they share.

    Returns
    -------
    (k, 2) int32, the lower row first in each pair, sorted; at most `limit` of them.

    Raises
    ------
    InputError
        Points 256 mm and more from the origin, or triangles without points.

    Notes
    -----
    Points are taken as float32, which is what STL stores. Touching counts as crossing. All side tests are exact.
    """
    points = snap_points(mesh.points, where="crossings")
    triangles = check_triangles(mesh.triangles, len(points), where="crossings")
    if not len(triangles):
        return np.empty((0, 2), np.int32)
    rows = np.arange(len(triangles), dtype=np.int32)
    pairs = crossing_rows(points, triangles, rows, build_box_tree(points, triangles, rows), limit)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
