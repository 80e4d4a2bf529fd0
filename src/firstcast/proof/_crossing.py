"""Every pair of triangles of one mesh that meet elsewhere than in shared corners."""

import numpy as np

from firstcast.compiling import kernel
from firstcast.proof._exact import flat_axis
from firstcast.proof._meet import triangles_meet


@kernel
def without_area(start, stop, points, triangles, out):
    """Marks the triangles start..stop whose corners lie exactly on one line."""
    for t in range(start, stop):
        out[t] = flat_axis(points, triangles[t, 0], triangles[t, 1], triangles[t, 2]) < 0


@kernel
def _boxes_apart(points, triangles, first, second):
    for axis in range(3):
        a = points[triangles[first, 0], axis]
        b = points[triangles[first, 1], axis]
        c = points[triangles[first, 2], axis]
        d = points[triangles[second, 0], axis]
        e = points[triangles[second, 1], axis]
        f = points[triangles[second, 2], axis]
        if max(a, max(b, c)) < min(d, min(e, f)) or max(d, max(e, f)) < min(a, min(b, c)):
            return True
    return False


@kernel
def crossings_of_leaves(start, stop, points, triangles, flat, boxes, leaves, partner, found):
    """Crossings of the triangles of leaves start..stop with themselves and with later leaves.

    `triangles` (m, 3) int32 and `flat` (m,) bool in the order of the tree. Fills, for each triangle of
    those leaves, `partner` (the first triangle it crosses, or -1) and `found` (how many later ones).
    """
    count = triangles.shape[0]
    stack = np.empty(128, dtype=np.int64)
    widths = np.empty(128, dtype=np.int64)
    for leaf in range(start, stop):
        own = leaves + leaf
        begin = leaf * count // leaves
        end = (leaf + 1) * count // leaves
        for t in range(begin, end):
            partner[t] = -1
            found[t] = 0
        stack[0], widths[0] = 1, leaves
        top = 1
        while top > 0:
            top -= 1
            node, width = stack[top], widths[top]
            last = (node + 1) * width - 1 - leaves
            if last < leaf:
                continue
            apart = False
            for axis in range(3):
                if boxes[node, axis] > boxes[own, 3 + axis] or boxes[own, axis] > boxes[node, 3 + axis]:
                    apart = True
            if apart:
                continue
            if width > 1:
                stack[top], widths[top] = 2 * node, width // 2
                stack[top + 1], widths[top + 1] = 2 * node + 1, width // 2
                top += 2
                continue
            other_begin = last * count // leaves
            other_end = (last + 1) * count // leaves
            for t in range(begin, end):
                if flat[t]:
                    continue
                for u in range(max(other_begin, t + 1), other_end):
                    if flat[u] or _boxes_apart(points, triangles, t, u):
                        continue
                    if triangles_meet(points, triangles, t, u):
                        if found[t] == 0:
                            partner[t] = u
                        found[t] += 1
