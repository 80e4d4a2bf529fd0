"""The contour of bricks: vertices on lattice edges, triangles per cell; every edge owned by one brick.

A voxel owns the three edges that leave it towards +x, +y, +z, and the cell whose lowest corner it is. So
vertices are unique without any welding: bricks are counted, the counts are summed up in order, and each
brick writes its own rows. Within a brick vertices are ordered by strip (i, j), then axis, then k.
"""

import numpy as np

from firstcast.kernels.bricks import (
    BIT_COUNT,
    INSIDE,
    SIDE,
    crossed_cells,
    gather_strips,
    lattice_point,
    neighbours,
    pattern_at,
    row_at,
)
from firstcast.kernels.columns import crossing_between
from firstcast.kernels.compiling import kernel
from firstcast.kernels.contour_table import EDGE_AXIS, EDGE_CORNER, TRIANGLE_COUNT, TRIANGLE_EDGES


@kernel
def _open_cells(rows, strips):
    """How many crossed cells at a brick's low sides belong to absent bricks: there the contour is open."""
    count = 0
    for i in range(-1, SIDE):
        for j in range(-1, SIDE):
            crossed = crossed_cells(strips, i, j)
            if crossed == 0:
                continue
            di, dj = (i >> 3) + 1, (j >> 3) + 1
            if rows[di, dj, 1] < 0:
                count += BIT_COUNT[crossed >> 1]
            if rows[di, dj, 0] < 0:
                count += crossed & 1
    return count


@kernel
def count_contour(
    start, stop, places, index, bits, flags, ranks, strip_triangles, vertex_counts, triangle_counts, open_cells
):  # fmt: skip
    """Count vertices and triangles of bricks start .. stop.

    Per strip s = 8 i + j: flags (n, 3, 64) uint8 says which voxels own a vertex along each axis, ranks
    (n, 64) uint16 is the rank of its first vertex, strip_triangles (n, 65) uint16 that of its first triangle.
    """
    rows = np.empty((3, 3, 3), np.int32)
    strips = np.empty((SIDE + 2, SIDE + 2), np.int32)
    for b in range(start, stop):
        neighbours(places[b], index, rows)
        gather_strips(rows, bits, strips)
        vertices, triangles = 0, 0
        for i in range(SIDE):
            for j in range(SIDE):
                s = 8 * i + j
                here = strips[i + 1, j + 1]
                along_x = ((here ^ strips[i + 2, j + 1]) >> 1) & 255
                along_y = ((here ^ strips[i + 1, j + 2]) >> 1) & 255
                along_z = ((here ^ here >> 1) >> 1) & 255
                flags[b, 0, s], flags[b, 1, s], flags[b, 2, s] = along_x, along_y, along_z
                ranks[b, s] = vertices
                strip_triangles[b, s] = triangles
                vertices += BIT_COUNT[along_x] + BIT_COUNT[along_y] + BIT_COUNT[along_z]
                crossed = crossed_cells(strips, i, j) >> 1
                if crossed:
                    for k in range(SIDE):
                        if crossed >> k & 1:
                            triangles += TRIANGLE_COUNT[pattern_at(strips, i, j, k)]
        strip_triangles[b, SIDE * SIDE] = triangles
        vertex_counts[b], triangle_counts[b] = vertices, triangles
        open_cells[b] = _open_cells(rows, strips)


@kernel
def vertex_number(brick, strip, k, axis, flags, ranks, vertex_starts):
    """Number of the vertex that voxel k of a strip owns along an axis."""
    number = vertex_starts[brick] + ranks[brick, strip]
    if axis > 0:
        number += BIT_COUNT[flags[brick, 0, strip]]
    if axis > 1:
        number += BIT_COUNT[flags[brick, 1, strip]]
    return number + BIT_COUNT[flags[brick, axis, strip] & ((1 << k) - 1)]


@kernel
def write_triangles(
    start, stop, places, index, bits, flags, ranks, vertex_starts, triangle_starts, part_of_vertex,
    triangles, part_of_triangle,
):  # fmt: skip
    """Write the triangles of bricks start .. stop; a triangle's part is that of two of its vertices."""
    rows = np.empty((3, 3, 3), np.int32)
    strips = np.empty((SIDE + 2, SIDE + 2), np.int32)
    for b in range(start, stop):
        row = triangle_starts[b]
        if triangle_starts[b + 1] == row:
            continue
        neighbours(places[b], index, rows)
        gather_strips(rows, bits, strips)
        for strip in range(SIDE * SIDE):
            i, j = strip >> 3, strip & 7
            crossed = crossed_cells(strips, i, j) >> 1
            if crossed == 0:
                continue
            for k in range(SIDE):
                if not crossed >> k & 1:
                    continue
                pattern = pattern_at(strips, i, j, k)
                for t in range(TRIANGLE_COUNT[pattern]):
                    for c in range(3):
                        edge = TRIANGLE_EDGES[pattern, 3 * t + c]
                        corner = EDGE_CORNER[edge]
                        x, y, z = i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2 & 1)
                        brick = rows[(x >> 3) + 1, (y >> 3) + 1, (z >> 3) + 1]
                        triangles[row, c] = vertex_number(
                            brick, 8 * (x & 7) + (y & 7), z & 7, EDGE_AXIS[edge], flags, ranks, vertex_starts
                        )
                    first = part_of_vertex[triangles[row, 0]]
                    second, third = part_of_vertex[triangles[row, 1]], part_of_vertex[triangles[row, 2]]
                    part_of_triangle[row] = second if second == third else first
                    row += 1


