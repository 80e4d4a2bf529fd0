"""A mesh in fewer triangles where some coarseness does no harm: points of each cell of a grid drawn together."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh


class Thinned(NamedTuple):
    """A mesh in fewer triangles; which of the given triangles each was, and the side of the cells, mm."""

    mesh: Mesh
    kept: npt.NDArray[np.intp]
    cell_mm: float


def thinned(mesh: Mesh, most_triangles: int) -> Thinned:
    """The mesh in about `most_triangles`; as it is, its cells of no size, where it has no more than that.

    Points that share a cell of a grid become one at their mean. It stays closed in the sense that what enters a line
    leaves it again, so volumes and sections add up, but sheets nearer together than a cell may fall into one.
    """
    if len(mesh.triangles) <= most_triangles:
        return Thinned(mesh, np.arange(len(mesh.triangles)), 0.0)
    points = np.asarray(mesh.points, np.float64)
    low, high = mesh.bounds
    a, b, c = (points[mesh.triangles[:, k]] for k in range(3))
    area = 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    cell = float(np.sqrt(3.0 * area / most_triangles))
    while True:
        counts = np.ceil((high - low) / cell).astype(np.int64) + 1
        key = np.floor((points - low) / cell).astype(np.int64) @ [counts[1] * counts[2], counts[2], 1]
        _, number, size = np.unique(key, return_inverse=True, return_counts=True)
        rows = number.astype(np.int32)[mesh.triangles]
        kept = (rows[:, 0] != rows[:, 1]) & (rows[:, 1] != rows[:, 2]) & (rows[:, 2] != rows[:, 0])
        if np.count_nonzero(kept) <= 1.1 * most_triangles:
            break
        cell *= max(1.05, float(np.sqrt(np.count_nonzero(kept) / most_triangles)))
    means = np.column_stack(
        [np.bincount(number, weights=points[:, k], minlength=len(size)) / size for k in range(3)]
    )
    return Thinned(Mesh(means, np.ascontiguousarray(rows[kept])), np.flatnonzero(kept), cell)
