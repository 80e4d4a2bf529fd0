"""Fans in the cells that a crease crosses, joined across the faces between them: see `firstcast.kernels.creases`."""

import numpy as np

from firstcast.kernels.bricks import (
    BIT_COUNT,
    SIDE,
    crossed_cells,
    gather_strips,
    lattice_point,
    neighbours,
    pattern_at,
    row_at,
)
from firstcast.kernels.compiling import kernel
from firstcast.kernels.contour_table import LOOP_FACES, LOOP_SIZE, TRIANGLE_COUNT
from firstcast.kernels.creases import vertex_of


@kernel
def _fan_row(s, count, first, extra):
    """Row of the triangle at side s of a fan: the cell's own rows first, then two beyond all cells."""
    return first + s if s < count - 2 else extra + s - (count - 2)


@kernel
def _crease_number(b, strip, k, creased, starts):
    """Number of the crease in a cell, -1 if it has none."""
    if not creased[b, strip] >> k & 1:
        return -1
    number = starts[b]
    for before in range(strip):
        number += BIT_COUNT[creased[b, before]]
    return number + BIT_COUNT[creased[b, strip] & ((1 << k) - 1)]


@kernel
def _part_of_side(a, b, first, count, old_triangles, part_of_triangle):
    """The part of that one of a cell's `count` triangles which has the side from vertex a to b."""
    for row in range(first, first + count):
        for n in range(3):
            if old_triangles[row, n] == a and old_triangles[row, (n + 1) % 3] == b:
                return part_of_triangle[row]
    return part_of_triangle[first]


@kernel
def _write_fan(number, first, count, loop, old_points, old_triangles, part_of_triangle, triangles, parts):
    """Write the triangles of one cell's fan over the rows of its old ones, and two beyond all cells."""
    vertex, extra = len(old_points) + number, len(old_triangles) + 2 * number
    for s in range(count):
        row, near, far = _fan_row(s, count, first, extra), loop[s], loop[(s + 1) % count]
        triangles[row, 0], triangles[row, 1], triangles[row, 2] = vertex, near, far
        parts[row] = _part_of_side(near, far, first, count - 2, old_triangles, part_of_triangle)


@kernel
def write_fans(
    start, stop, places, index, bits, flags, ranks, vertex_starts, triangle_starts, strip_triangles, creased,
    starts, spots, lattice, origin, pitch, part_of_triangle, old_points, old_triangles, points, triangles, parts,
    loops, sizes, faces,
):  # fmt: skip
    """Write the vertex and the fan of every creased cell of bricks start .. stop.

    The cell's point follows the contour's, two triangles of its fan follow the contour's. loops (c, 7) int32, faces
    (c, 7) int8 and sizes (c, 2) int64, a loop's length and the cell's first row, tell `turn_edges` what was written.
    """
    rows, strips = np.empty((3, 3, 3), np.int32), np.empty((SIDE + 2, SIDE + 2), np.int32)
    at = np.empty(3, np.int64)
    for b in range(start, stop):
        if starts[b + 1] == starts[b]:
            continue
        neighbours(places[b], index, rows)
        gather_strips(rows, bits, strips)
        number = starts[b]
        for strip in range(SIDE * SIDE):
            i, j = strip >> 3, strip & 7
            first = triangle_starts[b] + strip_triangles[b, strip]
            crossed = crossed_cells(strips, i, j) >> 1
            for k in range(SIDE):
                if not crossed >> k & 1:
                    continue
                pattern = pattern_at(strips, i, j, k)
                if creased[b, strip] >> k & 1:
                    count = LOOP_SIZE[pattern]
                    sizes[number, 0], sizes[number, 1] = count, first
                    for p in range(count):
                        faces[number, p] = LOOP_FACES[pattern, p]
                        loops[number, p] = vertex_of(
                            pattern, p, places[b], i, j, k, index, flags, ranks, vertex_starts, at
                        )
                    _write_fan(
                        number, first, count, loops[number], old_points, old_triangles, part_of_triangle, triangles, parts
                    )  # fmt: skip
                    lattice_point(places[b], i, j, k, at)
                    for n in range(3):
                        spot = np.float32(origin[n] + pitch[n] * spots[number, n])
                        points[len(old_points) + number, n] = min(
                            max(spot, lattice[n, 1, at[n]]), lattice[n, 2, at[n] + 1]
                        )
                    number += 1
                first += TRIANGLE_COUNT[pattern]


@kernel
def turn_edges(start, stop, places, index, creased, starts, loops, sizes, faces, vertices, base, triangles):
    """Join the points of creased cells of bricks start .. stop to those of their neighbours towards +x, +y, +z.

    `vertices` is the number of the first cell's point, `base` the row of the first triangle beyond all cells.
    """
    at = np.empty(3, np.int64)
    for b in range(start, stop):
        number = starts[b] - 1
        for strip in range(SIDE * SIDE):
            for k in range(SIDE):
                if not creased[b, strip] >> k & 1:
                    continue
                number += 1
                count = sizes[number, 0]
                for s in range(count):
                    face = faces[number, s]
                    if face < 0 or face & 1 == 0:
                        continue
                    lattice_point(places[b], strip >> 3, strip & 7, k, at)
                    at[face >> 1] += 1
                    row = row_at(index, at[0] >> 3, at[1] >> 3, at[2] >> 3)
                    if row < 0:
                        continue
                    other = _crease_number(row, 8 * (at[0] & 7) + (at[1] & 7), at[2] & 7, creased, starts)
                    if other < 0:
                        continue
                    second = sizes[other, 0]
                    for q in range(second):
                        if faces[other, q] == face - 1:
                            mine = _fan_row(s, count, sizes[number, 1], base + 2 * number)
                            theirs = _fan_row(q, second, sizes[other, 1], base + 2 * other)
                            triangles[mine, 2] = vertices + other
                            triangles[theirs, 2] = vertices + number
