"""Nearest triangles handed on from voxel to voxel, away from a surface.

The triangle nearest to a voxel is nearly always the nearest one of a neighbour that lies closer to the surface
(after Danielsson 1980), so a voxel is held against those of its neighbours only, and time grows with the band
instead of its cube. Voxels take from voxels of earlier passes only: the result is the same for any order.
"""

import numpy as np

from firstcast.kernels.bricks import SIDE, neighbours
from firstcast.kernels.compiling import kernel
from firstcast.kernels.distances import squared_to_triangle

WIDE = SIDE + 2

UNREACHED = 255
"""Level of a voxel that no triangle was handed to yet."""


@kernel
def _squared(x, y, z, points, triangle):
    a, b, c = triangle[0], triangle[1], triangle[2]
    return squared_to_triangle(
        x, y, z, np.float64(points[a, 0]), np.float64(points[a, 1]), np.float64(points[a, 2]),
        np.float64(points[b, 0]), np.float64(points[b, 1]), np.float64(points[b, 2]),
        np.float64(points[c, 0]), np.float64(points[c, 1]), np.float64(points[c, 2]),
    )  # fmt: skip


@kernel
def seed_cells(
    start, stop, places, index, strip_triangles, triangle_starts, points, triangles, origin, pitch, owner, level
):  # fmt: skip
    """Write owner (n, 8, 8, 8) int32, the nearest of the triangles in a voxel's eight cells, or -1.

    level (n, 8, 8, 8) uint8 is 0 where there is one. Only what is nearer than the finest pitch counts: beyond it something
    outside of the eight cells may be nearer.
    """
    rows, best = np.empty((3, 3, 3), np.int32), np.empty((SIDE, SIDE, SIDE))
    sure_mm = min(pitch[0], min(pitch[1], pitch[2]))
    for b in range(start, stop):
        neighbours(places[b], index, rows)
        best[:] = np.inf
        owner[b] = -1
        for i in range(-1, SIDE):
            for j in range(-1, SIDE):
                for dk in range(2):
                    row = rows[(i >> 3) + 1, (j >> 3) + 1, dk]
                    if row < 0:
                        continue
                    strip = 8 * (i & 7) + (j & 7)
                    first, last = strip_triangles[row, strip], strip_triangles[row, strip + 1]
                    for t in range(triangle_starts[row] + first, triangle_starts[row] + last):
                        _hold_cell(t, b, i, j, places[b], points, triangles, origin, pitch, best, owner)
        for i in range(SIDE):
            for j in range(SIDE):
                for k in range(SIDE):
                    sure = best[i, j, k] < sure_mm * sure_mm
                    owner[b, i, j, k] = owner[b, i, j, k] if sure else -1
                    level[b, i, j, k] = 0 if sure else UNREACHED


@kernel
def _hold_cell(t, b, i, j, place, points, triangles, origin, pitch, best, owner):
    """Hold a triangle in a cell of strip (i, j) against those of the cell's corners that lie in the brick."""
    high = 0.0
    for c in range(3):
        high += np.float64(points[triangles[t, c], 2])
    k = int(np.floor((high / 3 - origin[2]) / pitch[2])) - SIDE * place[2]
    if k < -1 or k >= SIDE:
        return
    for x in range(max(i, 0), min(i + 2, SIDE)):
        for y in range(max(j, 0), min(j + 2, SIDE)):
            for z in range(max(k, 0), min(k + 2, SIDE)):
                square = _squared(
                    origin[0] + pitch[0] * (SIDE * place[0] + x),
                    origin[1] + pitch[1] * (SIDE * place[1] + y),
                    origin[2] + pitch[2] * (SIDE * place[2] + z),
                    points, triangles[t],
                )  # fmt: skip
                if square < best[x, y, z]:
                    best[x, y, z] = square
                    owner[b, x, y, z] = t


