"""Distances from voxels to triangles: exact beside the surface, handed outward from voxel to voxel.

Beside the surface a voxel is measured against the triangles of the cells around it. Farther out a voxel
is measured against the triangles that were nearest to its 26 neighbours one layer nearer to the surface:
the nearest triangle of a place is nearly always the nearest of some neighbour as well.
"""

import numpy as np

from firstcast.kernels.bricks import SIDE, crossed_cells, gather_strips, neighbours, pattern_at
from firstcast.kernels.compiling import kernel
from firstcast.kernels.contour_table import TRIANGLE_COUNT

LAYERS = 64
"""A note holds triangle · LAYERS + layer; -1 where no triangle is known yet."""


@kernel
def squared_distance(px, py, pz, points, triangles, t):
    """Squared distance of a place from triangle t (Ericson 2005, Real-Time Collision Detection, 5.1.5)."""
    a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
    ax, ay, az = np.float64(points[a, 0]), np.float64(points[a, 1]), np.float64(points[a, 2])
    ux, uy, uz = points[b, 0] - ax, points[b, 1] - ay, points[b, 2] - az
    vx, vy, vz = points[c, 0] - ax, points[c, 1] - ay, points[c, 2] - az
    px, py, pz = px - ax, py - ay, pz - az
    d1, d2 = ux * px + uy * py + uz * pz, vx * px + vy * py + vz * pz
    if d1 <= 0 and d2 <= 0:
        return px * px + py * py + pz * pz
    uu, uv, vv = ux * ux + uy * uy + uz * uz, ux * vx + uy * vy + uz * vz, vx * vx + vy * vy + vz * vz
    d3, d4 = d1 - uu, d2 - uv
    d5, d6 = d1 - uv, d2 - vv
    s, r = 0.0, 0.0
    if d3 >= 0 and d4 <= d3:
        s = 1.0
    elif d6 >= 0 and d5 <= d6:
        r = 1.0
    else:
        beyond_ab, beyond_ac, beyond_bc = d1 * d4 - d3 * d2, d5 * d2 - d1 * d6, d3 * d6 - d5 * d4
        if beyond_ab <= 0 and d1 >= 0 and d3 <= 0:
            s = d1 / (d1 - d3)
        elif beyond_ac <= 0 and d2 >= 0 and d6 <= 0:
            r = d2 / (d2 - d6)
        elif beyond_bc <= 0 and d4 >= d3 and d5 >= d6:
            r = (d4 - d3) / ((d4 - d3) + (d5 - d6))
            s = 1.0 - r
        else:
            whole = beyond_ab + beyond_ac + beyond_bc
            if whole > 0:
                s, r = beyond_ac / whole, beyond_ab / whole
    x, y, z = px - s * ux - r * vx, py - s * uy - r * vy, pz - s * uz - r * vz
    return x * x + y * y + z * z


@kernel
def seed_distances(
    start, stop, places, index, bits, strip_triangles, triangle_starts, points, triangles, origin, pitch,
    notes, pool,
):  # fmt: skip
    """Measure the voxels of bricks start .. stop beside crossed cells against the triangles of those cells.

    Fills notes (n, 8, 8, 8) int32 and pool (n, 8, 8, 8) float32 with squared distances; where no cell beside
    a voxel is crossed, the note is -1 and the pool infinite.
    """
    rows = np.empty((3, 3, 3), np.int32)
    strips = np.empty((SIDE + 2, SIDE + 2), np.int32)
    for b in range(start, stop):
        notes[b] = -1
        pool[b] = np.inf
        neighbours(places[b], index, rows)
        gather_strips(rows, bits, strips)
        for i in range(-1, SIDE):
            for j in range(-1, SIDE):
                crossed = crossed_cells(strips, i, j)
                if crossed == 0:
                    continue
                strip = 8 * (i & 7) + (j & 7)
                for k in range(-1, SIDE):
                    if not crossed >> (k + 1) & 1:
                        continue
                    brick = rows[(i >> 3) + 1, (j >> 3) + 1, (k >> 3) + 1]
                    if brick < 0:
                        continue
                    number = TRIANGLE_COUNT[pattern_at(strips, i, j, k)]
                    first = triangle_starts[brick]
                    if k < 0:
                        first += strip_triangles[brick, strip + 1] - number
                    else:
                        first += strip_triangles[brick, strip]
                        for before in range(k):
                            first += TRIANGLE_COUNT[pattern_at(strips, i, j, before)]
                    for t in range(first, first + number):
                        for corner in range(8):
                            x, y, z = i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2)
                            if min(x, y, z) < 0 or max(x, y, z) >= SIDE:
                                continue
                            square = squared_distance(
                                origin[0] + pitch[0] * (places[b, 0] * SIDE + x),
                                origin[1] + pitch[1] * (places[b, 1] * SIDE + y),
                                origin[2] + pitch[2] * (places[b, 2] * SIDE + z),
                                points, triangles, t,
                            )  # fmt: skip
                            if square < pool[b, x, y, z]:
                                pool[b, x, y, z] = square
                                notes[b, x, y, z] = t * LAYERS


