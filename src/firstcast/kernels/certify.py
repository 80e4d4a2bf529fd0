"""Upper bounds of the distance from the triangles of one mesh to another, by bound and not by samples.

Four arguments settle a piece of a triangle. The distance to one convex set is a convex function: where the
three corners lie within d of the same triangle, the whole piece does. Where the other mesh covers the
piece (`firstcast.kernels.cover`), its greatest distance from it bounds the distance. No distance changes faster
than the place moves. And a piece that none of these settles is cut in two, where one corner's triangle hands over to another's.

Each corner knows a triangle of the other mesh that has it within the bound. Triangles are taken in runs of fixed
length. Each run knows how far some place of it lies, and looks closer only at what might lie farther by more
than `resolution`, so the greatest distance is enclosed at little cost.
"""

from typing import NamedTuple

import numpy as np

from firstcast.compiling import kernel
from firstcast.kernels.boxtree import STACK, BoxTree, nearest_row, squared_to_row
from firstcast.kernels.cover import Over, cover_squared, make_over, set_frame

PIECES = 128
"""Room for pieces that wait: one per cut."""

RUN = 256
"""Triangles that share one running bound; fixed, so that results don't depend on threads."""

SMALL_SHARE2 = 0.06
"""Parts whose longest edge is shorter than a quarter of an edge near them (squared) are not tried to be covered: one
triangle soon has all of such a part. It changes the work and not what holds."""

LEAST_SHARE = 0.0625
"""Cuts leave at least this share of the edge on either side."""

HELD = 0
BEYOND = 1
UNDECIDED = 2


class Surface(NamedTuple):
    """A mesh with what distance queries need."""

    points: np.ndarray  # (n, 3) float32
    triangles: np.ndarray  # (m, 3) int32
    tree: BoxTree
    twin: np.ndarray  # (3m,) int32, the partner of each half-edge, -1 where it has none or several


class Pieces(NamedTuple):
    """Scratch: pieces that wait, the last first."""

    place: np.ndarray  # (PIECES, 3, 3) float64, corners
    row: np.ndarray  # (PIECES, 3) int32, a triangle of the other mesh near each corner
    squared: np.ndarray  # (PIECES, 3) float64, squared distance of each corner from its triangle
    stack: np.ndarray  # (STACK,) int64, for searches
    over: Over


@kernel
def _near_row(surface, x, y, z, row, bound2, stack):
    """`row` if it has a place within the bound, else the nearest triangle; and the squared distance."""
    d = np.inf
    if row >= 0:
        d = squared_to_row(surface.points, surface.triangles, row, x, y, z)
    if not d <= bound2:
        found, least = nearest_row(surface.tree, surface.points, surface.triangles, x, y, z, d, stack)
        if found >= 0:
            return found, least
    return row, d


@kernel
def _squared_to_corner(surface, pieces, last, corner, row):
    """Squared distance of a corner of a waiting piece from a triangle."""
    if pieces.row[last, corner] == row:
        return pieces.squared[last, corner]
    p = pieces.place
    return squared_to_row(
        surface.points, surface.triangles, row, p[last, corner, 0], p[last, corner, 1], p[last, corner, 2]
    )


@kernel
def _one_for_all(surface, pieces, last, bound2):
    """Squared distance within which one corner's triangle has all corners; infinite if above the bound."""
    for c in range(3):
        row = pieces.row[last, c]
        worst2 = pieces.squared[last, c]
        for k in range(1, 3):
            if worst2 <= bound2:
                worst2 = max(worst2, _squared_to_corner(surface, pieces, last, (c + k) % 3, row))
        if worst2 <= bound2:
            return worst2
    return np.inf


@kernel
def _edge_to_cut(pieces, last, careful):
    """The longest edge whose corners have not the same triangle, and the squared length of the longest of all.

    `careful`: the longest of all. Edge k runs from corner k to the next.
    """
    most2, longest2, at = -1.0, 0.0, 0
    p = pieces.place
    for k in range(3):
        j = (k + 1) % 3
        length2 = 0.0
        for i in range(3):
            length2 += (p[last, k, i] - p[last, j, i]) ** 2
        longest2 = max(longest2, length2)
        if (careful or pieces.row[last, k] != pieces.row[last, j]) and length2 > most2:
            most2, at = length2, k
    return at, longest2


@kernel
def _cut(surface, pieces, last, edge, careful, bound2):
    """Replace a waiting piece by its two parts, cut where the triangles at an edge's ends hand over.

    Gives the squared distance of the new corner and the triangle near it.
    """
    p = pieces.place
    a, b = edge, (edge + 1) % 3
    here, there = pieces.row[last, a], pieces.row[last, b]
    # on flat ground these are the distances from the border between the two triangles
    from_a = np.sqrt(_squared_to_corner(surface, pieces, last, a, there))
    from_b = np.sqrt(_squared_to_corner(surface, pieces, last, b, here))
    both = from_a + from_b
    # both ends on the border itself: anywhere
    share = min(max(from_a / both, LEAST_SHARE), 1.0 - LEAST_SHARE) if both > 0.0 and not careful else 0.5
    new = last + 1
    for c in range(3):
        pieces.row[new, c], pieces.squared[new, c] = pieces.row[last, c], pieces.squared[last, c]
        for i in range(3):
            p[new, c, i] = p[last, c, i]
    for i in range(3):
        p[last, b, i] = p[new, a, i] = p[last, a, i] + share * (p[last, b, i] - p[last, a, i])
    x, y, z = p[new, a, 0], p[new, a, 1], p[new, a, 2]
    if squared_to_row(surface.points, surface.triangles, there, x, y, z) <= bound2:
        here = there
    row, squared = _near_row(surface, x, y, z, here, 0.0 if careful else bound2, pieces.stack)
    pieces.row[last, b] = pieces.row[new, a] = row
    pieces.squared[last, b] = pieces.squared[new, a] = squared
    return squared, row


