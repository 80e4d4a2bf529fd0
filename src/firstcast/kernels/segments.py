"""Where a segment first crosses the triangles of a search tree (layout: `firstcast.kernels.tree`)."""

import numpy as np

from firstcast.kernels.compiling import kernel

BESIDE = 1e-9
"""A segment that passes a triangle's edge this near, as a share of the edge, crosses it: none slips through between
two triangles."""


@kernel(makes_arrays=False)
def _crossing(start, way, corner):
    """How many times `way` (3,) from `start` a line crosses a triangle (3, 3); infinite if it doesn't.

    T. Möller and B. Trumbore, Fast, minimum storage ray/triangle intersection, 1997.
    """
    ux, uy, uz = corner[1, 0] - corner[0, 0], corner[1, 1] - corner[0, 1], corner[1, 2] - corner[0, 2]
    vx, vy, vz = corner[2, 0] - corner[0, 0], corner[2, 1] - corner[0, 1], corner[2, 2] - corner[0, 2]
    px, py, pz = way[1] * vz - way[2] * vy, way[2] * vx - way[0] * vz, way[0] * vy - way[1] * vx
    across = ux * px + uy * py + uz * pz
    if across == 0.0:
        return np.inf
    sx, sy, sz = start[0] - corner[0, 0], start[1] - corner[0, 1], start[2] - corner[0, 2]
    first = (sx * px + sy * py + sz * pz) / across
    if not (-BESIDE <= first <= 1.0 + BESIDE):
        return np.inf
    qx, qy, qz = sy * uz - sz * uy, sz * ux - sx * uz, sx * uy - sy * ux
    second = (way[0] * qx + way[1] * qy + way[2] * qz) / across
    if second < -BESIDE or first + second > 1.0 + BESIDE:
        return np.inf
    return (vx * qx + vy * qy + vz * qz) / across


@kernel(makes_arrays=False)
def _meet_boxes(boxes, row, x, y, z, over_x, over_y, over_z, reach, met):
    """Fill `met` (8,) uint8: whether the stretch 0 .. `reach` of a line through x, y, z comes into each child of a node.

    `over_x` and so on are one by the line's direction. An empty box is never met. Without a branch, so that all eight
    are looked at at once.
    """
    for c in range(len(met)):  # told that there are eight, the compiler writes them out one after the other
        near_x, far_x = (boxes[row, 0, c] - x) * over_x, (boxes[row, 3, c] - x) * over_x
        near_y, far_y = (boxes[row, 1, c] - y) * over_y, (boxes[row, 4, c] - y) * over_y
        near_z, far_z = (boxes[row, 2, c] - z) * over_z, (boxes[row, 5, c] - z) * over_z
        low = max(max(np.float32(0.0), min(near_x, far_x)), max(min(near_y, far_y), min(near_z, far_z)))
        high = min(min(reach, max(near_x, far_x)), min(max(near_y, far_y), max(near_z, far_z)))
        met[c] = (low <= high) & (boxes[row, 0, c] <= boxes[row, 3, c])


@kernel(makes_arrays=False)
def _inverse(value):
    """One by a direction's component, huge but finite where it is zero: 0 · inf would hide a box."""
    if abs(value) < 1e-12:
        return np.float32(1e12) if value >= 0.0 else np.float32(-1e12)
    return np.float32(1.0 / value)


@kernel(makes_arrays=False)
def first_crossing(start, way, least, most, tree, work):
    """The first place between `least` and `most` times `way` (3,) from `start` where a triangle is crossed, or inf.

    Beside it the row of that triangle in the tree, -1 if there is none. `work` lends the stacks and room for eight uint8.
    tree : corners, rows, boxes, level_base, depth, centre, as in `firstcast.geometry.tree.Tree`.
    """
    corners, rows, boxes, level_base, depth, centre = tree
    stack_node, stack_level, met = work
    n = np.int64(len(rows))
    levels = len(level_base) - 1
    x, y, z = (
        np.float32(start[0] - centre[0]),
        np.float32(start[1] - centre[1]),
        np.float32(start[2] - centre[2]),
    )
    over_x, over_y, over_z = _inverse(way[0]), _inverse(way[1]), _inverse(way[2])
    best, best_row = np.inf, np.int64(-1)
    reach = np.float32(most * 1.00001)
    stack_node[0], stack_level[0], size = 0, 0, 1
    while size > 0:
        size -= 1
        node, level = stack_node[size], stack_level[size]
        if level == levels:
            for t in range((node * n) >> depth, ((node + 1) * n) >> depth):
                at = _crossing(start, way, corners[t])
                if least <= at <= most and at < best:
                    best, best_row = at, t
                    reach = np.float32(best * 1.00001)
            continue
        _meet_boxes(boxes, level_base[level] + node, x, y, z, over_x, over_y, over_z, reach, met)
        for c in range(8):
            if met[c]:
                stack_node[size], stack_level[size] = 8 * node + c, level + 1
                size += 1
    return best, best_row