@kernel
def _gather_notes(rows, notes, around):
    """Fill `around` (10, 10, 10) with the notes of a brick and one voxel around it; whether any is known."""
    known = False
    for i in range(-1, SIDE + 1):
        for j in range(-1, SIDE + 1):
            for k in range(-1, SIDE + 1):
                row = rows[(i >> 3) + 1, (j >> 3) + 1, (k >> 3) + 1]
                note = notes[row, i & 7, j & 7, k & 7] if row >= 0 else -1
                around[i + 1, j + 1, k + 1] = note
                known = known or note >= 0
    return known


@kernel
def spread_distances(start, stop, layer, places, index, points, triangles, origin, pitch, reach, notes, pool):
    """Measure the unmeasured voxels of bricks start .. stop that touch a voxel of an earlier layer.

    Notes of this layer count as unknown, so it doesn't matter which brick is done first. Voxels farther
    than `reach` stay unmeasured.
    """
    rows = np.empty((3, 3, 3), np.int32)
    around = np.empty((SIDE + 2, SIDE + 2, SIDE + 2), np.int32)
    tried = np.empty(27, np.int32)
    for b in range(start, stop):
        neighbours(places[b], index, rows)
        if not _gather_notes(rows, notes, around):
            continue
        for i in range(SIDE):
            for j in range(SIDE):
                for k in range(SIDE):
                    if around[i + 1, j + 1, k + 1] >= 0:
                        continue
                    number = 0
                    best, nearest = np.inf, -1
                    for di in range(3):
                        for dj in range(3):
                            for dk in range(3):
                                note = around[i + di, j + dj, k + dk]
                                if note < 0 or note % LAYERS >= layer:
                                    continue
                                t = note // LAYERS
                                fresh = True
                                for n in range(number):
                                    fresh = fresh and tried[n] != t
                                if not fresh:
                                    continue
                                tried[number] = t
                                number += 1
                                square = squared_distance(
                                    origin[0] + pitch[0] * (places[b, 0] * SIDE + i),
                                    origin[1] + pitch[1] * (places[b, 1] * SIDE + j),
                                    origin[2] + pitch[2] * (places[b, 2] * SIDE + k),
                                    points, triangles, t,
                                )  # fmt: skip
                                if square < best:
                                    best, nearest = square, t
                    if best < reach * reach:
                        pool[b, i, j, k] = best
                        notes[b, i, j, k] = nearest * LAYERS + layer


@kernel
def finish_distances(start, stop, bits, reach, signed, part_of_triangle, has_part, notes, pool, part):
    """Turn squared distances into distances clamped at `reach`, signed where asked, with the nearest part."""
    for b in range(start, stop):
        for i in range(SIDE):
            for j in range(SIDE):
                for k in range(SIDE):
                    value = min(np.sqrt(pool[b, i, j, k]), reach)
                    if signed and bits[b, i] >> (8 * j + k) & 1:
                        value = -value
                    pool[b, i, j, k] = value
                    if has_part:
                        note = notes[b, i, j, k]
                        part[b, i, j, k] = part_of_triangle[note // LAYERS] if note >= 0 else 0
