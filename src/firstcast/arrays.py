"""Array aliases and the only shape and dtype checkers.

Points     (n, 3) float64   places, mm unless said otherwise
Triangles  (m, 3) int32     rows of point indices, counter-clockwise from outside
Corners    (m, 3, 3) float64  triangles as coordinates: [triangle, corner, axis]
"""

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError

Points = npt.NDArray[np.float64]
Triangles = npt.NDArray[np.int32]
Corners = npt.NDArray[np.float64]
Field = npt.NDArray[np.float32]


def check_points(points: npt.ArrayLike, *, where: str = "points") -> Points:
    """Places as a finite, C-ordered (n, 3) float64 array.

    Raises
    ------
    InputError
        Wrong shape, or a value that is not finite.
    """
    array = np.ascontiguousarray(points, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != 3:
        raise InputError(
            f"shape {array.shape} is not (n, 3)", where=where, mend="Give one row x, y, z per place."
        )
    bad = ~np.isfinite(array).all(axis=1)
    if bad.any():
        first = int(np.flatnonzero(bad)[0])
        raise InputError(
            f"{int(bad.sum())} of {len(array)} places are not finite, the first in row {first}",
            where=where,
            mend="Export the mesh again.",
        )
    return array


def check_triangles(triangles: npt.ArrayLike, point_count: int, *, where: str = "triangles") -> Triangles:
    """Triangles as a C-ordered (m, 3) int32 array whose indices all name a point.

    Raises
    ------
    InputError
        Wrong shape, or an index outside 0 .. point_count - 1.
    """
    array = np.asarray(triangles)
    if array.ndim != 2 or array.shape[1] != 3:
        raise InputError(
            f"shape {array.shape} is not (m, 3)",
            where=where,
            mend="Give one row of three indices per triangle.",
        )
    if len(array) and (array.min() < 0 or array.max() >= point_count):
        raise InputError(
            f"indices run from {array.min()} to {array.max()}, but there are {point_count} points",
            where=where,
            mend="The file is damaged: export it again.",
        )
    return np.ascontiguousarray(array, dtype=np.int32)
