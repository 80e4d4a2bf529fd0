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

RUN = 1024
"""Triangles that share one running bound; fixed, so that results don't depend on threads."""

COVER_RUN = 64
"""The same for triangles that are larger than those of the other mesh."""

FEW, MANY = 64, 2048
"""Most triangles that may cover a piece of a small and of a large triangle; more: the piece is halved."""

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
    return max(
        squared_to_row(points, triangles, row, piece[0], piece[1], piece[2]),
        squared_to_row(points, triangles, row, piece[3], piece[4], piece[5]),
        squared_to_row(points, triangles, row, piece[6], piece[7], piece[8]),
    )


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
def prove_pieces(
    tree,
    points,
    triangles,
    twin,
    pieces,
    over,
    bound,
    proved,
    limit,
    resolution,
    stack,
    near,
    hint,
    failed_at,
):
    """Prove that the first of `pieces` lies within `limit` of a mesh.

    `bound` is what is good enough: it is raised only to what some place's own distance demands, plus the
    resolution. `proved` is the greatest bound that was made use of. Gives the state, both, and the row that settled
    the last piece: a hint for the next call. The place of a failure goes to `failed_at` (3,). Covering is
    tried where `twin` has rows.
    """
    waiting = 1
    plane = 0
    while waiting > 0:
        piece = pieces[waiting - 1]
        upper2 = np.inf if hint < 0 else _worst_corner2(points, triangles, hint, piece)
        if upper2 > bound * bound:
            upper2, hint = _one_for_all(tree, points, triangles, piece, bound, stack, near, hint)
        upper = np.sqrt(upper2)
        tried = hint
        if upper > bound and hint >= 0 and plane >= 0:
            if plane == 0:
                plane = 1 if len(twin) > 0 and set_frame(piece, over.frame) else -1
            if plane > 0:
                height = cover_height(piece, over, points, triangles, twin, hint, bound)
                if height >= 0.0:
                    upper = height
        edge, length2 = longest_edge(piece)
        if upper > bound:
            lower2 = 0.0
            row = np.int32(-1)
            for c in range(0, 9, 3):
                row, d = nearest_row(
                    tree, points, triangles, piece[c], piece[c + 1], piece[c + 2], np.inf, stack
                )
                if d > lower2:
                    lower2 = d
                    for i in range(3):
                        failed_at[i] = piece[c + i]
                worst2 = _worst_corner2(points, triangles, row, piece)
                if worst2 < upper2:
                    upper2, hint = worst2, row
            if lower2 > limit * limit:
                return BEYOND, bound, proved, hint
            lower = np.sqrt(lower2)
            bound = max(bound, min(lower + resolution, limit))
            # a place of a triangle is nearer to some corner than 1/sqrt(3) of the longest edge
            upper = min(np.sqrt(upper2), lower + 0.5774 * np.sqrt(length2))
            if upper > bound and plane > 0 and row != tried:
                # the first try may have begun on another skin, just as near
                height = cover_height(piece, over, points, triangles, twin, row, bound)
                if height >= 0.0:
                    upper = height
        if upper <= bound:
            proved = max(proved, upper)
            waiting -= 1
            continue
        if length2 < 1e-12 or waiting == len(pieces):
            return UNDECIDED, bound, proved, hint
        halve(pieces, waiting, edge)
        waiting += 1
    return HELD, bound, proved, hint


@kernel
def load_piece(points, triangles, t, piece):
    """Write the corners of triangle `t` to a piece (9,)."""
    for c in range(3):
        for k in range(3):
            piece[3 * c + k] = points[triangles[t, c], k]