@kernel
def write_point(row, axis, at, share, lattice, points):
    """Write a vertex at `share` of the way from lattice point `at` to the next along `axis`."""
    low, high = np.float64(lattice[axis, 0, at[axis]]), np.float64(lattice[axis, 0, at[axis] + 1])
    cut = np.float32(low + share * (high - low))
    cut = min(max(cut, lattice[axis, 1, at[axis]]), lattice[axis, 2, at[axis] + 1])
    for other in range(3):
        points[row, other] = cut if other == axis else lattice[other, 0, at[other]]


@kernel
def _pushed(pool, row, i, j, k, push, far):
    """A voxel's value, pushed away from zero; `far` or -far in an absent brick."""
    if row < 0:
        return -far if row == INSIDE else far
    value = pool[row, i, j, k]
    if -push < value < push:
        return push if value >= 0 else -push
    return value


@kernel
def write_points_by_value(
    start, stop, places, index, pool, part, has_part, push, far, lattice, flags, vertex_starts,
    points, part_of_vertex,
):  # fmt: skip
    """Write the vertices of bricks start .. stop where the values along their edges pass through zero.

    `lattice` (3, 3, longest) float32 holds per axis the lattice coordinates, the float just above each
    and the float just below each: a vertex stays strictly between its lattice points after rounding.
    """
    at = np.empty(3, np.int64)
    for b in range(start, stop):
        row = vertex_starts[b]
        if vertex_starts[b + 1] == row:
            continue
        for strip in range(SIDE * SIDE):
            i, j = strip >> 3, strip & 7
            for axis in range(3):
                for k in range(SIDE):
                    if not flags[b, axis, strip] >> k & 1:
                        continue
                    lattice_point(places[b], i, j, k, at)
                    x, y, z = i + (axis == 0), j + (axis == 1), k + (axis == 2)
                    other = row_at(
                        index, places[b, 0] + (x >> 3), places[b, 1] + (y >> 3), places[b, 2] + (z >> 3)
                    )
                    here = np.float64(_pushed(pool, b, i, j, k, push, far))
                    there = np.float64(_pushed(pool, other, x & 7, y & 7, z & 7, push, far))
                    write_point(row, axis, at, here / (here - there), lattice, points)
                    if not has_part:
                        part_of_vertex[row] = 0
                    elif abs(here) <= abs(there) or other < 0:
                        part_of_vertex[row] = part[b, i, j, k]
                    else:
                        part_of_vertex[row] = part[other, x & 7, y & 7, z & 7]
                    row += 1


@kernel
def write_points_by_crossing(
    start, stop, places, bits, size, bases, line_starts, kept, positions, hits, part, push, lattice, flags,
    vertex_starts, points, part_of_vertex,
):  # fmt: skip
    """Write the vertices of bricks start .. stop where the lattice edges were crossed by the shells.

    `push` is the least share of an edge that a vertex keeps from its lattice points; `part` is per input
    triangle. The columns are those of `firstcast.kernels.columns`.
    """
    at = np.empty(3, np.int64)
    for b in range(start, stop):
        row = vertex_starts[b]
        if vertex_starts[b + 1] == row:
            continue
        for strip in range(SIDE * SIDE):
            i, j = strip >> 3, strip & 7
            for axis in range(3):
                for k in range(SIDE):
                    if not flags[b, axis, strip] >> k & 1:
                        continue
                    lattice_point(places[b], i, j, k, at)
                    u, v = (axis + 1) % 3, (axis + 2) % 3
                    line = bases[axis] + at[u] * size[v] + at[v]
                    entering = not bits[b, i] >> (8 * j + k) & 1
                    found = crossing_between(line, at[axis], entering, line_starts, kept, positions, hits)
                    share = 0.5
                    part_of_vertex[row] = 0
                    if found >= 0:
                        share = min(max(positions[found] - at[axis], push), 1.0 - push)
                        hit = hits[found]
                        part_of_vertex[row] = part[hit if hit >= 0 else ~hit]
                    write_point(row, axis, at, share, lattice, points)
                    row += 1
