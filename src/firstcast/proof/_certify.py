"""Proof by bound that whole triangles lie within a tolerance of a set of triangles.

The distance to one triangle is convex, so a piece whose three corners are within the tolerance of the
same triangle lies within it wholly. Distance also changes no faster than place (Lipschitz constant 1):
a piece whose centre is nearer than the tolerance less the piece's radius lies within it too. Pieces for
which neither decides are cut into four.
"""

import numpy as np

from firstcast.compiling import kernel
from firstcast.proof._nearest import search, squared_distance
from firstcast.proof._tree import search_room

WITHIN, OPEN, BEYOND = 0, 1, 2
"""Proved within the tolerance; not decided; a point beyond the tolerance was found."""

DEEPEST = 10
PIECES = 20_000
"""Cuts in depth, and pieces looked at for one triangle, before giving up."""

RECENT = 3
"""Triangles remembered, to be asked first."""


@kernel
def _farthest_corner(pieces, piece, limit, corners, t):
    """Squared distance from triangle t to the farthest corner of a piece; infinite if it is beyond the limit."""
    farthest = 0.0
    for k in range(3):
        squared = squared_distance(pieces[piece, k, 0], pieces[piece, k, 1], pieces[piece, k, 2], corners, t)
        farthest = max(farthest, squared)
        if squared > limit:
            return np.inf
    return farthest


@kernel
def _cut(pieces, depths, top):
    """Replace the piece at top by its four quarters, from top on."""
    depth = depths[top] + 1
    for k in range(top, top + 4):
        depths[k] = depth
    for axis in range(3):
        a, b, c = pieces[top, 0, axis], pieces[top, 1, axis], pieces[top, 2, axis]
        ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
        pieces[top, 0, axis], pieces[top, 1, axis], pieces[top, 2, axis] = a, ab, ca
        pieces[top + 1, 0, axis], pieces[top + 1, 1, axis], pieces[top + 1, 2, axis] = ab, b, bc
        pieces[top + 2, 0, axis], pieces[top + 2, 1, axis], pieces[top + 2, 2, axis] = ca, bc, c
        pieces[top + 3, 0, axis], pieces[top + 3, 1, axis], pieces[top + 3, 2, axis] = ab, bc, ca


@kernel
def _judge(pieces, top, limit, recent, tree, room):
    """State of a piece, and the bound on its squared distance.

    Mostly a piece lies within reach of a triangle that decided a neighbour: those in `recent`, newest first.
    """
    corners = tree[0]
    for k in range(recent.shape[0]):
        farthest = _farthest_corner(pieces, top, limit, corners, recent[k])
        if farthest <= limit:
            return WITHIN, farthest
    x = (pieces[top, 0, 0] + pieces[top, 1, 0] + pieces[top, 2, 0]) / 3.0
    y = (pieces[top, 0, 1] + pieces[top, 1, 1] + pieces[top, 2, 1]) / 3.0
    z = (pieces[top, 0, 2] + pieces[top, 1, 2] + pieces[top, 2, 2]) / 3.0
    nearest, place = search(x, y, z, recent[0], tree, room)
    if nearest > limit:
        return BEYOND, np.inf
    if place != recent[0]:
        for k in range(recent.shape[0] - 1, 0, -1):
            recent[k] = recent[k - 1]
        recent[0] = place
    radius = 0.0
    for k in range(3):
        dx, dy, dz = pieces[top, k, 0] - x, pieces[top, k, 1] - y, pieces[top, k, 2] - z
        radius = max(radius, dx * dx + dy * dy + dz * dz)
    farthest = _farthest_corner(pieces, top, limit, corners, place)
    farthest = min(farthest, (np.sqrt(nearest) + np.sqrt(radius)) ** 2)
    return (WITHIN if farthest <= limit else OPEN), farthest


@kernel
def certify(start, stop, triangles, tolerance, corners, boxes, leaves, state, bound):
    """Decide for each triangle start..stop (of (m, 3, 3) float64) whether all of it is within the tolerance.

    Fills state (WITHIN, OPEN, BEYOND) and bound: it is proved that no point lies farther (infinite where
    BEYOND). Neighbouring rows should be neighbours in space: each begins with the last ones' answers.
    """
    tree, room = (corners, boxes, leaves), search_room()
    recent = np.zeros(RECENT, dtype=np.int64)
    pieces = np.empty((4 * DEEPEST + 8, 3, 3))
    depths = np.empty(4 * DEEPEST + 8, dtype=np.int64)
    for row in range(start, stop):
        for k in range(3):
            for axis in range(3):  # not a slice: its assignment takes seconds to compile
                pieces[0, k, axis] = triangles[row, k, axis]
        depths[0] = 0
        top, looked, farthest = 1, 0, 0.0
        state[row] = WITHIN
        while top > 0:
            top -= 1
            looked += 1
            verdict, squared = _judge(pieces, top, tolerance * tolerance, recent, tree, room)
            if verdict == OPEN and depths[top] < DEEPEST and looked < PIECES:
                _cut(pieces, depths, top)
                top += 4
                continue
            state[row] = max(state[row], verdict)
            farthest = max(farthest, squared)
            if verdict == BEYOND:
                break
        bound[row] = np.sqrt(farthest)
