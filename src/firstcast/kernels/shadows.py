"""Which cells of a plan the triangles of a mesh pass over, height band by height band: never too few."""

import numpy as np

from firstcast.kernels.compiling import kernel

TOUCH = 1e-9
"""Cells: what passes a cell's border by less is rounding, so that a box that ends on a border ends there."""

CORNERS = 9
"""A triangle cut by the two planes of a band and the two lines of a row has seven corners at most."""


@kernel
def _cut(corners, count, axis, at, above, kept):
    """Write the part of a convex polygon with coordinate `axis` at or beyond a plane; returns its corner count."""
    made = 0
    for n in range(count):
        m = n + 1 if n + 1 < count else 0
        here, there = corners[n, axis] - at, corners[m, axis] - at
        if not above:
            here, there = -here, -there
        if here >= 0.0:
            kept[made] = corners[n]
            made += 1
        if (here > 0.0 and there < 0.0) or (here < 0.0 and there > 0.0):
            share = here / (here - there)
            for k in range(3):
                kept[made, k] = corners[n, k] + share * (corners[m, k] - corners[n, k])
            kept[made, axis] = at
            made += 1
    return made


@kernel
def _ends(least, most, size):
    """First and last whole step, within 0 .. size - 1, that an interval reaches into; last < first if none.

    What lies in a border reaches into neither side: the solid that it bounds fills one of them.
    """
    first, last = np.int64(np.floor(least + TOUCH)), np.int64(np.ceil(most - TOUCH)) - 1
    return max(first, 0), min(last, size - 1)


@kernel
def _reach(corners, count, axis):
    least, most = corners[0, axis], corners[0, axis]
    for n in range(1, count):
        least, most = min(least, corners[n, axis]), max(most, corners[n, axis])
    return least, most


@kernel
def mark_bands(start, stop, points, triangles, cells):
    """Set cells[band, row, column] where triangles start .. stop pass through.

    points (n, 3) float64 are in cells, rows and bands from the corner of cells[0, 0, 0], which is (b, ny, nx) uint8.
    """
    corners, slab, row = np.empty((3, 3)), np.empty((CORNERS, 3)), np.empty((CORNERS, 3))
    spare = np.empty((CORNERS, 3))
    for t in range(start, stop):
        for k in range(3):
            corners[k] = points[triangles[t, k]]
        low, high = _reach(corners, 3, 2)
        first, last = _ends(low, high, cells.shape[0])
        for band in range(first, last + 1):
            count = _cut(corners, 3, 2, np.float64(band), True, spare)
            count = _cut(spare, count, 2, np.float64(band + 1), False, slab)
            if count == 0:
                continue
            least, most = _reach(slab, count, 1)
            y0, y1 = _ends(least, most, cells.shape[1])
            for y in range(y0, y1 + 1):
                there = _cut(slab, count, 1, np.float64(y), True, spare)
                there = _cut(spare, there, 1, np.float64(y + 1), False, row)
                if there == 0:
                    continue
                left, right = _reach(row, there, 0)
                x0, x1 = _ends(left, right, cells.shape[2])
                cells[band, y, x0 : x1 + 1] = 1
