"""Loops of the search tree on triangles: ordering, boxes, closest triangle.

The tree is balanced and implicit. `depth` halvings at the median of the longest axis put the
triangles in order; leaf k of 2^depth holds the rows k*n >> depth to (k+1)*n >> depth. Three
halvings make one node of eight children, whose boxes lie side by side so that one query is held
against all eight at once. Node k of a level has the children 8k to 8k + 7 of the next level; only
the root may have fewer. `level_base` gives where each level starts among the nodes.

Boxes are float32, about the tree's middle, grown so that rounding never hides a triangle.
"""

import numba
import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.nearest import nearest_place

STACK = 128
"""Room for 16 levels of eight children: more than 2^31 triangles need."""

BLOCK = 256
"""Queries that one thread takes in a row, each starting from the triangle that the one before found."""


@kernel
def corner_bounds(start, stop, points, triangles):
    """Least x, y, z, then greatest, of the corners of triangles start..stop; NaN where one of them isn't finite."""
    low_x = low_y = low_z = np.inf
    high_x = high_y = high_z = -np.inf
    sums = 0.0
    for t in range(start, stop):
        for c in range(3):
            v = triangles[t, c]
            x, y, z = points[v, 0], points[v, 1], points[v, 2]
            low_x, low_y, low_z = min(low_x, x), min(low_y, y), min(low_z, z)
            high_x, high_y, high_z = max(high_x, x), max(high_y, y), max(high_z, z)
            sums += 0.0 * (x + y + z)  # NaN as soon as one of them isn't finite; else nothing
    return low_x + sums, low_y + sums, low_z + sums, high_x + sums, high_y + sums, high_z + sums


@kernel
def middles(start, stop, points, triangles, centre, out):
    """Fill out[start:stop] (n, 3) float32 with the middles of triangles, about `centre`."""
    for t in range(start, stop):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        for k in range(3):
            out[t, k] = (points[a, k] + points[b, k] + points[c, k]) / 3.0 - centre[k]


@kernel(makes_arrays=False)
def _select(centres, order, start, stop, nth, axis):
    """Partition rows start..stop so that row `nth` is in place along `axis` (quickselect, Hoare)."""
    left = start
    right = stop - 1
    while left < right:
        middle = (left + right) >> 1
        a = centres[left, axis]
        b = centres[middle, axis]
        c = centres[right, axis]
        pivot = max(min(a, b), min(max(a, b), c))
        i = left
        j = right
        while i <= j:
            while centres[i, axis] < pivot:
                i += 1
            while centres[j, axis] > pivot:
                j -= 1
            if i <= j:
                for k in range(3):
                    kept = centres[i, k]
                    centres[i, k] = centres[j, k]
                    centres[j, k] = kept
                row = order[i]
                order[i] = order[j]
                order[j] = row
                i += 1
                j -= 1
        if nth <= j:
            right = j
        elif nth >= i:
            left = i
        else:
            return


@kernel(makes_arrays=False)
def _halve(centres, order, start, stop, middle):
    """Split rows start..stop at row `middle` along the longest axis of their centres."""
    if stop - start < 2 or middle <= start or middle >= stop:
        return
    axis = 0
    widest = np.float32(-1.0)
    for k in range(3):
        low = centres[start, k]
        high = low
        for row in range(start + 1, stop):
            value = centres[row, k]
            low = min(low, value)
            high = max(high, value)
        if high - low > widest:
            widest = high - low
            axis = k
    _select(centres, order, start, stop, middle, axis)


@kernel(parallel=True)
def order_rows(centres, order, depth, shared_levels):
    """Put triangles in tree order: changes `centres` (n, 3) float32 and `order` (n,) int32 in place.

    The first `shared_levels` levels run level by level, the rest subtree by subtree.
    """
    n = np.int64(len(order))
    for level in range(shared_levels):
        for k in numba.prange(np.int64(1) << level):
            start = (k * n) >> level
            stop = ((k + 1) * n) >> level
            _halve(centres, order, start, stop, ((2 * k + 1) * n) >> (level + 1))
    for subtree in numba.prange(np.int64(1) << shared_levels):
        for level in range(shared_levels, depth):
            below = level - shared_levels
            for part in range(np.int64(1) << below):
                k = (np.int64(subtree) << below) + part
                start = (k * n) >> level
                stop = ((k + 1) * n) >> level
                _halve(centres, order, start, stop, ((2 * k + 1) * n) >> (level + 1))


@kernel(parallel=True)
def arrange(points, triangles, order, centre, slack, depth, level_base, sorted_corners, boxes):
    """Fill `sorted_corners` (n, 3, 3) float64 in tree order and `boxes` (nodes, 6, 8) float32, bottom up.

    A box holds low x, y, z, then high x, y, z, of each child; a child without triangles has an empty
    box, which no query can reach. `slack` is added on every side.
    """
    n = np.int64(len(order))
    levels = len(level_base) - 1
    top = depth - 3 * (levels - 1)
    bottom = levels - 1
    for node in numba.prange(level_base[levels] - level_base[bottom]):
        row = level_base[bottom] + node
        for child in range(8):
            for k in range(3):
                boxes[row, k, child] = np.inf
                boxes[row, 3 + k, child] = -np.inf
            if bottom == 0 and child >= (1 << top):
                continue
            leaf = 8 * np.int64(node) + child
            for t in range((leaf * n) >> depth, ((leaf + 1) * n) >> depth):
                source = order[t]
                for k in range(3):
                    low = np.inf
                    high = -np.inf
                    for c in range(3):
                        value = points[triangles[source, c], k]
                        sorted_corners[t, c, k] = value
                        low = min(low, value)
                        high = max(high, value)
                    boxes[row, k, child] = min(boxes[row, k, child], np.float32(low - centre[k] - slack))
                    boxes[row, 3 + k, child] = max(
                        boxes[row, 3 + k, child], np.float32(high - centre[k] + slack)
                    )
    for above in range(levels - 1):
        level = levels - 2 - above
        for node in numba.prange(level_base[level + 1] - level_base[level]):
            row = level_base[level] + node
            for child in range(8):
                below = level_base[level + 1] + 8 * node + child
                for k in range(3):
                    low = np.float32(np.inf)
                    high = np.float32(-np.inf)
                    if below < level_base[level + 2]:
                        for c in range(8):
                            low = min(low, boxes[below, k, c])
                            high = max(high, boxes[below, 3 + k, c])
                    boxes[row, k, child] = low
                    boxes[row, 3 + k, child] = high