@kernel
def _row_at_middle(surface, pieces, last):
    """The triangle nearest to the middle of a waiting piece."""
    p = pieces.place[last]
    x, y, z = (
        (p[0, 0] + p[1, 0] + p[2, 0]) / 3.0,
        (p[0, 1] + p[1, 1] + p[2, 1]) / 3.0,
        (p[0, 2] + p[1, 2] + p[2, 2]) / 3.0,
    )
    return _near_row(surface, x, y, z, pieces.row[last, 0], 0.0, pieces.stack)[0]


@kernel
def _cover(surface, pieces, last, longest2, bound2):
    """Squared distance within which the mesh covers a piece that is larger than the triangles near it, or infinite."""
    tried = np.int32(-1)
    # a corner's triangle may stand on edge; a whole triangle is worth a search from its middle as well
    for c in range(3 if last > 0 else 4):
        row = pieces.row[last, c] if c < 3 else _row_at_middle(surface, pieces, last)
        if row == tried:
            continue
        tried = row
        if c == 3:
            worst2 = 0.0
            for k in range(3):
                worst2 = max(worst2, _squared_to_corner(surface, pieces, last, k, row))
            if worst2 <= bound2:
                return worst2
        i, j = surface.triangles[row, 0], surface.triangles[row, 1]
        size2 = 0.0
        for k in range(3):
            size2 += np.float64(surface.points[i, k] - surface.points[j, k]) ** 2
        if last > 0 and longest2 < SMALL_SHARE2 * size2:
            continue
        squared = cover_squared(
            pieces.place[last], pieces.over, surface.points, surface.triangles, surface.twin, row, bound2
        )
        if squared >= 0.0:
            return squared
    return np.inf


@kernel
def prove_piece(surface, pieces, careful, bound, proved, limit, resolution):
    """Prove that the first of the waiting pieces lies within `limit` of a mesh.

    `bound` is what is good enough: it is raised only to what some place's own distance demands, plus the
    resolution. `proved` is the greatest bound that was made use of. Gives the state, both, and the triangle nearest
    to a place that is too far away.

    `careful` takes each corner's nearest triangle and halves the longest edge: slower, but parts shrink until the
    third argument settles them. It is for what the quick way leaves undecided.
    """
    for c in range(3):
        row, squared = _near_row(
            surface, pieces.place[0, c, 0], pieces.place[0, c, 1], pieces.place[0, c, 2],
            pieces.row[0, c], 0.0 if careful else bound * bound, pieces.stack,
        )  # fmt: skip
        if not squared <= limit * limit:
            return BEYOND, bound, proved, row
        pieces.row[0, c], pieces.squared[0, c] = row, squared
        if careful or squared > bound * bound:
            bound = max(bound, min(np.sqrt(squared) + resolution, limit))
    plane = 0
    last = 0
    while last >= 0:
        squared = _one_for_all(surface, pieces, last, bound * bound)
        if squared == np.inf:
            edge, longest2 = _edge_to_cut(pieces, last, careful)
            if plane == 0:
                plane = 1 if set_frame(pieces.place[0], pieces.over.frame) else -1
            if plane > 0:
                squared = _cover(surface, pieces, last, longest2, bound * bound)
            if squared == np.inf:
                farthest = np.sqrt(
                    max(pieces.squared[last, 0], pieces.squared[last, 1], pieces.squared[last, 2])
                )
                # a place of a triangle is nearer to some corner than 1/sqrt(3) of the longest edge
                if farthest + 0.5774 * np.sqrt(longest2) <= bound:
                    squared = (farthest + 0.5774 * np.sqrt(longest2)) ** 2
        if squared < np.inf:
            proved = max(proved, np.sqrt(squared))
            last -= 1
            continue
        if longest2 < 1e-12 or last + 1 == len(pieces.row):
            return UNDECIDED, bound, proved, pieces.row[last, 0]
        squared, row = _cut(surface, pieces, last, edge, careful, bound * bound)
        if not squared <= limit * limit:
            return BEYOND, bound, proved, row
        if careful or squared > bound * bound:
            bound = max(bound, min(np.sqrt(squared) + resolution, limit))
        last += 1
    return HELD, bound, proved, np.int32(-1)


@kernel
def make_pieces():
    """Scratch for one run."""
    return Pieces(
        np.empty((PIECES, 3, 3)),
        np.empty((PIECES, 3), np.int32),
        np.empty((PIECES, 3)),
        np.empty(STACK, np.int64),
        make_over(),
    )


@kernel
def bound_from(points, triangles, chosen, near, surface, limit, floor, resolution, state, nearest):
    """Bound the distance from the chosen triangles of one mesh to another mesh; gives the bound of those that held.

    near : (n,) int32, for each point of the first mesh a triangle that may be near it, -1 where none is known
    floor : what is nearer than this is not looked at closely: it saves much of the work
    state : (len(chosen),) uint8, HELD, BEYOND or UNDECIDED
    nearest : (len(chosen),) int32, for those that did not hold a triangle nearest to a place that failed
    """
    pieces = make_pieces()
    bound, proved = 0.0, 0.0
    for i in range(len(chosen)):
        if i % RUN == 0:
            bound = min(max(floor, resolution), limit)
        for careful in (False, True):
            for c in range(3):
                v = triangles[chosen[i], c]
                pieces.row[0, c] = near[v]
                for k in range(3):
                    pieces.place[0, c, k] = points[v, k]
            state[i], bound, proved, nearest[i] = prove_piece(
                surface, pieces, careful, bound, proved, limit, resolution
            )
            if state[i] != UNDECIDED:
                break
    return proved