@kernel
def _gather(rows, owner, level, turn, around):
    """Write around (10, 10, 10): the triangles of a brick's voxels and those beside it that earlier turns reached."""
    for i in range(-1, SIDE + 1):
        for j in range(-1, SIDE + 1):
            for k in range(-1, SIDE + 1):
                row = rows[(i >> 3) + 1, (j >> 3) + 1, (k >> 3) + 1]
                found = -1
                if row >= 0 and level[row, i & 7, j & 7, k & 7] < turn:
                    found = owner[row, i & 7, j & 7, k & 7]
                around[i + 1, j + 1, k + 1] = found


@kernel
def _nearest_around(i, j, k, x, y, z, around, points, triangles):
    """The nearest of the triangles that the 26 neighbours of a voxel hold, and the square of its distance."""
    best, nearest, last = np.inf, -1, -1
    for di in range(3):
        for dj in range(3):
            for dk in range(3):
                triangle = around[i + di, j + dj, k + dk]
                if triangle < 0 or triangle in (last, nearest):
                    continue
                last = triangle
                square = _squared(x, y, z, points, triangles[triangle])
                if square < best or (square == best and triangle < nearest):
                    best, nearest = square, triangle
    return nearest, best


@kernel
def hand_on(
    start, stop, places, index, bits, side, turn, band, points, triangles, origin, pitch, owner, level
):
    """Hand triangles to voxels of bricks start .. stop that touch one which an earlier turn reached.

    owner (n, 8, 8, 8) int32, level (n, 8, 8, 8) uint8 as `seed_cells` left them; beyond `band` nothing is handed on, nor
    to voxels whose sign isn't `side` (1 inside, 0 outside, 2 both).
    """
    rows, around = np.empty((3, 3, 3), np.int32), np.empty((WIDE, WIDE, WIDE), np.int32)
    for b in range(start, stop):
        if (level[b] < turn).all():
            continue
        neighbours(places[b], index, rows)
        _gather(rows, owner, level, turn, around)
        for i in range(SIDE):
            x = origin[0] + pitch[0] * (SIDE * places[b, 0] + i)
            for j in range(SIDE):
                y = origin[1] + pitch[1] * (SIDE * places[b, 1] + j)
                for k in range(SIDE):
                    if level[b, i, j, k] != UNREACHED:
                        continue
                    if side < 2 and (bits[b, i] >> (8 * j + k) & 1) != side:
                        continue
                    touched = max(
                        max(around[i, j + 1, k + 1], around[i + 2, j + 1, k + 1]),
                        max(
                            max(around[i + 1, j, k + 1], around[i + 1, j + 2, k + 1]),
                            max(around[i + 1, j + 1, k], around[i + 1, j + 1, k + 2]),
                        ),
                    )
                    if touched < 0:
                        continue
                    z = origin[2] + pitch[2] * (SIDE * places[b, 2] + k)
                    nearest, square = _nearest_around(i, j, k, x, y, z, around, points, triangles)
                    if square < band * band:
                        owner[b, i, j, k] = nearest
                        level[b, i, j, k] = turn


@kernel
def write_distances(start, stop, places, bits, points, triangles, origin, pitch, band, owner, pool):
    """Write pool (n, 8, 8, 8) float32: the signed distance to each voxel's triangle, the band's width without one."""
    for b in range(start, stop):
        for i in range(SIDE):
            x = origin[0] + pitch[0] * (SIDE * places[b, 0] + i)
            for j in range(SIDE):
                y = origin[1] + pitch[1] * (SIDE * places[b, 1] + j)
                for k in range(SIDE):
                    value, triangle = band, owner[b, i, j, k]
                    if triangle >= 0:
                        z = origin[2] + pitch[2] * (SIDE * places[b, 2] + k)
                        value = min(np.sqrt(_squared(x, y, z, points, triangles[triangle])), band)
                    pool[b, i, j, k] = -value if bits[b, i] >> (8 * j + k) & 1 else value
