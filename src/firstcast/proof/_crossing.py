"""Every pair of triangles of one mesh that meet elsewhere than in shared corners."""

import numpy as np

from firstcast.compiling import kernel
from firstcast.proof._exact import flat_axis
from firstcast.proof._meet import triangles_meet
from firstcast.proof._tree import DEPTH, WIDTH, box_gaps


@kernel
def without_area(start, stop, points, triangles, out):
    """Marks the triangles start..stop whose corners lie exactly on one line."""
    for t in range(start, stop):
        out[t] = flat_axis(points, triangles[t, 0], triangles[t, 1], triangles[t, 2]) < 0


@kernel
def crossings(start, stop, points, triangles, flat, boxes, leaves, partner, found):
    """Crossings of the triangles start..stop with later ones.

    `triangles` (m, 3) int64 and `flat` (m,) bool in the order of the tree. Fills, for each of those triangles,
    `partner` (the first later triangle that it crosses, or -1) and `found` (how many).
    """
    groups = np.empty(DEPTH, dtype=np.int64)
    apart = np.empty(WIDTH)
    low = np.empty(3)
    high = np.empty(3)
    rows = np.empty(6, dtype=np.int64)
    sides = np.empty(6, dtype=np.int64)
    for t in range(start, stop):
        partner[t] = -1
        found[t] = 0
        if flat[t]:
            continue
        group, j = leaves + t // WIDTH, t % WIDTH
        for axis in range(3):
            low[axis], high[axis] = boxes[group, axis, j], boxes[group, 3 + axis, j]
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
                    continue
                u = WIDTH * (group - leaves) + j
                if u > t and not flat[u] and triangles_meet(points, triangles, t, u, rows, sides):
                    found[t] += 1
                    if partner[t] < 0 or u < partner[t]:
                        partner[t] = u
