"""A mesh and the triangles round each of its points: what lies beside a place is found without going through the mesh."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles, check_points, check_triangles
from firstcast.geometry.mesh import Mesh
from firstcast.kernels import facets as kernels


class Starred(NamedTuple):
    """A mesh as kernels take it, and the triangles round each point v: star[start[v]:start[v + 1]], in rising order.

    Attributes
    ----------
    points : (n, 3) float64
    triangles : (m, 3) int32
    start : (n + 1,) int32
    star : (3m,) int32
    """

    points: Points
    triangles: Triangles
    start: npt.NDArray[np.int32]
    star: npt.NDArray[np.int32]

    def round(self, rows: npt.NDArray[np.integer]) -> npt.NDArray[np.int32]:
        """The triangles that have any of the points `rows` (k,) for a corner, some of them more than once."""
        begins = self.start[rows].astype(np.int64)
        counts = self.start[np.asarray(rows) + 1] - begins
        ends = np.cumsum(counts)
        return self.star[np.arange(ends[-1] if len(ends) else 0) + np.repeat(begins - ends + counts, counts)]

    def beside(self, rows: npt.NDArray[np.integer]) -> npt.NDArray[np.int32]:
        """The points that an edge joins to one of the points `rows` (k,), without these; in rising order."""
        return np.setdiff1d(self.triangles[self.round(rows)], rows).astype(np.int32)


def starred(mesh: Mesh, *, where: str = "mesh") -> Starred:
    """The mesh with the triangles round each point.

    Parameters
    ----------
    where : str
        What an error names.

    Raises
    ------
    InputError
        Points that are not finite, or triangles that name none.
    """
    points = check_points(mesh.points, where=where)
    triangles = check_triangles(mesh.triangles, len(points), where=where)
    start, star = np.zeros(len(points) + 1, np.int32), np.empty(triangles.size, np.int32)
    kernels.list_stars(triangles, start, star)
    return Starred(points, triangles, start, star)
