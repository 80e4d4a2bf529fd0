"""Upper bounds of the distance from the triangles of one mesh to another, by bound and not by samples.

Three arguments settle a piece of a triangle. The distance to one convex set is a convex function: where the
three corners lie within d of the same triangle, the whole piece does. Where the other mesh covers the
piece (`firstcast.kernels.cover`), its greatest height over it bounds the distance. And no distance
changes faster than the place moves. Pieces that none settles are halved at their longest edge.

Triangles are taken in runs of fixed length. Each run knows how far some place of it lies, and looks closer only
at what might lie farther by more than `resolution`, so the greatest distance is enclosed at little cost.
"""

import numpy as np
from numba import prange

from firstcast.compiling import kernel
from firstcast.kernels.boxtree import STACK, gather_near, nearest_row, squared_to_row
from firstcast.kernels.cover import cover_height, make_over, set_frame

NEAR = 192
"""Most triangles that a piece is held against before it is halved."""

PIECES = 128
"""Room for pieces that wait: one per halving."""

HELD = 0
BEYOND = 1
UNDECIDED = 2


@kernel
def longest_edge(piece):
    """Index of the longest edge of a piece (9,) and its squared length; edge k runs from corner k to k + 1."""
    best, at = -1.0, 0
    for k in range(3):
        a, b = 3 * k, 3 * ((k + 1) % 3)
        dx, dy, dz = piece[a] - piece[b], piece[a + 1] - piece[b + 1], piece[a + 2] - piece[b + 2]
        d = dx * dx + dy * dy + dz * dz
        if d > best:
            best, at = d, k
    return at, best


@kernel
def halve(pieces, waiting, edge):
    """Replace the last waiting piece by its halves; the number that wait then is one more."""
    a, b = 3 * edge, 3 * ((edge + 1) % 3)
    last = waiting - 1
    for i in range(9):
        pieces[waiting, i] = pieces[last, i]
    for i in range(3):
        middle = 0.5 * (pieces[last, a + i] + pieces[last, b + i])
        pieces[last, b + i] = middle
        pieces[waiting, a + i] = middle


@kernel
def _worst_corner2(points, triangles, row, piece):
    """Squared distance from triangle `row` of the corner of a piece that is farthest from it."""
    worst2 = 0.0
    for c in range(0, 9, 3):
        worst2 = max(worst2, squared_to_row(points, triangles, row, piece[c], piece[c + 1], piece[c + 2]))
    return worst2


@kernel
def _one_for_all(tree, points, triangles, piece, bound, stack, near, hint):
    """Squared distance within which one triangle has all corners of a piece, and that triangle.

    Looks no farther than `bound`, and stops at the first that is within it.
    """
    count = gather_near(
        tree, points, triangles,
        min(piece[0], piece[3], piece[6]) - bound,
        min(piece[1], piece[4], piece[7]) - bound,
        min(piece[2], piece[5], piece[8]) - bound,
        max(piece[0], piece[3], piece[6]) + bound,
        max(piece[1], piece[4], piece[7]) + bound,
        max(piece[2], piece[5], piece[8]) + bound,
        stack, near,
    )  # fmt: skip
    upper2 = np.inf
    for i in range(count):
        worst2 = _worst_corner2(points, triangles, near[i], piece)
        if worst2 < upper2:
            upper2 = worst2
            hint = near[i]
            if upper2 <= bound * bound:
                break
    return upper2, hint


@kernel
def _corners_apart(tree, points, triangles, piece, stack, farthest):
    """Squared distance of the corner of a piece that is farthest from a mesh, and the triangle nearest to it.

    The corner's place goes to `farthest` (3,).
    """
    lower2, row = -1.0, np.int32(-1)
    for c in range(0, 9, 3):
        found, d = nearest_row(tree, points, triangles, piece[c], piece[c + 1], piece[c + 2], np.inf, stack)
        if d > lower2:
            lower2, row = d, found
            for i in range(3):
                farthest[i] = piece[c + i]
    return lower2, row


