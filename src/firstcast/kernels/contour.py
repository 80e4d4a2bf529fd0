"""The contour of bricks: vertices on lattice edges, triangles per cell; every edge owned by one brick.

A voxel owns the three edges that leave it towards +x, +y, +z, and the cell whose lowest corner it is.
So vertices are unique without any welding: bricks are counted, the counts are summed up in order, and
each brick writes its own rows.
"""

import numpy as np
from numba import prange

from firstcast.kernels.compiling import kernel
from firstcast.kernels.contour_table import EDGE_AXIS, EDGE_CORNER, TRIANGLE_COUNT, TRIANGLE_EDGES

SIDE = 8
"""Voxels along a side of a brick."""

OUTSIDE_ROW = -1
"""In the table of bricks: wholly outside. Anything below it is wholly inside."""


@kernel
def row_at(index, i, j, k):
    """Row of the pool of brick (i, j, k); OUTSIDE_ROW beyond the table."""
    if i < 0 or j < 0 or k < 0 or i >= index.shape[0] or j >= index.shape[1] or k >= index.shape[2]:
        return OUTSIDE_ROW
    return index[i, j, k]


@kernel
def gather(place, index, pool, push, far, rows, values):
    """Fill `rows` (2, 2, 2) with the brick and its upper neighbours, `values` (9, 9, 9) with their voxels.

    Values nearer to zero than `push` are pushed away from it; absent bricks count as `far` or `-far`.
    """
    for di in range(2):
        for dj in range(2):
            for dk in range(2):
                row = row_at(index, place[0] + di, place[1] + dj, place[2] + dk)
                rows[di, dj, dk] = row
                constant = far if row == OUTSIDE_ROW else -far
                for i in range(di * SIDE, SIDE + di):
                    for j in range(dj * SIDE, SIDE + dj):
                        for k in range(dk * SIDE, SIDE + dk):
                            if row < 0:
                                values[i, j, k] = constant
                                continue
                            value = pool[row, i - di * SIDE, j - dj * SIDE, k - dk * SIDE]
                            if value < push and value > -push:
                                value = push if value >= 0 else -push
                            values[i, j, k] = value


@kernel
def pattern_at(values, i, j, k):
    """The pattern of inside corners of cell (i, j, k)."""
    pattern = 0
    for corner in range(8):
        if values[i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2 & 1)] < 0:
            pattern |= 1 << corner
    return pattern


@kernel
def _open_cells(place, index, pool):
    """How many cells of absent lower neighbours are crossed by the contour at this brick's low sides."""
    count = 0
    for di in range(-1, 1):
        for dj in range(-1, 1):
            for dk in range(-1, 1):
                if row_at(index, place[0] + di, place[1] + dj, place[2] + dk) >= 0:
                    continue
                for i in range(-1 if di else 0, 0 if di else SIDE):
                    for j in range(-1 if dj else 0, 0 if dj else SIDE):
                        for k in range(-1 if dk else 0, 0 if dk else SIDE):
                            inside = 0
                            for corner in range(8):
                                x, y, z = i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2 & 1)
                                row = row_at(
                                    index, place[0] + (x >> 3), place[1] + (y >> 3), place[2] + (z >> 3)
                                )
                                if row >= 0:
                                    inside += pool[row, x & 7, y & 7, z & 7] < 0
                                else:
                                    inside += row != OUTSIDE_ROW
                            count += 0 < inside < 8
    return count


@kernel(parallel=True)
def count_contour(places, index, pool, push, far, codes, vertex_counts, triangle_counts, open_cells):
    """Count vertices and triangles per brick.

    `codes` (n, 512) uint16 is filled with, per voxel, the rank in its brick of the first vertex it owns
    (upper 13 bits) and which of its three edges hold one (lower 3 bits). `open_cells` (n,) counts
    crossed cells beside the brick that no brick holds.
    """
    for b in prange(places.shape[0]):
        values = np.empty((SIDE + 1, SIDE + 1, SIDE + 1), np.float32)
        rows = np.empty((2, 2, 2), np.int32)
        gather(places[b], index, pool, push, far, rows, values)
        vertices = 0
        triangles = 0
        for i in range(SIDE):
            for j in range(SIDE):
                for k in range(SIDE):
                    inside = values[i, j, k] < 0
                    flags = int((values[i + 1, j, k] < 0) != inside)
                    flags |= int((values[i, j + 1, k] < 0) != inside) << 1
                    flags |= int((values[i, j, k + 1] < 0) != inside) << 2
                    codes[b, i * 64 + j * 8 + k] = vertices << 3 | flags
                    vertices += (flags & 1) + (flags >> 1 & 1) + (flags >> 2)
                    triangles += TRIANGLE_COUNT[pattern_at(values, i, j, k)]
        vertex_counts[b] = vertices
        triangle_counts[b] = triangles
        open_cells[b] = _open_cells(places[b], index, pool)


