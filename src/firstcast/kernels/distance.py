"""Distances from voxels to the triangles of a surface traced through the bricks.

Each brick first takes, per voxel, the nearest vertex: an upper bound that is nearly tight, since the
triangles are no larger than a cell. Then a triangle is measured only where its bounding box is nearer than
what is known, so that a voxel meets a score of triangles and the distance is exact nevertheless.
"""

import numpy as np

from firstcast.kernels.bricks import SIDE, row_at
from firstcast.kernels.compiling import kernel


@kernel
def squared_distance(px, py, pz, ux, uy, uz, vx, vy, vz, uu, uv, vv):
    """Squared distance of p from the triangle 0, u, v (Ericson 2005, Real-Time Collision Detection, 5.1.5)."""
    d1, d2 = ux * px + uy * py + uz * pz, vx * px + vy * py + vz * pz
    if d1 <= 0 and d2 <= 0:
        return px * px + py * py + pz * pz
    d3, d4 = d1 - uu, d2 - uv
    d5, d6 = d1 - uv, d2 - vv
    s, r = 0.0, 0.0
    if d3 >= 0 and d4 <= d3:
        s = 1.0
    elif d6 >= 0 and d5 <= d6:
        r = 1.0
    else:
        beyond_u, beyond_v, beyond_uv = d1 * d4 - d3 * d2, d5 * d2 - d1 * d6, d3 * d6 - d5 * d4
        if beyond_u <= 0 and d1 >= 0 and d3 <= 0:
            s = d1 / (d1 - d3)
        elif beyond_v <= 0 and d2 >= 0 and d6 <= 0:
            r = d2 / (d2 - d6)
        elif beyond_uv <= 0 and d4 >= d3 and d5 >= d6:
            r = (d4 - d3) / ((d4 - d3) + (d5 - d6))
            s = 1.0 - r
        else:
            whole = beyond_u + beyond_v + beyond_uv
            if whole > 0:
                s, r = beyond_v / whole, beyond_u / whole
    x, y, z = px - s * ux - r * vx, py - s * uy - r * vy, pz - s * uz - r * vz
    return x * x + y * y + z * z


@kernel
def _gaps(low, high, pitch, band, gaps, ends):
    """Per axis and voxel the squared gap to an interval; `ends` the voxels within `band`. False if none."""
    for axis in range(3):
        first = max(0, int(np.ceil((low[axis] - band) / pitch[axis])))
        last = min(SIDE - 1, int(np.floor((high[axis] + band) / pitch[axis])))
        if first > last:
            return False
        ends[axis, 0], ends[axis, 1] = first, last + 1
        for n in range(first, last + 1):
            at = n * pitch[axis]
            gap = max(low[axis] - at, at - high[axis], 0.0)
            gaps[axis, n] = gap * gap
    return True


@kernel
def _bound_by_vertices(rows, base, pitch, band, vertex_starts, points, best):
    """Lower `best` (8, 8, 8) to just above the squared distance of each voxel's nearest vertex."""
    gaps, ends, at = np.empty((3, SIDE)), np.empty((3, 2), np.int64), np.empty(3)
    for row in rows:
        if row < 0:
            continue
        for vertex in range(vertex_starts[row], vertex_starts[row + 1]):
            for axis in range(3):
                at[axis] = points[vertex, axis] - base[axis]
            if not _gaps(at, at, pitch, band, gaps, ends):
                continue
            for i in range(ends[0, 0], ends[0, 1]):
                for j in range(ends[1, 0], ends[1, 1]):
                    across = gaps[0, i] + gaps[1, j]
                    for k in range(ends[2, 0], ends[2, 1]):
                        best[i, j, k] = min(best[i, j, k], (across + gaps[2, k]) * 1.00001)


@kernel
def _measure_triangles(rows, base, pitch, band, triangle_starts, points, triangles, best, nearest):
    """Lower `best` to the squared distance of the nearest triangle, its number in `nearest`."""
    gaps, ends = np.empty((3, SIDE)), np.empty((3, 2), np.int64)
    low, high = np.empty(3), np.empty(3)
    a, u, v = np.empty(3), np.empty(3), np.empty(3)
    for row in rows:
        if row < 0:
            continue
        for t in range(triangle_starts[row], triangle_starts[row + 1]):
            for axis in range(3):
                a[axis] = points[triangles[t, 0], axis] - base[axis]
                u[axis] = points[triangles[t, 1], axis] - base[axis]
                v[axis] = points[triangles[t, 2], axis] - base[axis]
                low[axis] = min(a[axis], u[axis], v[axis])
                high[axis] = max(a[axis], u[axis], v[axis])
            if not _gaps(low, high, pitch, band, gaps, ends):
                continue
            u -= a
            v -= a
            uu, uv = u[0] * u[0] + u[1] * u[1] + u[2] * u[2], u[0] * v[0] + u[1] * v[1] + u[2] * v[2]
            vv = v[0] * v[0] + v[1] * v[1] + v[2] * v[2]
            for i in range(ends[0, 0], ends[0, 1]):
                for j in range(ends[1, 0], ends[1, 1]):
                    across = gaps[0, i] + gaps[1, j]
                    for k in range(ends[2, 0], ends[2, 1]):
                        if across + gaps[2, k] >= best[i, j, k]:
                            continue
                        square = squared_distance(
                            i * pitch[0] - a[0], j * pitch[1] - a[1], k * pitch[2] - a[2],
                            u[0], u[1], u[2], v[0], v[1], v[2], uu, uv, vv,
                        )  # fmt: skip
                        if square < best[i, j, k]:
                            best[i, j, k] = square
                            nearest[i, j, k] = t


@kernel
def measure_bricks(
    start, stop, places, index, bits, vertex_starts, triangle_starts, points, triangles, part_of_triangle,
    origin, pitch, band, pool, part,
):  # fmt: skip
    """Fill pool and part (n, 8, 8, 8) of bricks start .. stop: signed distance within `band`, nearest part."""
    reach = 1
    for axis in range(3):
        reach = max(reach, int(np.ceil((np.ceil(band / pitch[axis]) + 1) / SIDE)))
    rows = np.empty((2 * reach + 1) ** 3, np.int64)
    best, nearest, base = np.empty((SIDE, SIDE, SIDE)), np.empty((SIDE, SIDE, SIDE), np.int64), np.empty(3)
    for b in range(start, stop):
        number = 0
        for i in range(-reach, reach + 1):
            for j in range(-reach, reach + 1):
                for k in range(-reach, reach + 1):
                    rows[number] = row_at(index, places[b, 0] + i, places[b, 1] + j, places[b, 2] + k)
                    number += 1
        for axis in range(3):
            base[axis] = origin[axis] + pitch[axis] * SIDE * places[b, axis]
        best[:] = band * band
        nearest[:] = -1
        _bound_by_vertices(rows, base, pitch, band, vertex_starts, points, best)
        _measure_triangles(rows, base, pitch, band, triangle_starts, points, triangles, best, nearest)
        for i in range(SIDE):
            for j in range(SIDE):
                for k in range(SIDE):
                    known = nearest[i, j, k] >= 0
                    value = np.sqrt(best[i, j, k]) if known else band
                    pool[b, i, j, k] = -value if bits[b, i] >> (8 * j + k) & 1 else value
                    part[b, i, j, k] = part_of_triangle[nearest[i, j, k]] if known else 0
