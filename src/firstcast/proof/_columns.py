"""Winding numbers of points in closed triangles, by the crossings on a straight way out from each point."""

import numpy as np

from firstcast.compiling import kernel
from firstcast.proof._tree import DEPTH, WIDTH, box_gaps

_OUT = 1e300
"""The end of every way out. Not infinite: the boxes that hold nothing are."""


@kernel
def _turn(ax, ay, bx, by, x, y):
    """Side of the line a, b on which (x, y) lies, the same for b, a but for the sign: never zero.

    The ends are put in order first, so that both triangles of an edge compute the very same number.
    """
    if ax < bx or (ax == bx and ay < by):
        return 1 if (bx - ax) * (y - ay) - (by - ay) * (x - ax) >= 0.0 else -1
    return -1 if (ax - bx) * (y - by) - (ay - by) * (x - bx) >= 0.0 else 1


@kernel
def _crossing(corners, t, axis, sign, point):
    """1 where the way out along an axis leaves through triangle t, -1 where it enters, 0 where it misses."""
    i, j = (axis + 1) % 3, (axis + 2) % 3
    x, y = point[i], point[j]
    ax, ay, az = corners[t, 0, i], corners[t, 0, j], corners[t, 0, axis]
    bx, by, bz = corners[t, 1, i], corners[t, 1, j], corners[t, 1, axis]
    cx, cy, cz = corners[t, 2, i], corners[t, 2, j], corners[t, 2, axis]
    turn = _turn(ax, ay, bx, by, x, y)
    if _turn(bx, by, cx, cy, x, y) != turn or _turn(cx, cy, ax, ay, x, y) != turn:
        return 0
    nz = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    if nz == 0.0:
        return 0
    nx = (by - ay) * (cz - az) - (bz - az) * (cy - ay)
    ny = (bz - az) * (cx - ax) - (bx - ax) * (cz - az)
    away = az - (nx * (x - ax) + ny * (y - ay)) / nz - point[axis]
    return sign * turn if sign * away > 0.0 else 0


@kernel
def windings(start, stop, points, ways, corners, boxes, leaves, winding):
    """How often closed triangles wrap each point start..stop: 0 outside, 1 inside, more where they overlap.

    ways (n,) int64: the way out of each point, 0 to 2 up and 3 to 5 down along x, y, z. Closed triangles are
    crossed as often on any. Fills winding (n,) int32.
    """
    groups = np.empty(DEPTH, dtype=np.int64)
    apart = np.empty(WIDTH)
    low = np.empty(3)
    high = np.empty(3)
    for row in range(start, stop):
        axis, sign = ways[row] % 3, 1 - 2 * (ways[row] // 3)
        for k in range(3):
            low[k] = high[k] = points[row, k]
        if sign > 0:
            high[axis] = _OUT
        else:
            low[axis] = -_OUT
        total = 0
        groups[0] = 0
        top = 1
        while top > 0:
            top -= 1
            group = groups[top]
            box_gaps(low, high, boxes, group, apart)
            for j in range(WIDTH):
                if apart[j] > 0.0:
                    continue
                if group < leaves:
                    groups[top] = WIDTH * group + 1 + j
                    top += 1
                else:
                    total += _crossing(corners, WIDTH * (group - leaves) + j, axis, sign, points[row])
        winding[row] = total