@kernel
def _write_points(first, place, lattice, values, codes, points):
    """Write the vertices that one brick owns from row `first` on."""
    row = first
    at = np.empty(3, np.int64)
    for i in range(SIDE):
        for j in range(SIDE):
            for k in range(SIDE):
                flags = codes[i * 64 + j * 8 + k] & 7
                if flags == 0:
                    continue
                at[0], at[1], at[2] = place[0] * SIDE + i, place[1] * SIDE + j, place[2] * SIDE + k
                here = np.float64(values[i, j, k])
                for axis in range(3):
                    if not flags >> axis & 1:
                        continue
                    there = np.float64(values[i + (axis == 0), j + (axis == 1), k + (axis == 2)])
                    low = np.float64(lattice[axis, 0, at[axis]])
                    high = np.float64(lattice[axis, 0, at[axis] + 1])
                    cut = np.float32(low + here / (here - there) * (high - low))
                    cut = max(cut, lattice[axis, 1, at[axis]])
                    cut = min(cut, lattice[axis, 2, at[axis] + 1])
                    for other in range(3):
                        points[row, other] = cut if other == axis else lattice[other, 0, at[other]]
                    row += 1


@kernel
def _write_cell(row, i, j, k, values, rows, codes, vertex_starts, part, has_part, triangles, part_out):
    """Write the triangles of cell (i, j, k) from row `row` on; returns the next free row."""
    pattern = pattern_at(values, i, j, k)
    if TRIANGLE_COUNT[pattern] == 0:
        return row
    owner = 0
    if has_part:
        nearest = np.float32(np.inf)
        for corner in range(8):
            x, y, z = i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2 & 1)
            brick = rows[x >> 3, y >> 3, z >> 3]
            if brick >= 0 and abs(values[x, y, z]) < nearest:
                nearest = abs(values[x, y, z])
                owner = part[brick, x & 7, y & 7, z & 7]
    for t in range(TRIANGLE_COUNT[pattern]):
        for c in range(3):
            edge = TRIANGLE_EDGES[pattern, 3 * t + c]
            axis, corner = EDGE_AXIS[edge], EDGE_CORNER[edge]
            x, y, z = i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2 & 1)
            brick = rows[x >> 3, y >> 3, z >> 3]
            code = codes[brick, (x & 7) * 64 + (y & 7) * 8 + (z & 7)]
            rank = code >> 3
            if axis > 0:
                rank += code & 1
            if axis > 1:
                rank += code >> 1 & 1
            triangles[row, c] = vertex_starts[brick] + rank
        part_out[row] = owner
        row += 1
    return row


@kernel(parallel=True)
def write_contour(
    places, index, pool, part, has_part, push, far, lattice, codes, vertex_starts, triangle_starts,
    points, triangles, part_out,
):  # fmt: skip
    """Write points (v, 3) float32, triangles (t, 3) int32 and the part of each triangle (t,) uint16.

    `vertex_starts`, `triangle_starts` (n + 1,) int64 are the running sums of the counts. `lattice`
    (3, 3, longest) float32 holds per axis the lattice coordinates, the float just above each and the
    float just below each: a vertex stays strictly between its lattice points after rounding.
    """
    for b in prange(places.shape[0]):
        if triangle_starts[b + 1] == triangle_starts[b] and vertex_starts[b + 1] == vertex_starts[b]:
            continue
        values = np.empty((SIDE + 1, SIDE + 1, SIDE + 1), np.float32)
        rows = np.empty((2, 2, 2), np.int32)
        gather(places[b], index, pool, push, far, rows, values)
        _write_points(vertex_starts[b], places[b], lattice, values, codes[b], points)
        row = triangle_starts[b]
        for i in range(SIDE):
            for j in range(SIDE):
                for k in range(SIDE):
                    row = _write_cell(
                        row, i, j, k, values, rows, codes, vertex_starts, part, has_part, triangles, part_out
                    )