@kernel
def prove_pieces(
    tree, points, triangles, twin, pieces, over, bound, proved, limit, resolution, cover_mm, stack, near, hint,
    failed_at,
):  # fmt: skip
    """Prove that the first of `pieces` lies within `limit` of a mesh.

    `bound` is what is good enough: it is raised only to what some place's own distance demands, plus the
    resolution. `proved` is the greatest bound that was made use of. Gives the state, both, and the row that settled
    the last piece: a hint for the next call. The place of a failure goes to `failed_at` (3,). Pieces longer
    than `cover_mm` are halved at once, and down to an eighth of that covering is all that is tried.
    """
    waiting = 1
    plane = 0
    while waiting > 0:
        piece = pieces[waiting - 1]
        edge, length2 = longest_edge(piece)
        large = length2 > cover_mm * cover_mm / 64.0
        upper2, upper = np.inf, np.inf
        seed = hint
        if not large:
            if hint >= 0:
                upper2 = _worst_corner2(points, triangles, hint, piece)
            if upper2 > bound * bound:
                upper2, hint = _one_for_all(tree, points, triangles, piece, bound, stack, near, hint)
            upper, seed = np.sqrt(upper2), hint
        elif length2 <= cover_mm * cover_mm:
            for i in range(3):
                failed_at[i] = (piece[i] + piece[3 + i] + piece[6 + i]) / 3.0
            seed, d = nearest_row(
                tree, points, triangles, failed_at[0], failed_at[1], failed_at[2], np.inf, stack
            )
            if d > limit * limit:
                return BEYOND, bound, proved, hint
            bound = max(bound, min(np.sqrt(d) + resolution, limit))
        for attempt in range(2):
            if upper > bound and seed >= 0 and plane >= 0 and length2 <= cover_mm * cover_mm:
                if plane == 0:
                    plane = 1 if set_frame(piece, over.frame) else -1
                if plane > 0:
                    height = cover_height(piece, over, points, triangles, twin, seed, bound)
                    if height >= 0.0:
                        upper = height
            if upper <= bound or (large and plane >= 0) or attempt == 1:
                break
            lower2, row = _corners_apart(tree, points, triangles, piece, stack, failed_at)
            if lower2 > limit * limit:
                return BEYOND, bound, proved, hint
            bound = max(bound, min(np.sqrt(lower2) + resolution, limit))
            # a place of a triangle is nearer to some corner than 1/sqrt(3) of the longest edge
            upper = min(np.sqrt(upper2), np.sqrt(lower2) + 0.5774 * np.sqrt(length2))
            if row == seed:
                break
            # a cover may have begun on another skin, just as near: once more from the corner's own
            seed = row
        if upper <= bound:
            proved = max(proved, upper)
            waiting -= 1
            continue
        if length2 < 1e-12 or waiting == len(pieces):
            return UNDECIDED, bound, proved, hint
        halve(pieces, waiting, edge)
        waiting += 1
    return HELD, bound, proved, hint


@kernel(parallel=True)
def bound_from(
    from_points, from_triangles, chosen, tree, points, triangles, twin, limit, floor, resolution, cover_mm, most,
    run_length, bounds, state, nearest,
):  # fmt: skip
    """Bound the distance from the chosen triangles of one mesh to another mesh, piece by piece.

    twin : (3m,) int32, partners of the other mesh's half-edges
    floor : what is nearer than this is not looked at closely: it saves much of the work
    cover_mm : see `prove_pieces`; infinite where the chosen triangles are the smaller ones
    most : triangles that may cover a piece, a power of two; where there are more the piece is halved
    bounds : (runs,) float64, the bound of those that held in each run of `run_length` triangles
    state : (len(chosen),) uint8, HELD, BEYOND or UNDECIDED
    nearest : (len(chosen),) int32, for those that did not hold a triangle nearest to the place that failed
    """
    for index in prange(len(bounds)):
        run = np.int64(index)
        stack = np.empty(STACK, np.int64)
        near = np.empty(NEAR, np.int32)
        pieces = np.empty((PIECES, 9))
        failed_at = np.zeros(3)
        over = make_over(most)
        bound = max(floor, resolution)
        proved = 0.0
        hint = np.int32(-1)
        for i in range(run * run_length, min((run + 1) * run_length, len(chosen))):
            for c in range(3):
                for k in range(3):
                    pieces[0, 3 * c + k] = from_points[from_triangles[chosen[i], c], k]
            result, bound, proved, hint = prove_pieces(
                tree, points, triangles, twin, pieces, over, bound, proved, limit, resolution, cover_mm, stack, near,
                hint, failed_at,
            )  # fmt: skip
            state[i] = result
            nearest[i] = -1
            if result != HELD:
                nearest[i] = nearest_row(
                    tree, points, triangles, failed_at[0], failed_at[1], failed_at[2], np.inf, stack
                )[0]
        bounds[run] = proved
