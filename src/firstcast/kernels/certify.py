"""Upper bounds of the distance from the triangles of one mesh to another, by bound and not by samples.

Three arguments settle a piece of a triangle. The distance to one convex set is a convex function: where the
three corners lie within d of the same triangle, the whole piece does. Where the other mesh covers the
piece (`firstcast.kernels.cover`), its greatest height over it bounds the distance. And no distance
changes faster than the place moves. Pieces that none settles are halved at their longest edge.

Triangles are taken in runs of fixed length. Each run raises its own bound as it goes and looks closer only at
what might raise it further, so the greatest distance is enclosed to `resolution` at little cost.
"""

import numpy as np
from numba import prange

from firstcast.compiling import kernel
from firstcast.kernels.boxtree import STACK, gather_near, nearest_row, squared_to_row
from firstcast.kernels.cover import covered_within, make_over, set_frame

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
def prove_pieces(
    tree, points, triangles, twin, pieces, over, bound, limit, resolution, stack, near, hint, failed_at
):
    """Prove that the first of `pieces` lies within `limit` of a mesh.

    Gives the state, the bound (raised where needed), and the row that settled the last piece: a hint
    for the next call. The place of a failure goes to `failed_at` (3,). Covering is tried where `twin` has rows.
    """
    waiting = 1
    plane = 0
    while waiting > 0:
        piece = pieces[waiting - 1]
        if hint >= 0:
            d0 = squared_to_row(points, triangles, hint, piece[0], piece[1], piece[2])
            d1 = squared_to_row(points, triangles, hint, piece[3], piece[4], piece[5])
            d2 = squared_to_row(points, triangles, hint, piece[6], piece[7], piece[8])
            if max(d0, d1, d2) <= bound * bound:
                waiting -= 1
                continue
        edge, length2 = longest_edge(piece)
        count = gather_near(
            tree, points, triangles,
            min(piece[0], piece[3], piece[6]) - limit,
            min(piece[1], piece[4], piece[7]) - limit,
            min(piece[2], piece[5], piece[8]) - limit,
            max(piece[0], piece[3], piece[6]) + limit,
            max(piece[1], piece[4], piece[7]) + limit,
            max(piece[2], piece[5], piece[8]) + limit,
            stack, near,
        )  # fmt: skip
        near0, near1, near2, upper = np.inf, np.inf, np.inf, np.inf
        for i in range(count):
            d0 = squared_to_row(points, triangles, near[i], piece[0], piece[1], piece[2])
            d1 = squared_to_row(points, triangles, near[i], piece[3], piece[4], piece[5])
            d2 = squared_to_row(points, triangles, near[i], piece[6], piece[7], piece[8])
            near0, near1, near2 = min(near0, d0), min(near1, d1), min(near2, d2)
            if max(d0, d1, d2) < upper:
                upper = max(d0, d1, d2)
                hint = near[i]
                if upper <= bound * bound:
                    break
        upper = np.sqrt(upper)
        if upper <= bound:
            waiting -= 1
            continue
        if count >= 0:
            lower2 = max(near0, near1, near2)
            if lower2 > limit * limit:
                at = 0 if near0 == lower2 else (3 if near1 == lower2 else 6)
                for i in range(3):
                    failed_at[i] = piece[at + i]
                return BEYOND, bound, hint
            if len(twin) > 0 and lower2 <= bound * bound and plane >= 0:
                if plane == 0:
                    plane = 1 if set_frame(piece, over.frame) else -1
                if plane > 0 and covered_within(piece, over, points, triangles, twin, hint, bound):
                    waiting -= 1
                    continue
            lower = np.sqrt(lower2)
            # a place of a triangle is nearer to some corner than 1/sqrt(3) of the longest edge
            upper = min(upper, lower + 0.5774 * np.sqrt(length2))
            if upper <= limit and upper <= max(bound, lower) + resolution:
                bound = max(bound, upper)
                waiting -= 1
                continue
        if length2 < 1e-12 or waiting == len(pieces):
            for i in range(3):
                failed_at[i] = piece[i]
            return UNDECIDED, bound, hint
        halve(pieces, waiting, edge)
        waiting += 1
    return HELD, bound, hint


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

    floor : bounds below this are not looked for: it saves most of the work
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
        bound = floor
        hint = np.int32(-1)
        for i in range(run * RUN, min((run + 1) * RUN, len(chosen))):
            load_piece(from_points, from_triangles, chosen[i], pieces[0])
            result, bound, hint = prove_pieces(
                tree,
                points,
                triangles,
                twin,
                pieces,
                over,
                bound,
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
        bounds[run] = bound


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
        bound = floor
        for i in range(first, last):
            v = from_triangles[chosen[i], 0]
            row, d = nearest_row(
                tree, points, triangles,
                np.float64(from_points[v, 0]), np.float64(from_points[v, 1]), np.float64(from_points[v, 2]),
                limit * limit, stack,
            )  # fmt: skip
            if row >= 0:
                bound = max(bound, np.sqrt(d))
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
                    result, bound, hint = prove_pieces(
                        tree, points, triangles, none, small, over,
                        bound, limit, resolution, stack, near, hint, failed_at,
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
                    if covered_within(piece, over, points, triangles, twin, seed, bound):
                        waiting -= 1
                        continue
                if waiting == len(pieces):
                    result = UNDECIDED
                    continue
                halve(pieces, waiting, edge)
                waiting += 1
            state[i] = result
        bounds[run] = bound
