"""Proof by bound that whole triangles lie within a tolerance of a set of triangles.

The distance to one triangle is convex, so a piece whose three corners are within the tolerance of the
same triangle lies within it wholly. Distance also changes no faster than place (Lipschitz constant 1):
a piece whose centre is nearer than the tolerance less the piece's radius lies within it too. Pieces for
which neither decides are cut into four.
"""

import numpy as np

from firstcast.compiling import kernel
from firstcast.proof._nearest import squared_distance

WITHIN, OPEN, BEYOND = 0, 1, 2
"""Proved within the tolerance; not decided; a point beyond the tolerance was found."""

DEEPEST = 10
LISTED = 8192
PIECES = 3000
"""Cuts in depth, triangles listed at once, pieces looked at for one triangle before giving up."""


@kernel
def _list_near(piece, reach, corners, boxes, leaves, nodes, low, high, listed):
    """Triangles whose boxes are within reach of the box of a piece; -1 if they are too many."""
    for axis in range(3):
        low[axis] = min(piece[0, axis], min(piece[1, axis], piece[2, axis])) - reach
        high[axis] = max(piece[0, axis], max(piece[1, axis], piece[2, axis])) + reach
    count = corners.shape[0]
    length = 0
    nodes[0] = 1
    top = 1
    while top > 0:
        top -= 1
        node = nodes[top]
        apart = False
        for axis in range(3):
            if boxes[node, axis] > high[axis] or boxes[node, 3 + axis] < low[axis]:
                apart = True
        if apart:
            continue
        if node < leaves:
            nodes[top], nodes[top + 1] = 2 * node, 2 * node + 1
            top += 2
            continue
        leaf = node - leaves
        for t in range(leaf * count // leaves, (leaf + 1) * count // leaves):
            apart = False
            for axis in range(3):
                a, b, c = corners[t, 0, axis], corners[t, 1, axis], corners[t, 2, axis]
                if min(a, min(b, c)) > high[axis] or max(a, max(b, c)) < low[axis]:
                    apart = True
            if not apart:
                if length == LISTED // 4:
                    return -1
                listed[length] = t
                length += 1
    return length


@kernel
def _within_one(piece, corners, t, limit):
    """Whether all corners of a piece are within the limit (squared) of triangle t."""
    return (
        squared_distance(piece[0, 0], piece[0, 1], piece[0, 2], corners, t) <= limit
        and squared_distance(piece[1, 0], piece[1, 1], piece[1, 2], corners, t) <= limit
        and squared_distance(piece[2, 0], piece[2, 1], piece[2, 2], corners, t) <= limit
    )


@kernel
def _cut(pieces, top):
    """Replace the piece at top by its four quarters, from top on."""
    for axis in range(3):
        a, b, c = pieces[top, 0, axis], pieces[top, 1, axis], pieces[top, 2, axis]
        ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
        pieces[top, 0, axis], pieces[top, 1, axis], pieces[top, 2, axis] = a, ab, ca
        pieces[top + 1, 0, axis], pieces[top + 1, 1, axis], pieces[top + 1, 2, axis] = ab, b, bc
        pieces[top + 2, 0, axis], pieces[top + 2, 1, axis], pieces[top + 2, 2, axis] = ca, bc, c
        pieces[top + 3, 0, axis], pieces[top + 3, 1, axis], pieces[top + 3, 2, axis] = ab, bc, ca


@kernel
def _judge(piece, tolerance, corners, listed, begin, end):
    """State of a piece; its centre's distance and radius; and the end of the list of what matters to it.

    The triangles that may be within the tolerance of some point of the piece are copied to listed[end:].
    """
    x = (piece[0, 0] + piece[1, 0] + piece[2, 0]) / 3.0
    y = (piece[0, 1] + piece[1, 1] + piece[2, 1]) / 3.0
    z = (piece[0, 2] + piece[1, 2] + piece[2, 2]) / 3.0
    radius = 0.0
    for k in range(3):
        dx, dy, dz = piece[k, 0] - x, piece[k, 1] - y, piece[k, 2] - z
        radius = max(radius, dx * dx + dy * dy + dz * dz)
    radius = np.sqrt(radius)
    nearest = np.inf
    reach = (tolerance + radius) ** 2
    limit = tolerance * tolerance
    safe = max(0.0, tolerance - radius) ** 2
    kept = end
    for place in range(begin, end):
        t = listed[place]
        squared = squared_distance(x, y, z, corners, t)
        if squared > reach:
            continue
        if squared <= safe or (squared <= limit and _within_one(piece, corners, t, limit)):
            return WITHIN, np.sqrt(squared), radius, end
        if kept < LISTED:
            listed[kept] = t
            kept += 1
        nearest = min(nearest, squared)
    distance = np.sqrt(nearest)
    return BEYOND if distance > tolerance else OPEN, distance, radius, kept


@kernel
def certify(start, stop, triangles, tolerance, corners, boxes, leaves, state, bound):
    """Decide for each triangle start..stop (of (m, 3, 3) float64) whether all of it is within the tolerance.

    Fills state (WITHIN, OPEN, BEYOND) and bound: no point is proved to lie farther than this
    (the tolerance where WITHIN; infinite where BEYOND).
    """
    nodes = np.empty(128, dtype=np.int64)
    low = np.empty(3)
    high = np.empty(3)
    listed = np.empty(LISTED, dtype=np.int64)
    pieces = np.empty((4 * DEEPEST + 8, 3, 3))
    begins = np.empty(4 * DEEPEST + 8, dtype=np.int64)
    ends = np.empty(4 * DEEPEST + 8, dtype=np.int64)
    depths = np.empty(4 * DEEPEST + 8, dtype=np.int64)
    for row in range(start, stop):
        state[row] = WITHIN
        bound[row] = tolerance
        for k in range(3):
            for axis in range(3):  # not a slice: its assignment takes seconds to compile
                pieces[0, k, axis] = triangles[row, k, axis]
        begins[0], ends[0], depths[0] = -1, -1, 0
        top = 1
        looked = 0
        while top > 0:
            top -= 1
            begin, end, depth = begins[top], ends[top], depths[top]
            if begin < 0:
                end = _list_near(pieces[top], tolerance, corners, boxes, leaves, nodes, low, high, listed)
                begin = 0 if end >= 0 else -1
            looked += 1
            kept = end
            distance = np.inf
            radius = 0.0
            if begin >= 0:
                verdict, distance, radius, kept = _judge(pieces[top], tolerance, corners, listed, begin, end)
                if verdict == BEYOND:
                    state[row] = BEYOND
                    bound[row] = np.inf
                    break
                if verdict == WITHIN:
                    continue
            if depth == DEEPEST or looked > PIECES or (begin >= 0 and kept == LISTED):
                state[row] = OPEN
                bound[row] = max(bound[row], distance + radius)
                continue
            _cut(pieces, top)
            for k in range(4):
                # The quarters share the list of what matters to the whole piece.
                begins[top + k] = end if begin >= 0 else -1
                ends[top + k] = kept
                depths[top + k] = depth + 1
            top += 4
