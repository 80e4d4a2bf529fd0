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
from firstcast.fields.blocks import run_blocks
from firstcast.fields.near import INSIDE, OUTSIDE, SIDE, NearField, near_from_dense, widened
from firstcast.fields.union import Columns, Lattice, Occupancy
from firstcast.kernels.bricks import signs_of_pool
from firstcast.kernels.contour import (
    count_contour,
    write_points_by_crossing,
    write_points_by_value,
    write_triangles,
)
from firstcast.tolerances import TOLERANCES

BLOCK = 1024
"""Bricks that one thread takes at a time."""

LEAST_STEPS = 8
"""A pitch must hold at least this many float32 steps at the lattice's far end."""


class Contour(NamedTuple):
    """A closed mesh: points (n, 3) float32 in mm, triangles (m, 3) int32, part_of_triangle (m,) uint16."""

    points: npt.NDArray[np.float32]
    triangles: npt.NDArray[np.int32]
    part_of_triangle: npt.NDArray[np.uint16]


class Traced(NamedTuple):
    """Where each brick's vertices and triangles go: see `firstcast.kernels.contour.count_contour`."""

    flags: npt.NDArray[np.uint8]
    ranks: npt.NDArray[np.uint16]
    strip_triangles: npt.NDArray[np.uint16]
    vertex_starts: npt.NDArray[np.int64]
    triangle_starts: npt.NDArray[np.int64]


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
    return trace_field(field)[0]


def trace_field(field: NearField) -> tuple[Contour, Occupancy, Traced]:
    """What `contour` gives, with the signs it was drawn from and the numbering of its triangles."""
    lattice = lattice_floats(field.origin_mm, field.pitch_mm, field.index.shape)
    places, count = field.places, len(field.pool)
    bits = np.empty((count, SIDE), np.int64)
    run_blocks(signs_of_pool, count, field.pool, bits, block=BLOCK)
    traced = trace(field.origin_mm, field.pitch_mm, field.index, places, bits)
    points, part_of_vertex = _vertices(traced)
    push = np.float32(TOLERANCES.zero_push_pitches * field.pitch_mm.min())
    far = np.float32(field.far_mm)
    run_blocks(
        write_points_by_value, count, places, field.index, field.pool, field.part, len(field.part) > 0, push, far,
        lattice, traced.flags, traced.vertex_starts, points, part_of_vertex, block=BLOCK,
    )  # fmt: skip
    found = surface_of(traced, field.index, places, bits, points, part_of_vertex)
    frame = Lattice(field.origin_mm, field.pitch_mm, field.index.shape)
    return found, Occupancy(frame, field.index, places, bits, 0), traced


def contour_union(occupancy: Occupancy, columns: Columns, part: np.ndarray) -> tuple[Contour, Traced]:
    """The surface of a union, its vertices where the lattice edges pass through the shells.

    `part` (m,) uint16 is the part of each input triangle. Raises as `contour` does.
    """
    lattice = lattice_floats(*occupancy.lattice)
    places, bits = occupancy.places, occupancy.bits
    traced = trace(occupancy.lattice.origin_mm, occupancy.lattice.pitch_mm, occupancy.index, places, bits)
    points, part_of_vertex = _vertices(traced)
    run_blocks(
        write_points_by_crossing, len(places), places, bits, columns.size, columns.bases, *columns[2:6], part,
        TOLERANCES.zero_push_pitches, lattice, traced.flags, traced.vertex_starts, points, part_of_vertex,
        block=BLOCK,
    )  # fmt: skip
    return surface_of(traced, occupancy.index, places, bits, points, part_of_vertex), traced


