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

CUTS = 9
"""Polygons that are kept while a triangle is cut: per axis two that take turns as the rest, and one that is cut off."""


@kernel
def _split(axis, level, cuts, source, count, below, above):
    """Cut polygon `source` of cuts (CUTS, 12, 3) at a level into polygons `below` and `above`; their corners."""
    low, high = 0, 0
    for n in range(count):
        m = n + 1 if n + 1 < count else 0
        here, there = cuts[source, n, axis] - level, cuts[source, m, axis] - level
        if here <= 0:
            for c in range(3):
                cuts[below, low, c] = cuts[source, n, c]
            low += 1
        if here >= 0:
            for c in range(3):
                cuts[above, high, c] = cuts[source, n, c]
            high += 1
        if (here > 0 and there < 0) or (here < 0 and there > 0):
            share = here / (here - there)
            for c in range(3):
                at = cuts[source, n, c] + share * (cuts[source, m, c] - cuts[source, n, c])
                cuts[below, low, c] = at
                cuts[above, high, c] = at
            cuts[below, low, axis] = level
            cuts[above, high, axis] = level
            low += 1
            high += 1
    return low, high


@kernel
def _cells(axis, cuts, source, count):
    """The cells first .. last - 1 along an axis that a polygon meets."""
    low, high = cuts[source, 0, axis], cuts[source, 0, axis]
    for n in range(1, count):
        low, high = min(low, cuts[source, n, axis]), max(high, cuts[source, n, axis])
    first = int(np.floor(low))
    return first, max(int(np.ceil(high)), first + 1)


@kernel
def add_pieces(
    start, stop, first, points, triangles, origin, voxel, listed, starts, widest, rows, index, share, area
):
    """Write share and area (rows, 8, 8, 8) float32 from the triangles that meet slabs start .. stop of index.

    share: what a voxel's own pieces fill of it; area: what of each voxel below is filled by them in whole. index
    (slabs, by, bz) begins at slab `first`; triangles are listed by the first slab they meet, as by `sort_by_slab`, and
    meet no more than `widest` after it. Slab s of index holds rows[s] .. rows[s + 1].
    """
    cuts = np.empty((CUTS, MOST_CORNERS, 3))
    for slab in range(start, stop):
        here = first + slab
        begin, end = SIDE * here, SIDE * here + SIDE
        share[rows[slab] : rows[slab + 1]] = np.float32(0.0)
        area[rows[slab] : rows[slab + 1]] = np.float32(0.0)
        for entry in range(starts[max(here - widest, 0)], starts[here + 1]):
            for n in range(3):
                p = triangles[listed[entry], n]
                for c in range(3):
                    cuts[0, n, c] = (points[p, c] - origin[c]) / voxel[c]
            x0, x1 = _cells(0, cuts, 0, 3)
            if x1 <= begin:
                continue
            rest, count = 0, 3
            if x0 < begin:
                _, count = _split(0, begin, cuts, 0, 3, 2, 1)
                rest, x0 = 1, begin
            for x in range(x0, min(x1, end)):
                mine, corners = rest, count
                if x + 1 < x1:
                    corners, count = _split(0, x + 1, cuts, rest, count, 2, 1 - rest)
                    mine, rest = 2, 1 - rest
                if corners >= 3:
                    _add_slice(cuts, mine, corners, x & 7, slab, index, share, area)


@kernel
def _add_slice(cuts, rest, count, i, slab, index, share, area):
    """Cut polygon `rest`, which lies in one slice of voxels along x, along y and z, and add its pieces."""
    y0, y1 = _cells(1, cuts, rest, count)
    for y in range(y0, y1):
        in_y, in_y_count = rest, count
        if y + 1 < y1:
            above = 4 if rest == 3 else 3
            in_y_count, count = _split(1, y + 1, cuts, rest, count, 5, above)
            in_y, rest = 5, above
        if in_y_count < 3:
            continue
        z0, z1 = _cells(2, cuts, in_y, in_y_count)
        for z in range(z0, z1):
            in_z, in_z_count = in_y, in_y_count
            if z + 1 < z1:
                above = 7 if in_y == 6 else 6
                in_z_count, in_y_count = _split(2, z + 1, cuts, in_y, in_y_count, 8, above)
                in_z, in_y = 8, above
            if in_z_count >= 3:
                _add_piece(cuts, in_z, in_z_count, z, index[slab, y >> 3, z >> 3], i, y & 7, share, area)


@kernel
def _add_piece(cuts, piece, count, z, row, i, j, share, area):
    x, y, top = cuts[piece, 0, 0], cuts[piece, 0, 1], cuts[piece, 0, 2]
    covered, filled = 0.0, 0.0
    for n in range(1, count - 1):
        part = 0.5 * (
            (cuts[piece, n, 0] - x) * (cuts[piece, n + 1, 1] - y)
            - (cuts[piece, n + 1, 0] - x) * (cuts[piece, n, 1] - y)
        )
        covered += part
        filled += part * ((top + cuts[piece, n, 2] + cuts[piece, n + 1, 2]) / 3.0 - z)
    share[row, i, j, z & 7] += np.float32(filled)
    area[row, i, j, z & 7] += np.float32(covered)


@kernel
def add_up(start, stop, index, share, area):
    """Turn pieces into shares, from the top down, for brick columns start .. stop; mark absent bricks in `index`.

    share becomes the mean of a voxel and the one above it: what a layer two voxels high fills, its middle at the top
    of the voxel. Where surfaces cross, shares are held between nothing and all.
    """
    rows = index.shape[1]
    above, before = np.empty((SIDE, SIDE)), np.empty((SIDE, SIDE))
    for column in range(start, stop):
        bx, by = column // rows, column % rows
        above[:], before[:] = 0.0, 0.0
        for bz in range(index.shape[2] - 1, -1, -1):
            row = index[bx, by, bz]
            if row < 0:
                index[bx, by, bz] = INSIDE if above[0, 0] > 0.5 else OUTSIDE
                if bz + 1 < index.shape[2] and index[bx, by, bz + 1] >= 0:
                    for i in range(SIDE):
                        for j in range(SIDE):
                            before[i, j] = 1.0 if above[i, j] > 0.5 else 0.0
                continue
            for i in range(SIDE):
                for j in range(SIDE):
                    for k in range(SIDE - 1, -1, -1):
                        own = min(max(above[i, j] + share[row, i, j, k], 0.0), 1.0)
                        above[i, j] += area[row, i, j, k]
                        share[row, i, j, k] = np.float32(0.5 * (own + before[i, j]))
                        before[i, j] = own


@kernel
def move_down(shift, count, pool):
    """Move rows shift .. shift + count of a pool to its beginning, in place, so that no second pool is needed."""
    for row in range(count):
        pool[row] = pool[row + shift]