@kernel(makes_arrays=False)
def nearest_on_triangle(p, corner, out):
    """Squared distance of place `p` from the triangle `corner` (3, 3); the nearest place goes to `out`: see `nearest_place`."""
    distance2, out[0], out[1], out[2] = nearest_place(
        p[0], p[1], p[2],
        corner[0, 0], corner[0, 1], corner[0, 2],
        corner[1, 0], corner[1, 1], corner[1, 2],
        corner[2, 0], corner[2, 1], corner[2, 2],
    )  # fmt: skip
    return distance2


@kernel(makes_arrays=False)
def _try_rows(p, corners, rows, start, stop, tie2, best2, best_row, best_place, place):
    """Hold `p` against the triangles start..stop; what is nearer, or as near with a lower number, wins."""
    for t in range(start, stop):
        distance2 = nearest_on_triangle(p, corners[t], place)
        margin = 1e-12 * best2 + tie2
        if distance2 < best2 - margin or (
            distance2 <= best2 + margin and (best_row < 0 or rows[t] < rows[best_row])
        ):
            best2 = distance2
            best_row = t
            for k in range(3):
                best_place[k] = place[k]
    return best2, best_row


@kernel(makes_arrays=False)
def _nearest(p, corners, rows, boxes, level_base, depth, centre, tie2, best2, best_row, work):
    """Nearest row of one query, begun at `best_row` (-1: none). `work` lends the stacks."""
    stack_node, stack_level, stack_d2, child_d2, best_place, place = work
    n = np.int64(len(rows))
    levels = len(level_base) - 1
    x = np.float32(p[0] - centre[0])
    y = np.float32(p[1] - centre[1])
    z = np.float32(p[2] - centre[2])
    zero = np.float32(0.0)
    size = 1
    stack_node[0] = 0
    stack_level[0] = 0
    stack_d2[0] = 0.0
    while size > 0:
        size -= 1
        bound = best2 * 1.00001 + tie2
        if stack_d2[size] > bound:
            continue
        node = stack_node[size]
        level = stack_level[size]
        if level == levels:
            best2, best_row = _try_rows(
                p, corners, rows, (node * n) >> depth, ((node + 1) * n) >> depth,
                tie2, best2, best_row, best_place, place,
            )  # fmt: skip
            continue
        box = boxes[level_base[level] + node]
        # told that there are eight, the compiler writes them out one after the other instead of side by side
        for c in range(len(child_d2)):
            dx = max(max(box[0, c] - x, x - box[3, c]), zero)
            dy = max(max(box[1, c] - y, y - box[4, c]), zero)
            dz = max(max(box[2, c] - z, z - box[5, c]), zero)
            child_d2[c] = dx * dx + dy * dy + dz * dz
        bottom = size
        for c in range(8):
            d2 = child_d2[c]
            if d2 <= bound and d2 < np.inf:
                at = size
                while at > bottom and stack_d2[at - 1] < d2:
                    stack_node[at] = stack_node[at - 1]
                    stack_level[at] = stack_level[at - 1]
                    stack_d2[at] = stack_d2[at - 1]
                    at -= 1
                stack_node[at] = 8 * node + c
                stack_level[at] = level + 1
                stack_d2[at] = d2
                size += 1
    return best2, best_row


@kernel(parallel=True)
def closest(
    queries, visit, corners, rows, boxes, level_base, depth, centre, tie_mm, distance, place, triangle
):
    """Fill `distance` (n,), `place` (n, 3) and `triangle` (n,) int32 for each query.

    Queries are taken in the order `visit`; blocks of fixed length make the result the same for any
    number of threads.
    """
    n = len(queries)
    tie2 = tie_mm * tie_mm
    for block in numba.prange((n + BLOCK - 1) // BLOCK):
        work = (
            np.empty(STACK, np.int64), np.empty(STACK, np.int64), np.empty(STACK, np.float32),
            np.empty(8, np.float32), np.empty(3), np.empty(3),
        )  # fmt: skip
        seed = np.int64(-1)
        for at in range(block * BLOCK, min(n, (block + 1) * BLOCK)):
            q = visit[at]
            best2 = np.inf
            if seed >= 0:
                best2 = nearest_on_triangle(queries[q], corners[seed], work[4])
            best2, seed = _nearest(
                queries[q], corners, rows, boxes, level_base, depth, centre, tie2, best2, seed, work
            )
            distance[q] = np.sqrt(best2)
            triangle[q] = rows[seed]
            for k in range(3):
                place[q, k] = work[4][k]
