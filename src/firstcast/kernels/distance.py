"""Distances from voxels to the triangles of a surface traced through the bricks.

Each triangle lies within a cell. It is measured only at voxels to which its bounding box is nearer than the
nearest triangle so far, so that a voxel meets a score of triangles and the distance is exact nevertheless.
"""

import numpy as np

from firstcast.kernels.bricks import SIDE, row_at
from firstcast.kernels.compiling import kernel


@kernel
def _gaps(low, high, pitch, band, gaps, ends):
    """Per axis and voxel the squared gap to an interval, infinite beyond `band`; False if all are.

    `ends` is where along x and y the finite ones start and stop.
    """
    for axis in range(3):
        first = max(0, int(np.ceil((low[axis] - band) / pitch[axis])))
        last = min(SIDE - 1, int(np.floor((high[axis] + band) / pitch[axis])))
        if first > last:
            return False
        ends[axis, 0], ends[axis, 1] = first, last + 1
        for n in range(SIDE):
            at = n * pitch[axis]
            gap = max(low[axis] - at, at - high[axis], 0.0)
            gaps[axis, n] = gap * gap if first <= n <= last else np.inf
    return True


@kernel
def _outward(n):
    """0, -1, 1, -2, 2, ... for n from 0: the nearest bricks first, so that little is left for the others."""
    return (n + 1) // 2 if n % 2 == 0 else -(n + 1) // 2


@kernel
def _reached(step, reach):
    """Which voxels of a brick `step` bricks on come within `reach` voxels of this one: first, last."""
    first = -reach - SIDE * step
    last = SIDE - 1 + reach - SIDE * step
    return max(first, 0), min(last, SIDE - 1)


@kernel
def _prepare(a, b, c, edges, normal):
    """Fill edges (3, 8) of a triangle and its normal (4,); what is divided by is inverted once.

    A row holds an edge's start, the edge, its squared length and the inverse of it. The normal's last entry
    is the inverse of its squared length; inverses of zero are zero.
    """
    for n in range(3):
        start = a if n == 0 else (b if n == 1 else c)
        end = b if n == 0 else (c if n == 1 else a)
        square = 0.0
        for axis in range(3):
            edges[n, axis], edges[n, 3 + axis] = start[axis], end[axis] - start[axis]
            square += edges[n, 3 + axis] * edges[n, 3 + axis]
        edges[n, 6] = square
        edges[n, 7] = 1.0 / square if square > 0 else 0.0
    square = 0.0
    for n in range(3):
        u, v = 3 + (n + 1) % 3, 3 + (n + 2) % 3
        normal[n] = edges[0, u] * edges[1, v] - edges[0, v] * edges[1, u]
        square += normal[n] * normal[n]
    normal[3] = 1.0 / square if square > 0 else 0.0


@kernel
def _from_edge(qx, qy, qz, ex, ey, ez, square, inverse):
    """Squared distance of q from the edge 0, e."""
    along = ex * qx + ey * qy + ez * qz
    share = along * inverse
    share = 0.0 if share < 0 else share
    share = 1.0 if share > 1 else share
    return qx * qx + qy * qy + qz * qz - share * (2 * along - share * square)


@kernel
def _measure_row(x, y, pitch, edges, normal, squares):
    """Squared distances (8,) of the voxels (x, y, 0 .. 7 pitches) from a triangle.

    Over the triangle's inside the distance is that from its plane; elsewhere that from the nearest edge.
    Without a branch and from scalars, so that several voxels are measured at once.
    """
    nx, ny, nz, inverse = normal[0], normal[1], normal[2], normal[3]
    ax, ay, az, bx, by, bz = (
        x - edges[0, 0],
        y - edges[0, 1],
        edges[0, 2],
        x - edges[1, 0],
        y - edges[1, 1],
        edges[1, 2],
    )
    cx, cy, cz = x - edges[2, 0], y - edges[2, 1], edges[2, 2]
    ux, uy, uz, uu, u_inverse = edges[0, 3], edges[0, 4], edges[0, 5], edges[0, 6], edges[0, 7]
    vx, vy, vz, vv, v_inverse = edges[1, 3], edges[1, 4], edges[1, 5], edges[1, 6], edges[1, 7]
    wx, wy, wz, ww, w_inverse = edges[2, 3], edges[2, 4], edges[2, 5], edges[2, 6], edges[2, 7]
    # side of the plane through an edge and the normal: a constant and a slope along z
    u_side, u_slope = (ny * uz - nz * uy) * ax + (nz * ux - nx * uz) * ay, nx * uy - ny * ux
    v_side, v_slope = (ny * vz - nz * vy) * bx + (nz * vx - nx * vz) * by, nx * vy - ny * vx
    w_side, w_slope = (ny * wz - nz * wy) * cx + (nz * wx - nx * wz) * cy, nx * wy - ny * wx
    flat = nx * ax + ny * ay
    for k in range(SIDE):
        z = k * pitch
        pa, pb, pc = z - az, z - bz, z - cz
        first = _from_edge(ax, ay, pa, ux, uy, uz, uu, u_inverse)
        second = _from_edge(bx, by, pb, vx, vy, vz, vv, v_inverse)
        third = _from_edge(cx, cy, pc, wx, wy, wz, ww, w_inverse)
        best = first if first < second else second
        best = third if third < best else best
        height = flat + nz * pa
        least = u_side + u_slope * pa
        other = v_side + v_slope * pb
        least = other if other < least else least
        other = w_side + w_slope * pc
        least = other if other < least else least
        best = height * height * inverse if least > 0 else best
        squares[k] = best if best > 0 else 0.0


