"""The share of each voxel that a closed mesh fills, exactly, in bricks near its surface.

Triangles are cut into pieces that lie in one voxel each. A piece, seen along z, covers an area of its voxel's column:
of its own voxel it fills what lies below it, and of all voxels below the area in whole. Pieces that face down count
negative. Coordinates are in voxels.
"""

import numpy as np

from firstcast.kernels.bricks import INSIDE, OUTSIDE, SIDE
from firstcast.kernels.compiling import kernel

MOST_CORNERS = 12
"""A triangle cut by six planes has at most nine corners."""


@kernel
def count_columns(points, triangles, rows, starts):
    """Add to starts (bx * by + 1,) how many triangles each column of bricks meets: entry c + 1 for column c."""
    for t in range(len(triangles)):
        low_x, high_x, low_y, high_y = _column_box(points, triangles[t])
        for bx in range(low_x, high_x + 1):
            for by in range(low_y, high_y + 1):
                starts[bx * rows + by + 1] += 1


@kernel
def fill_columns(points, triangles, rows, ends, listed):
    """Write listed (k,) int32: the triangles of each column; ends (bx * by,) are moved from starts to ends."""
    for t in range(len(triangles)):
        low_x, high_x, low_y, high_y = _column_box(points, triangles[t])
        for bx in range(low_x, high_x + 1):
            for by in range(low_y, high_y + 1):
                listed[ends[bx * rows + by]] = t
                ends[bx * rows + by] += 1


@kernel
def _column_box(points, triangle):
    a, b, c = triangle[0], triangle[1], triangle[2]
    low_x = min(points[a, 0], min(points[b, 0], points[c, 0]))
    high_x = max(points[a, 0], max(points[b, 0], points[c, 0]))
    low_y = min(points[a, 1], min(points[b, 1], points[c, 1]))
    high_y = max(points[a, 1], max(points[b, 1], points[c, 1]))
    return (
        int(np.floor(low_x)) // SIDE,
        int(np.floor(high_x)) // SIDE,
        int(np.floor(low_y)) // SIDE,
        int(np.floor(high_y)) // SIDE,
    )