def trace(origin_mm, pitch_mm, index, places, bits) -> Traced:
    """Number the vertices and triangles of the surface between inside and outside bits.

    Raises
    ------
    InputError
        The surface leaves the bricks.
    SizeError
        More vertices or triangles than int32 can number.
    """
    count = len(places)
    flags, ranks = np.empty((count, 3, SIDE**2), np.uint8), np.empty((count, SIDE**2), np.uint16)
    strip_triangles = np.empty((count, SIDE**2 + 1), np.uint16)
    vertex_counts, triangle_counts, open_cells = (np.zeros(count, np.int64) for _ in range(3))
    run_blocks(
        count_contour, count, places, index, bits, flags, ranks, strip_triangles, vertex_counts, triangle_counts,
        open_cells, block=BLOCK,
    )  # fmt: skip
    _check_complete(origin_mm, pitch_mm, index, places, open_cells)
    vertex_starts, triangle_starts = running(vertex_counts), running(triangle_counts)
    if max(vertex_starts[-1], triangle_starts[-1]) > np.iinfo(np.int32).max:
        raise SizeError(
            f"{triangle_starts[-1]} triangles are more than can be numbered",
            where="contour",
            mend="Take a coarser pitch or cut the piece in two.",
        )
    return Traced(flags, ranks, strip_triangles, vertex_starts, triangle_starts)


def _vertices(traced: Traced) -> tuple[np.ndarray, np.ndarray]:
    count = int(traced.vertex_starts[-1])
    return np.empty((count, 3), np.float32), np.empty(count, np.uint16)


def surface_of(traced: Traced, index, places, bits, points, part_of_vertex) -> Contour:
    """The contour with its triangles, from vertices as `trace` numbered them."""
    count = int(traced.triangle_starts[-1])
    triangles, part_of_triangle = np.empty((count, 3), np.int32), np.empty(count, np.uint16)
    run_blocks(
        write_triangles, len(places), places, index, bits, traced.flags, traced.ranks, traced.vertex_starts,
        traced.triangle_starts, part_of_vertex, triangles, part_of_triangle, block=BLOCK,
    )  # fmt: skip
    return Contour(points, triangles, part_of_triangle)


def lattice_floats(origin_mm, pitch_mm, bricks) -> np.ndarray:
    """(3, 3, longest) float32: per axis the lattice coordinates, the floats above them, the floats below."""
    longest = SIDE * max(bricks) + 1
    steps = np.arange(longest, dtype=np.float64)
    if not (pitch_mm > 0).all():
        raise InputError(
            f"pitch {pitch_mm.tolist()} mm isn't positive",
            where="contour",
            mend="Give a pitch above zero.",
        )
    at = (origin_mm[:, None] + pitch_mm[:, None] * steps).astype(np.float32)
    infinity = np.float32(np.inf)
    lattice = np.ascontiguousarray(
        np.stack([at, np.nextafter(at, infinity), np.nextafter(at, -infinity)], axis=1)
    )
    for axis in range(3):
        used = at[axis, : SIDE * bricks[axis] + 1]
        if pitch_mm[axis] < LEAST_STEPS * np.spacing(np.abs(used).max()):
            raise InputError(
                f"pitch {pitch_mm[axis]:g} mm is finer than float32 can hold at {np.abs(used).max():g} mm",
                where="contour",
                mend="Move the piece nearer to the origin or take a coarser pitch.",
            )
    return lattice


def _check_complete(origin_mm, pitch_mm, index, places, open_cells) -> None:
    """Refuse a field whose zero set leaves its bricks: the contour would be open there."""
    solid = np.pad(index, 1, constant_values=OUTSIDE) == INSIDE
    bare = np.pad(index, 1, constant_values=OUTSIDE) == OUTSIDE
    meeting = widened(solid) & bare
    if open_cells.any() or meeting.any():
        first = places[int(open_cells.argmax())] if open_cells.any() else np.argwhere(meeting)[0] - 1
        at = origin_mm + pitch_mm * SIDE * first
        raise InputError(
            f"the zero set leaves the bricks in {int(open_cells.sum())} cells and {int(meeting.sum())} bricks",
            where=f"near field near ({at[0]:.2f}, {at[1]:.2f}, {at[2]:.2f})",
            mend="Build the field with a margin of one brick on every side.",
        )


def running(counts: np.ndarray) -> np.ndarray:
    """(n + 1,) int64: running sums from zero."""
    starts = np.zeros(len(counts) + 1, np.int64)
    np.cumsum(counts, out=starts[1:])
    return starts
