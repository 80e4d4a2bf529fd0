"""A search tree of boxes over triangles, without pointers: node i has the children 2i and 2i + 1.

Triangles are sorted along a Morton curve and shared out evenly over the leaves, so building is a sort
and one sweep, and the same for any number of threads. Boxes hold float32 coordinates exactly.
"""

from typing import NamedTuple

import numpy as np

from firstcast.compiling import kernel
from firstcast.kernels.distances import squared_to_triangle

STACK = 64
"""Twice the depth that 2^31 triangles need."""


class BoxTree(NamedTuple):
    """The tree: leaf l holds `rows[l * n >> depth : (l + 1) * n >> depth]`."""

    rows: np.ndarray  # (n,) int32
    low: np.ndarray  # (2^(depth + 1), 3) float32; row 0 is not used
    high: np.ndarray  # (2^(depth + 1), 3) float32
    depth: int


@kernel(makes_arrays=False)
def _spread(value):
    """Ten bits with two zeros between every two of them."""
    value = (value | (value << 16)) & 0x30000FF
    value = (value | (value << 8)) & 0x300F00F
    value = (value | (value << 4)) & 0x30C30C3
    return (value | (value << 2)) & 0x9249249


@kernel(makes_arrays=False)
def morton_keys(points, triangles, chosen, low, scale, keys):
    """Fill `keys` with the curve's number of each chosen triangle in the upper half, its row in the lower."""
    for i in range(len(chosen)):
        t = chosen[i]
        code = np.int64(0)
        for k in range(3):
            middle = (
                points[triangles[t, 0], k] + points[triangles[t, 1], k] + points[triangles[t, 2], k]
            ) / 3.0
            step = min(max(int((middle - low[k]) * scale), 0), 1023)
            code |= _spread(np.int64(step)) << k
        keys[i] = (code << 32) | np.int64(t)


@kernel(makes_arrays=False)
def fill_leaves(points, triangles, tree, first, last):
    """Fill the boxes of some leaves."""
    n, leaves = len(tree.rows), 1 << tree.depth
    for leaf in range(first, last):
        for k in range(3):
            least, most = np.float32(np.inf), np.float32(-np.inf)
            for row in range((leaf * n) >> tree.depth, ((leaf + 1) * n) >> tree.depth):
                for c in range(3):
                    value = points[triangles[tree.rows[row], c], k]
                    least = min(least, value)
                    most = max(most, value)
            tree.low[leaves + leaf, k] = least
            tree.high[leaves + leaf, k] = most


@kernel(makes_arrays=False)
def join_boxes(tree):
    """Fill the boxes of all other nodes, whose leaves are filled."""
    for node in range((1 << tree.depth) - 1, 0, -1):
        for k in range(3):
            tree.low[node, k] = min(tree.low[2 * node, k], tree.low[2 * node + 1, k])
            tree.high[node, k] = max(tree.high[2 * node, k], tree.high[2 * node + 1, k])


@kernel(makes_arrays=False)
def gather_near(tree, points, triangles, x0, y0, z0, x1, y1, z1, stack, out):
    """Rows of triangles whose boxes meet a box go to `out`; gives their number, or -1 if `out` is too short."""
    n = np.int64(len(tree.rows))
    leaves = np.int64(1) << tree.depth
    count = 0
    depth = 1
    stack[0] = 1
    while depth > 0:
        depth -= 1
        node = stack[depth]
        if (
            tree.low[node, 0] > x1
            or tree.high[node, 0] < x0
            or tree.low[node, 1] > y1
            or tree.high[node, 1] < y0
            or tree.low[node, 2] > z1
            or tree.high[node, 2] < z0
        ):
            continue
        if node < leaves:
            stack[depth] = 2 * node + 1
            stack[depth + 1] = 2 * node
            depth += 2
            continue
        leaf = node - leaves
        for at in range((leaf * n) >> tree.depth, ((leaf + 1) * n) >> tree.depth):
            t = tree.rows[at]
            i, j, k = triangles[t, 0], triangles[t, 1], triangles[t, 2]
            ax, bx, cx = points[i, 0], points[j, 0], points[k, 0]
            ay, by, cy = points[i, 1], points[j, 1], points[k, 1]
            az, bz, cz = points[i, 2], points[j, 2], points[k, 2]
            if (
                min(ax, bx, cx) <= x1
                and max(ax, bx, cx) >= x0
                and min(ay, by, cy) <= y1
                and max(ay, by, cy) >= y0
                and min(az, bz, cz) <= z1
                and max(az, bz, cz) >= z0
            ):
                if count == len(out):
                    return -1
                out[count] = t
                count += 1
    return count