@kernel(parallel=True)
def bound_from(
    from_points,
    from_triangles,
    chosen,
    tree,
    points,
    triangles,
    twin,
    limit,
    floor,
    resolution,
    bounds,
    state,
    nearest,
):
    """Bound the distance from the chosen triangles of one mesh to another mesh, piece by piece.

    floor : what is nearer than this is not looked at closely: it saves much of the work
    bounds : (runs,) float64, the bound of each run of RUN triangles that held
    state : (len(chosen),) uint8, HELD, BEYOND or UNDECIDED
    nearest : (len(chosen),) int32, for those that did not hold the nearest triangle of the other mesh
    """
    for index in prange(len(bounds)):
        run = np.int64(index)
        stack = np.empty(STACK, np.int64)
        near = np.empty(NEAR, np.int32)
        pieces = np.empty((PIECES, 9))
        failed_at = np.empty(3)
        over = make_over(FEW)
        bound = max(floor, resolution)
        proved = 0.0
        hint = np.int32(-1)
        for i in range(run * RUN, min((run + 1) * RUN, len(chosen))):
            load_piece(from_points, from_triangles, chosen[i], pieces[0])
            result, bound, proved, hint = prove_pieces(
                tree,
                points,
                triangles,
                twin,
                pieces,
                over,
                bound,
                proved,
                limit,
                resolution,
                stack,
                near,
                hint,
                failed_at,
            )
            state[i] = result
            nearest[i] = -1
            if result != HELD:
                nearest[i] = nearest_row(
                    tree, points, triangles, failed_at[0], failed_at[1], failed_at[2], np.inf, stack
                )[0]
        bounds[run] = proved


@kernel(parallel=True)
def bound_by_cover(
    from_points,
    from_triangles,
    chosen,
    tree,
    points,
    triangles,
    twin,
    limit,
    floor,
    resolution,
    piece_mm,
    bounds,
    state,
):
    """Bound the distance from the chosen large triangles to a fine mesh.

    twin : (3m,) int32 of the fine mesh; piece_mm: pieces are halved to this before they are covered, and
    those below an eighth of it are settled by `prove_pieces`.
    bounds : (runs,) float64; state : (len(chosen),) uint8.
    """
    for index in prange(len(bounds)):
        run = np.int64(index)
        stack = np.empty(STACK, np.int64)
        near = np.empty(NEAR, np.int32)
        small = np.empty((PIECES, 9))
        pieces = np.empty((PIECES, 9))
        over = make_over(MANY)
        none = np.empty(0, np.int32)
        failed_at = np.empty(3)
        first, last = run * COVER_RUN, min((run + 1) * COVER_RUN, len(chosen))
        # the corners' own distances: what the bound can't be below
        bound = max(floor, resolution)
        proved = 0.0
        for i in range(first, last):
            v = from_triangles[chosen[i], 0]
            row, d = nearest_row(
                tree, points, triangles,
                np.float64(from_points[v, 0]), np.float64(from_points[v, 1]), np.float64(from_points[v, 2]),
                limit * limit, stack,
            )  # fmt: skip
            if row >= 0:
                bound = max(bound, min(np.sqrt(d) + resolution, limit))
        hint = np.int32(-1)
        for i in range(first, last):
            load_piece(from_points, from_triangles, chosen[i], pieces[0])
            flat_enough = set_frame(pieces[0], over.frame)
            waiting = 1
            result = HELD
            while waiting > 0 and result == HELD:
                piece = pieces[waiting - 1]
                edge, length2 = longest_edge(piece)
                if not flat_enough or length2 < (piece_mm / 8.0) ** 2:
                    small[0, :] = piece
                    result, bound, proved, hint = prove_pieces(
                        tree, points, triangles, none, small, over,
                        bound, proved, limit, resolution, stack, near, hint, failed_at,
                    )  # fmt: skip
                    waiting -= 1
                    continue
                if length2 <= piece_mm * piece_mm:
                    seed, d = nearest_row(
                        tree, points, triangles,
                        (piece[0] + piece[3] + piece[6]) / 3.0,
                        (piece[1] + piece[4] + piece[7]) / 3.0,
                        (piece[2] + piece[5] + piece[8]) / 3.0,
                        limit * limit * 1.0000001, stack,
                    )  # fmt: skip
                    if seed < 0:
                        result = BEYOND
                        continue
                    bound = max(bound, min(np.sqrt(d) + resolution, limit))
                    height = cover_height(piece, over, points, triangles, twin, seed, bound)
                    if height >= 0.0:
                        proved = max(proved, height)
                        waiting -= 1
                        continue
                if waiting == len(pieces):
                    result = UNDECIDED
                    continue
                halve(pieces, waiting, edge)
                waiting += 1
            state[i] = result
        bounds[run] = proved
