"""The contour of a field: closed, manifold, outward and free of self-crossings, for any values.

Vertices lie on lattice edges, strictly between the two lattice points even after rounding to float32,
and a cell's triangles come from a table that is proved for every place of the vertices on their edges
(`firstcast.kernels.contour_table`). Cells are convex and meet only in faces, on which both draw the same
segments. So no triangle crosses another, whatever the field.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError, SizeError
from firstcast.fields.near import INSIDE, OUTSIDE, SIDE, NearField, near_from_dense, widened
from firstcast.kernels.contour import count_contour, write_contour
from firstcast.tolerances import TOLERANCES

LEAST_STEPS = 8
"""A pitch must hold at least this many float32 steps at the lattice's far end."""


class Contour(NamedTuple):
    """A closed mesh: points (n, 3) float32 in mm, triangles (m, 3) int32, part_of_triangle (m,) uint16."""

    points: npt.NDArray[np.float32]
    triangles: npt.NDArray[np.int32]
    part_of_triangle: npt.NDArray[np.uint16]


def contour_dense(values: np.ndarray, origin_mm, pitch_mm) -> Contour:
    """The zero contour of a dense array; beyond the array everything counts as outside.

    Parameters
    ----------
    values : (x, y, z) float32
        Any finite field, negative inside.
    origin_mm, pitch_mm : (3,) float, or one float for all axes
        values[i, j, k] sits at origin + pitch · (i, j, k).

    Returns
    -------
    Contour
        `part_of_triangle` is all zero.

    Raises
    ------
    InputError
        The array isn't three-dimensional, holds values that are not finite, or the pitch isn't positive.
    """
    array = np.asarray(values, dtype=np.float32)
    if array.ndim != 3 or not np.isfinite(array).all():
        raise InputError(
            f"shape {array.shape}, {int((~np.isfinite(array)).sum())} values that are not finite",
            where="contour",
            mend="Give a three-dimensional array of finite values.",
        )
    return contour(near_from_dense(array, origin_mm, pitch_mm))


def contour(field: NearField) -> Contour:
    """The zero contour of a near field: points unique, triangles counter-clockwise from outside.

    Values within `TOLERANCES.zero_push_pitches` of zero are pushed away from it first.

    Raises
    ------
    InputError
        The zero set leaves the bricks, or the pitch is too fine for float32 at this distance from zero.
    SizeError
        More vertices or triangles than int32 can number.
    """
    lattice = _lattice(field)
    places, count = field.places, len(field.pool)
    push = np.float32(TOLERANCES.zero_push_pitches * field.pitch_mm.min())
    far = np.float32(TOLERANCES.band_pitches * field.pitch_mm.max())
    codes = np.empty((count, SIDE**3), np.uint16)
    vertex_counts, triangle_counts, open_cells = (np.zeros(count, np.int64) for _ in range(3))
    count_contour(
        places, field.index, field.pool, push, far, codes, vertex_counts, triangle_counts, open_cells
    )
    _check_complete(field, places, open_cells)
    vertex_starts, triangle_starts = _running(vertex_counts), _running(triangle_counts)
    if max(vertex_starts[-1], triangle_starts[-1]) > np.iinfo(np.int32).max:
        raise SizeError(
            f"{triangle_starts[-1]} triangles are more than can be numbered",
            where="contour",
            mend="Take a coarser pitch or cut the piece in two.",
        )
    points = np.empty((vertex_starts[-1], 3), np.float32)
    triangles = np.empty((triangle_starts[-1], 3), np.int32)
    part_of_triangle = np.empty(triangle_starts[-1], np.uint16)
    has_part = len(field.part) > 0
    write_contour(
        places, field.index, field.pool, field.part, has_part, push, far, lattice, codes, vertex_starts,
        triangle_starts, points, triangles, part_of_triangle,
    )  # fmt: skip
    return Contour(points, triangles, part_of_triangle)


def _lattice(field: NearField) -> np.ndarray:
    """(3, 3, longest) float32: per axis the lattice coordinates, the floats above them, the floats below."""
    longest = SIDE * max(field.index.shape) + 1
    steps = np.arange(longest, dtype=np.float64)
    if not (field.pitch_mm > 0).all():
        raise InputError(
            f"pitch {field.pitch_mm.tolist()} mm isn't positive",
            where="contour",
            mend="Give a pitch above zero.",
        )
    at = (field.origin_mm[:, None] + field.pitch_mm[:, None] * steps).astype(np.float32)
    infinity = np.float32(np.inf)
    lattice = np.ascontiguousarray(
        np.stack([at, np.nextafter(at, infinity), np.nextafter(at, -infinity)], axis=1)
    )
    for axis in range(3):
        used = at[axis, : SIDE * field.index.shape[axis] + 1]
        if field.pitch_mm[axis] < LEAST_STEPS * np.spacing(np.abs(used).max()):
            raise InputError(
                f"pitch {field.pitch_mm[axis]:g} mm is finer than float32 can hold at {np.abs(used).max():g} mm",
                where="contour",
                mend="Move the piece nearer to the origin or take a coarser pitch.",
            )
    return lattice


def _check_complete(field: NearField, places: np.ndarray, open_cells: np.ndarray) -> None:
    """Refuse a field whose zero set leaves its bricks: the contour would be open there."""
    solid = np.pad(field.index, 1, constant_values=OUTSIDE) == INSIDE
    bare = np.pad(field.index, 1, constant_values=OUTSIDE) == OUTSIDE
    meeting = widened(solid) & bare
    if open_cells.any() or meeting.any():
        first = places[int(open_cells.argmax())] if open_cells.any() else np.argwhere(meeting)[0] - 1
        at = field.origin_mm + field.pitch_mm * SIDE * first
        raise InputError(
            f"the zero set leaves the bricks in {int(open_cells.sum())} cells and {int(meeting.sum())} bricks",
            where=f"near field near ({at[0]:.2f}, {at[1]:.2f}, {at[2]:.2f})",
            mend="Build the field with a margin of one brick on every side.",
        )


def _running(counts: np.ndarray) -> np.ndarray:
    """(n + 1,) int64: running sums from zero."""
    starts = np.zeros(len(counts) + 1, np.int64)
    np.cumsum(counts, out=starts[1:])
    return starts
