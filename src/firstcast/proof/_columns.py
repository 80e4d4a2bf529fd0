"""Winding numbers of points in closed triangles, by the crossings on a line from each point up."""

import numpy as np

from firstcast.compiling import kernel


@kernel
def _turn(ax, ay, bx, by, x, y):
    """Side of the line a, b on which (x, y) lies, the same for b, a but for the sign: never zero.

    The ends are put in order first, so that both triangles of an edge compute the very same number.
    """
    if ax < bx or (ax == bx and ay < by):
        return 1 if (bx - ax) * (y - ay) - (by - ay) * (x - ax) >= 0.0 else -1
    return -1 if (ax - bx) * (y - by) - (ay - by) * (x - bx) >= 0.0 else 1


@kernel
def windings(start, stop, points, corners, boxes, leaves, winding):
    """How often closed triangles wrap each point start..stop: 0 outside, 1 inside, more where they overlap.

    Fills winding (n,) int32.
    """
    count = corners.shape[0]
    nodes = np.empty(128, dtype=np.int64)
    for row in range(start, stop):
        x, y, z = points[row, 0], points[row, 1], points[row, 2]
        total = 0
        nodes[0] = 1
        top = 1
        while top > 0:
            top -= 1
            node = nodes[top]
            if node < leaves:
                for child in range(2 * node, 2 * node + 2):
                    if (
                        x >= boxes[child, 0]
                        and x <= boxes[child, 3]
                        and y >= boxes[child, 1]
                        and y <= boxes[child, 4]
                        and z <= boxes[child, 5]
                    ):
                        nodes[top] = child
                        top += 1
                continue
            leaf = node - leaves
            for t in range(leaf * count // leaves, (leaf + 1) * count // leaves):
                ax, ay = corners[t, 0, 0], corners[t, 0, 1]
                bx, by = corners[t, 1, 0], corners[t, 1, 1]
                cx, cy = corners[t, 2, 0], corners[t, 2, 1]
                turn = _turn(ax, ay, bx, by, x, y)
                if _turn(bx, by, cx, cy, x, y) != turn or _turn(cx, cy, ax, ay, x, y) != turn:
                    continue
                nz = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
                if nz == 0.0:
                    continue
                az = corners[t, 0, 2]
                abz, acz = corners[t, 1, 2] - az, corners[t, 2, 2] - az
                nx = (by - ay) * acz - abz * (cy - ay)
                ny = abz * (cx - ax) - (bx - ax) * acz
                if az - (nx * (x - ax) + ny * (y - ay)) / nz > z:
                    total += turn
        winding[row] = total