@kernel
def _measure_triangle(edges, normal, pitch, gaps, ends, number, squares, best, nearest):
    """Lower `best` (8, 8, 8) where the triangle is nearer, and note its number there."""
    for i in range(ends[0, 0], ends[0, 1]):
        for j in range(ends[1, 0], ends[1, 1]):
            across = gaps[0, i] + gaps[1, j]
            some = False
            for k in range(SIDE):
                some |= across + gaps[2, k] < best[i, j, k]
            if not some:
                continue
            _measure_row(i * pitch[0], j * pitch[1], pitch[2], edges, normal, squares)
            for k in range(SIDE):
                nearer = squares[k] < best[i, j, k]
                best[i, j, k] = squares[k] if nearer else best[i, j, k]
                nearest[i, j, k] = number if nearer else nearest[i, j, k]


@kernel
def _measure_run(start, stop, base, pitch, band, points, triangles, work, best, nearest):
    """Hold triangles start .. stop against the voxels of the brick at `base`."""
    gaps, ends, edges, normal, squares, corners, low, high = work
    for t in range(start, stop):
        for axis in range(3):
            for c in range(3):
                corners[c, axis] = points[triangles[t, c], axis] - base[axis]
            low[axis] = min(corners[0, axis], corners[1, axis], corners[2, axis])
            high[axis] = max(corners[0, axis], corners[1, axis], corners[2, axis])
        if not _gaps(low, high, pitch, band, gaps, ends):
            continue
        _prepare(corners[0], corners[1], corners[2], edges, normal)
        _measure_triangle(edges, normal, pitch, gaps, ends, t, squares, best, nearest)


@kernel
def measure_bricks(
    start, stop, places, index, bits, strip_triangles, triangle_starts, points, triangles, part_of_triangle,
    origin, pitch, band, pool, part,
):  # fmt: skip
    """Fill pool and part (n, 8, 8, 8) of bricks start .. stop: signed distance within `band`, nearest part."""
    work = (
        np.empty((3, SIDE)), np.empty((3, 2), np.int64), np.empty((3, 8)), np.empty(4), np.empty(SIDE),
        np.empty((3, 3)), np.empty(3), np.empty(3),
    )  # fmt: skip
    best, nearest, base = np.empty((SIDE, SIDE, SIDE)), np.empty((SIDE, SIDE, SIDE), np.int64), np.empty(3)
    reach, bricks = np.empty(3, np.int64), np.empty(3, np.int64)
    for axis in range(3):
        reach[axis] = np.int64(np.ceil(band / pitch[axis])) + 1
        bricks[axis] = (reach[axis] + SIDE - 1) // SIDE
    for b in range(start, stop):
        for axis in range(3):
            base[axis] = origin[axis] + pitch[axis] * SIDE * places[b, axis]
        best[:] = band * band
        nearest[:] = -1
        for ni in range(2 * bricks[0] + 1):
            di = _outward(ni)
            i_first, i_last = _reached(di, reach[0])
            for nj in range(2 * bricks[1] + 1):
                dj = _outward(nj)
                j_first, j_last = _reached(dj, reach[1])
                for nk in range(2 * bricks[2] + 1):
                    dk = _outward(nk)
                    row = row_at(index, places[b, 0] + di, places[b, 1] + dj, places[b, 2] + dk)
                    if row < 0:
                        continue
                    for i in range(i_first, i_last + 1):
                        _measure_run(
                            triangle_starts[row] + strip_triangles[row, 8 * i + j_first],
                            triangle_starts[row] + strip_triangles[row, 8 * i + j_last + 1],
                            base, pitch, band, points, triangles, work, best, nearest,
                        )  # fmt: skip
        for i in range(SIDE):
            for j in range(SIDE):
                for k in range(SIDE):
                    known = nearest[i, j, k] >= 0
                    value = np.sqrt(best[i, j, k]) if known else band
                    pool[b, i, j, k] = -value if bits[b, i] >> (8 * j + k) & 1 else value
                    part[b, i, j, k] = part_of_triangle[nearest[i, j, k]] if known else 0
