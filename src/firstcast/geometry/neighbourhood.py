"""A part of a mesh: which triangles lie near a box, and the mesh that some triangles make alone."""

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh


def near_box(
    points: npt.NDArray[np.floating],
    triangles: npt.NDArray[np.int32],
    bounds: npt.NDArray[np.float64],
    margin: float = 0.0,
) -> npt.NDArray[np.bool_]:
    """Which triangles (m,) reach into a box (2, 3) grown by `margin`, as far as their own bounds tell."""
    beyond = np.zeros(len(points), dtype=np.uint8)
    for axis in range(3):
        along = points[:, axis]
        beyond |= (along < bounds[0, axis] - margin).view(np.uint8) << np.uint8(2 * axis)
        beyond |= (along > bounds[1, axis] + margin).view(np.uint8) << np.uint8(2 * axis + 1)
    a, b, c = triangles.T
    return (beyond[a] & beyond[b] & beyond[c]) == 0


def with_own_points(
    points: npt.NDArray[np.floating], triangles: npt.NDArray[np.integer]
) -> tuple[Mesh, npt.NDArray[np.int64]]:
    """The mesh of some triangles (m, 3) without the points that none of them uses; and the rows (k,) of those kept."""
    used = np.zeros(len(points), dtype=bool)
    used[triangles.ravel()] = True
    number = np.cumsum(used, dtype=np.int32) - np.int32(1)
    rows = np.flatnonzero(used)
    return Mesh(points[rows], number[triangles]), rows