@kernel
def mark_near(points, reach, mask):
    """Set mask (bx, by, bz) uint8 in every brick within `reach` (3,) voxels of a point (n, 3)."""
    low, high = np.empty(3, np.int64), np.empty(3, np.int64)
    for n in range(len(points)):
        for c in range(3):
            low[c] = max(int(np.floor(points[n, c] - reach[c])) // SIDE, 0)
            high[c] = min(int(np.floor(points[n, c] + reach[c])) // SIDE, mask.shape[c] - 1)
        for i in range(low[0], high[0] + 1):
            for j in range(low[1], high[1] + 1):
                for k in range(low[2], high[2] + 1):
                    mask[i, j, k] = 1


@kernel
def _cut(axis, level, sign, polygon, count, out):
    """Keep of a polygon (count, 3) what has sign * (coordinate - level) >= 0; the number of corners left in `out`."""
    kept = 0
    for n in range(count):
        m = n + 1 if n + 1 < count else 0
        here, there = sign * (polygon[n, axis] - level), sign * (polygon[m, axis] - level)
        if here >= 0:
            for c in range(3):
                out[kept, c] = polygon[n, c]
            kept += 1
        if (here > 0 and there < 0) or (here < 0 and there > 0):
            share = here / (here - there)
            for c in range(3):
                out[kept, c] = polygon[n, c] + share * (polygon[m, c] - polygon[n, c])
            out[kept, axis] = level
            kept += 1
    return kept


@kernel
def _slice(axis, cell, polygon, count, spare, out):
    """Keep of a polygon what lies in the slice cell .. cell + 1 along an axis."""
    low, high = polygon[0, axis], polygon[0, axis]
    for n in range(1, count):
        low, high = min(low, polygon[n, axis]), max(high, polygon[n, axis])
    if low >= cell and high <= cell + 1:
        for n in range(count):
            for c in range(3):
                out[n, c] = polygon[n, c]
        return count
    kept = _cut(axis, cell, 1.0, polygon, count, spare)
    return _cut(axis, cell + 1, -1.0, spare, kept, out)


@kernel
def _span(axis, polygon, count, first, last):
    """The cells first .. last - 1 along an axis that a polygon meets."""
    low, high = polygon[0, axis], polygon[0, axis]
    for n in range(1, count):
        low, high = min(low, polygon[n, axis]), max(high, polygon[n, axis])
    return max(int(np.floor(low)), first), min(int(np.floor(high)) + 1, last)


@kernel
def add_pieces(start, stop, points, triangles, starts, listed, index, share, area):
    """Add the triangles of brick columns start .. stop to share and area (rows, 8, 8, 8) float32.

    share: what a voxel's own pieces fill of it; area: what of each voxel below is filled by them in whole.
    """
    rows = index.shape[1]
    whole, by_x = np.empty((MOST_CORNERS, 3)), np.empty((MOST_CORNERS, 3))
    by_y, by_z = np.empty((MOST_CORNERS, 3)), np.empty((MOST_CORNERS, 3))
    spare = np.empty((MOST_CORNERS, 3))
    for column in range(start, stop):
        bx, by = column // rows, column % rows
        for entry in range(starts[column], starts[column + 1]):
            for n in range(3):
                for c in range(3):
                    whole[n, c] = points[triangles[listed[entry], n], c]
            x0, x1 = _span(0, whole, 3, SIDE * bx, SIDE * bx + SIDE)
            for x in range(x0, x1):
                in_x = _slice(0, x, whole, 3, spare, by_x)
                if in_x < 3:
                    continue
                y0, y1 = _span(1, by_x, in_x, SIDE * by, SIDE * by + SIDE)
                for y in range(y0, y1):
                    in_y = _slice(1, y, by_x, in_x, spare, by_y)
                    if in_y < 3:
                        continue
                    z0, z1 = _span(2, by_y, in_y, 0, SIDE * index.shape[2])
                    for z in range(z0, z1):
                        in_z = _slice(2, z, by_y, in_y, spare, by_z)
                        if in_z < 3:
                            continue
                        _add_piece(by_z, in_z, z, index[bx, by, z >> 3], x & 7, y & 7, share, area)


@kernel
def _add_piece(piece, count, z, row, i, j, share, area):
    covered, filled = 0.0, 0.0
    for n in range(1, count - 1):
        part = 0.5 * (
            (piece[n, 0] - piece[0, 0]) * (piece[n + 1, 1] - piece[0, 1])
            - (piece[n + 1, 0] - piece[0, 0]) * (piece[n, 1] - piece[0, 1])
        )
        covered += part
        filled += part * ((piece[0, 2] + piece[n, 2] + piece[n + 1, 2]) / 3.0 - z)
    share[row, i, j, z & 7] += np.float32(filled)
    area[row, i, j, z & 7] += np.float32(covered)


@kernel
def add_up(start, stop, index, share, area):
    """Turn pieces into shares, from the top down, for brick columns start .. stop; mark absent bricks in `index`.

    share becomes the mean of a voxel and the one above it: what a layer two voxels high fills, its middle at the top
    of the voxel. Where surfaces cross, shares are held between nothing and all.
    """
    rows = index.shape[1]
    for column in range(start, stop):
        bx, by = column // rows, column % rows
        for i in range(SIDE):
            for j in range(SIDE):
                above, before = 0.0, 0.0
                for bz in range(index.shape[2] - 1, -1, -1):
                    row = index[bx, by, bz]
                    if row < 0:
                        before = 1.0 if above > 0.5 else 0.0
                        if i == 0 and j == 0:
                            index[bx, by, bz] = INSIDE if above > 0.5 else OUTSIDE
                        continue
                    for k in range(SIDE - 1, -1, -1):
                        own = min(max(above + share[row, i, j, k], 0.0), 1.0)
                        above += area[row, i, j, k]
                        share[row, i, j, k] = np.float32(0.5 * (own + before))
                        before = own
