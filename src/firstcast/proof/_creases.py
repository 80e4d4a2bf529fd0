"""Where a surface turns sharply within a small reach of a place."""

import numpy as np

from firstcast.compiling import kernel
from firstcast.proof._nearest import squared_distance
from firstcast.proof._tree import DEPTH, WIDTH, box_distances


@kernel
def _unit_normal(corners, t):
    ux = corners[t, 1, 0] - corners[t, 0, 0]
    uy = corners[t, 1, 1] - corners[t, 0, 1]
    uz = corners[t, 1, 2] - corners[t, 0, 2]
    vx = corners[t, 2, 0] - corners[t, 0, 0]
    vy = corners[t, 2, 1] - corners[t, 0, 1]
    vz = corners[t, 2, 2] - corners[t, 0, 2]
    x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    length = np.sqrt(x * x + y * y + z * z)
    if length == 0.0:
        return 0.0, 0.0, 0.0
    return x / length, y / length, z / length


@kernel
def sharpest_turns(start, stop, points, reaches, nearest, corners, boxes, leaves, cosine):
    """Least cosine between the normal of each point's nearest triangle and of any within its reach.

    points (n, 3), reaches (n,), nearest (n,) int64: places in the tree. Fills cosine (n,).
    """
    groups = np.empty(DEPTH, dtype=np.int64)
    apart = np.empty(WIDTH)
    for row in range(start, stop):
        x, y, z, reach = points[row, 0], points[row, 1], points[row, 2], reaches[row] * reaches[row]
        nx, ny, nz = _unit_normal(corners, nearest[row])
        least = 1.0
        groups[0] = 0
        top = 1
        while top > 0:
            top -= 1
            group = groups[top]
            box_distances(x, y, z, boxes, group, apart)
            for j in range(WIDTH):
                if apart[j] > reach:
                    continue
                if group < leaves:
                    groups[top] = WIDTH * group + 1 + j
                    top += 1
                    continue
                t = WIDTH * (group - leaves) + j
                if squared_distance(x, y, z, corners, t) <= reach:
                    ux, uy, uz = _unit_normal(corners, t)
                    if ux != 0.0 or uy != 0.0 or uz != 0.0:
                        least = min(least, nx * ux + ny * uy + nz * uz)
        cosine[row] = least