@kernel(makes_arrays=False)
def _squared_to_box(tree, node, x, y, z):
    dx = max(tree.low[node, 0] - x, x - tree.high[node, 0], 0.0)
    dy = max(tree.low[node, 1] - y, y - tree.high[node, 1], 0.0)
    dz = max(tree.low[node, 2] - z, z - tree.high[node, 2], 0.0)
    return dx * dx + dy * dy + dz * dz


@kernel(makes_arrays=False)
def squared_to_row(points, triangles, t, x, y, z):
    """Squared distance from a place to triangle `t` of a mesh, taken about the place."""
    i, j, k = triangles[t, 0], triangles[t, 1], triangles[t, 2]
    return squared_to_triangle(
        0.0, 0.0, 0.0,
        points[i, 0] - x, points[i, 1] - y, points[i, 2] - z,
        points[j, 0] - x, points[j, 1] - y, points[j, 2] - z,
        points[k, 0] - x, points[k, 1] - y, points[k, 2] - z,
    )  # fmt: skip


@kernel(makes_arrays=False)
def nearest_row(tree, points, triangles, x, y, z, limit2, stack):
    """The triangle nearest to a place and its squared distance; -1 where none is nearer than `limit2`."""
    n = np.int64(len(tree.rows))
    leaves = np.int64(1) << tree.depth
    best, best_row = limit2, np.int32(-1)
    depth = 1
    stack[0] = 1
    while depth > 0:
        depth -= 1
        node = stack[depth]
        if _squared_to_box(tree, node, x, y, z) >= best:
            continue
        if node < leaves:
            left, right = 2 * node, 2 * node + 1
            if _squared_to_box(tree, left, x, y, z) < _squared_to_box(tree, right, x, y, z):
                left, right = right, left
            stack[depth] = left
            stack[depth + 1] = right
            depth += 2
            continue
        leaf = node - leaves
        for at in range((leaf * n) >> tree.depth, ((leaf + 1) * n) >> tree.depth):
            d = squared_to_row(points, triangles, tree.rows[at], x, y, z)
            if d < best:
                best, best_row = d, tree.rows[at]
    return best_row, best


@kernel
def gather_around(tree, points, triangles, p, q, r, margin, stack, near):
    """Rows of triangles whose boxes meet that of corners p, q, r, grown by `margin`.

    Gives their number, and `near` or a longer array.
    """
    grow = np.float64(margin)
    found = -1
    while found < 0:
        found = gather_near(
            tree, points, triangles,
            min(p[0], q[0], r[0]) - grow, min(p[1], q[1], r[1]) - grow, min(p[2], q[2], r[2]) - grow,
            max(p[0], q[0], r[0]) + grow, max(p[1], q[1], r[1]) + grow, max(p[2], q[2], r[2]) + grow,
            stack, near,
        )  # fmt: skip
        if found < 0:
            near = np.empty(4 * len(near), np.int32)
    return found, near


@kernel
def mark_near(tree, points, triangles, other_points, other_triangles, chosen, margin, mark):
    """Set `mark` (m,) for the tree's triangles whose boxes meet those of the other mesh's chosen ones.

    The latter are grown by `margin`. Several threads may set the same mark, always to the same value.
    """
    stack = np.empty(STACK, np.int64)
    near = np.empty(4096, np.int32)
    for t in chosen:
        p = other_points[other_triangles[t, 0]]
        q = other_points[other_triangles[t, 1]]
        r = other_points[other_triangles[t, 2]]
        found, near = gather_around(tree, points, triangles, p, q, r, margin, stack, near)
        for k in range(found):
            mark[near[k]] = True


@kernel
def nearest_rows(places, chosen, tree, points, triangles, out):
    """Set `out[c]` to a triangle nearest to `places[c]` for each c in `chosen`.

    Each search begins with the triangle that the one before found: neighbours mostly share it.
    """
    stack = np.empty(STACK, np.int64)
    hint = np.int32(-1)
    for c in chosen:
        x, y, z = np.float64(places[c, 0]), np.float64(places[c, 1]), np.float64(places[c, 2])
        limit2 = np.inf if hint < 0 else squared_to_row(points, triangles, hint, x, y, z)
        found = nearest_row(tree, points, triangles, x, y, z, limit2, stack)[0]
        if found >= 0:
            hint = found
        out[c] = hint
