"""Shells: parting a heap of triangles into surfaces that are two-manifold, wound one way, with clean rims.

What can't be one surface is cut, never dropped: where more than two triangles meet at an edge they are paired
by the material between them, points where surfaces only touch are parted, one-sided surfaces are cut open.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from firstcast.arrays import Points, Triangles
from firstcast.errors import InputError
from firstcast.kernels.edges import (
    OPEN,
    SHARED,
    join_corners,
    join_faces,
    pair_around,
    pair_edges,
    walk_loops,
)
from firstcast.kernels.welding import weld_exact


@dataclass(frozen=True)
class Tally:
    """How often something was mended, and the first place of it: (3,) or None."""

    count: int = 0
    place: np.ndarray | None = None


class Shells(NamedTuple):
    """Two-manifold surfaces, with rims where they are open, and what was mended to get there.

    Attributes
    ----------
    points : (n, 3) float64
    triangles : (m, 3) int32
        In the order given, but for triangles that were split.
    shell : (m,) int32
        Number of each triangle's shell, in the order of first triangles.
    shell_count : int
        How many shells there are.
    is_open : bool
        Whether any edge has one triangle only.
    degenerate, doubled, turned, shared, touching, one_sided : Tally
        Triangles without three points; triangles given twice; triangles wound against their neighbours; edges of
        more than two triangles; points where surfaces only touch; edges cut in a one-sided surface.
    """

    points: Points
    triangles: Triangles
    shell: np.ndarray
    shell_count: int
    is_open: bool
    degenerate: Tally
    doubled: Tally
    turned: Tally
    shared: Tally
    touching: Tally
    one_sided: Tally


def part_shells(points: Points, triangles: Triangles) -> Shells:
    """Part welded triangles into two-manifold shells, each wound one way.

    Triangles whose points lie in a line stay: they close seams. Of two coinciding triangles wound
    opposite ways both stay: they are two skins.

    Parameters
    ----------
    points : (n, 3) float64
    triangles : (m, 3) int32
    """
    triangles, degenerate = _without_degenerate(points, triangles)
    triangles, doubled, mate = _without_doubled(points, triangles)
    turned = one_sided = shared = Tally()
    crowded = np.empty(0, dtype=np.int32)
    shell, turn, shell_count, odd_pairs = join_faces(triangles, mate)
    if odd_pairs:
        triangles, turned = _wound_one_way(points, triangles, shell, turn, shell_count)
        mate = pair_edges(triangles, len(points))
        mate, one_sided = _cut_one_sided(points, triangles, mate)
    if (mate == SHARED).any():
        mate, shared, crowded = _pair_shared(points, triangles, mate, shell)
    if one_sided.count or shared.count:
        shell, _, shell_count, _ = join_faces(triangles, mate)
    corner_label, first = join_corners(mate)
    touching = _touching(points, triangles, corner_label, first, crowded)
    parted = points[triangles.ravel()[first]]
    rows = corner_label.reshape(-1, 3)
    if shared.count or one_sided.count:
        parted, rows, shell = _own_midpoints(parted, rows, shell, mate)
    return Shells(
        np.ascontiguousarray(parted),
        np.ascontiguousarray(rows),
        shell,
        shell_count,
        bool((mate < 0).any()),
        degenerate,
        doubled,
        turned,
        shared,
        touching,
        one_sided,
    )


class Rims(NamedTuple):
    """The open loops of shells.

    `rows` holds point rows, loop after loop, in the direction of the triangles along them; loop i is
    rows[starts[i]:starts[i + 1]]; `shell` is the shell that each loop bounds.
    """

    rows: np.ndarray
    starts: np.ndarray
    shell: np.ndarray


def find_rims(triangles: Triangles, shell: np.ndarray, point_count: int) -> Rims:
    """The open loops of two-manifold shells, in the order of their first half-edges.

    Raises
    ------
    InputError
        The shells are not two-manifold.
    """
    mate = pair_edges(triangles, point_count)
    halves = np.flatnonzero(mate == OPEN)
    begin = triangles.ravel()[halves]
    end = triangles.ravel()[halves - halves % 3 + (halves % 3 + 1) % 3]
    leaving = np.full(point_count, -1, dtype=np.int32)
    leaving[begin] = np.arange(len(halves), dtype=np.int32)
    following = np.ascontiguousarray(leaving[end])
    if len(np.unique(following)) != len(halves) or (following < 0).any():
        raise InputError(
            "open edges do not form loops", where="shells", mend="Part the triangles into shells first."
        )
    order, starts = walk_loops(following)
    return Rims(begin[order], starts, shell[halves[order[starts[:-1]]] // 3])


def count_open_and_shared(triangles: Triangles, point_count: int) -> tuple[int, int]:
    """How many edges have one triangle, and how many half-edges lie at edges of more than two."""
    mate = pair_edges(triangles, point_count)
    return int((mate == OPEN).sum()), int((mate == SHARED).sum())


def _without_degenerate(points: Points, triangles: Triangles) -> tuple[Triangles, Tally]:
    """Without triangles that name a point twice: their other edges then meet."""
    a, b, c = triangles.T
    bad = (a == b) | (b == c) | (c == a)
    if not bad.any():
        return np.ascontiguousarray(triangles), Tally()
    place = points[triangles[np.argmax(bad), 0]]
    return np.ascontiguousarray(triangles[~bad]), Tally(int(bad.sum()), place)


def _without_doubled(points: Points, triangles: Triangles) -> tuple[Triangles, Tally, np.ndarray]:
    """Each triangle once per winding, and the mates of their half-edges.

    A doubled triangle has company at all its edges: more than two triangles, or none but its double.
    """
    mate = pair_edges(triangles, len(points))
    beyond = (mate // 3).reshape(-1, 3)  # -1 for open and shared
    suspect = (mate.reshape(-1, 3) == SHARED).all(axis=1)
    suspect |= (beyond[:, 0] >= 0) & (beyond[:, 0] == beyond[:, 1]) & (beyond[:, 1] == beyond[:, 2])
    suspects = np.flatnonzero(suspect)
    if not len(suspects):
        return triangles, Tally(), mate
    a, b, c = triangles[suspects].T
    label, _ = weld_exact(np.ascontiguousarray(np.sort(triangles[suspects], axis=1).astype(np.int64)))
    even = ((a < b) & (b < c)) | ((b < c) & (c < a)) | ((c < a) & (a < b))
    _, kept = np.unique(2 * label.astype(np.int64) + even, return_index=True)
    keep = np.ones(len(triangles), dtype=bool)
    keep[suspects] = False
    keep[suspects[kept]] = True
    if keep.all():
        return triangles, Tally(), mate
    place = points[triangles[np.argmin(keep)]].mean(axis=0)
    single = np.ascontiguousarray(triangles[keep])
    return single, Tally(int((~keep).sum()), place), pair_edges(single, len(points))


def _wound_one_way(
    points: Points, triangles: Triangles, label: np.ndarray, turn: np.ndarray, count: int
) -> tuple[Triangles, Tally]:
    """Triangles turned where they are wound against the greater part of their run."""
    minority = np.bincount(label[turn], minlength=count) * 2 > np.bincount(label, minlength=count)
    turn = turn != minority[label]
    if not turn.any():
        return triangles, Tally()
    turned = triangles.copy()
    turned[turn] = turned[turn][:, [0, 2, 1]]
    place = points[triangles[np.argmax(turn)]].mean(axis=0)
    return turned, Tally(int(turn.sum()), place)


def _ends(triangles: Triangles, halves: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points where half-edges start and end, and the point opposite."""
    flat, base, k = triangles.ravel(), halves - halves % 3, halves % 3
    return flat[halves], flat[base + (k + 1) % 3], flat[base + (k + 2) % 3]


def _cut_one_sided(points: Points, triangles: Triangles, mate: np.ndarray) -> tuple[np.ndarray, Tally]:
    """Pairs that still run the same way are cut: their surface has one side only."""
    paired = np.flatnonzero(mate >= 0)
    flat = triangles.ravel()
    odd = paired[flat[paired] == flat[mate[paired]]]
    if not len(odd):
        return mate, Tally()
    mate = mate.copy()
    mate[odd] = OPEN
    return mate, Tally(len(odd) // 2, points[flat[odd[0]]])


def _pair_shared(
    points: Points, triangles: Triangles, mate: np.ndarray, patch: np.ndarray
) -> tuple[np.ndarray, Tally, np.ndarray]:
    """Mates for triangles at crowded edges, the tally of such edges, and the points at their ends.

    `patch` (m,) numbers the surfaces that crowded edges bound.
    """
    halves = np.flatnonzero(mate == SHARED)
    if not len(halves):
        return mate, Tally(), np.empty(0, dtype=np.int32)
    begin, end, apex = _ends(triangles, halves)
    low, high, forward = np.minimum(begin, end), np.maximum(begin, end), begin < end
    axis = points[high] - points[low]
    axis /= np.maximum(np.linalg.norm(axis, axis=1), 1e-300)[:, None]
    east = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis), axis=1)])
    arm = points[apex] - points[low]
    angle = np.arctan2(np.einsum("ij,ij->i", arm, np.cross(axis, east)), np.einsum("ij,ij->i", arm, east))
    order = np.lexsort((halves, ~forward, angle, high, low))
    low, high = low[order], high[order]
    fresh = np.flatnonzero(np.concatenate([[True], (low[1:] != low[:-1]) | (high[1:] != high[:-1])]))
    starts = np.append(fresh, len(halves)).astype(np.int32)
    sorted_halves = halves[order]
    loose = _loose_patches(points, triangles, mate, patch)[patch[sorted_halves // 3]]
    partner = pair_around(starts, forward[order], angle[order], loose)
    mate = mate.copy()
    mate[sorted_halves] = np.where(partner >= 0, sorted_halves[partner], OPEN)
    place = 0.5 * (points[low[0]] + points[high[0]])
    return mate, Tally(len(fresh), place), np.unique(np.concatenate([low, high]))


def _loose_patches(points: Points, triangles: Triangles, mate: np.ndarray, patch: np.ndarray) -> np.ndarray:
    """(p,) bool: surfaces whose open rim is longer than the square root of their area.

    For a flat patch the ratio is 3.5 or more, for a hemisphere 2.5; for a ball with a hole it is 1.8 times the
    hole's radius over the ball's. Between lies 1.
    """
    count = int(patch.max()) + 1
    halves = np.flatnonzero(mate == OPEN)
    begin, end, _ = _ends(triangles, halves)
    length = np.linalg.norm(points[end] - points[begin], axis=1)
    rim = np.bincount(patch[halves // 3], weights=length, minlength=count)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    area = np.bincount(patch, weights=np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2, minlength=count)
    return rim > np.sqrt(area)


def _touching(
    points: Points, triangles: Triangles, label: np.ndarray, first: np.ndarray, crowded: np.ndarray
) -> Tally:
    """Points that became several, not counting the ends of crowded edges."""
    fans = np.bincount(triangles.ravel()[first], minlength=len(points))
    fans[crowded] = 1
    touching = np.flatnonzero(fans > 1)
    return Tally(len(touching), points[touching[0]]) if len(touching) else Tally()


def _own_midpoints(
    points: Points, triangles: np.ndarray, shell: np.ndarray, mate: np.ndarray
) -> tuple[Points, np.ndarray, np.ndarray]:
    """Give each of several edges over the same two points a midpoint of its own, but for the first.

    Two skins can share both ends of an edge without sharing the edge: by point numbers alone it would still
    look like an edge of four triangles, or a cut like a seam.
    """
    seen = pair_edges(np.ascontiguousarray(triangles), len(points))
    halves = np.flatnonzero((seen == SHARED) | ((seen >= 0) & (seen != mate)))
    if not len(halves):
        return points, triangles, shell
    leader = np.where(mate[halves] >= 0, np.minimum(halves, mate[halves]), halves)
    begin, end, _ = _ends(triangles, halves)
    key = np.minimum(begin, end).astype(np.int64) * len(points) + np.maximum(begin, end)
    _, first_row = np.unique(key, return_index=True)
    kept = np.zeros(3 * len(triangles), dtype=bool)
    kept[leader[first_row]] = True
    split = ~kept[leader]
    points, triangles, parent = split_edges(
        points, triangles, np.arange(len(triangles)), halves[split], leader[split]
    )
    # Two triangles that are each other's back now share a midpoint and its opposite: their inner edges coincide.
    halves = np.flatnonzero(pair_edges(triangles, len(points)) == SHARED)
    if len(halves):
        edge = np.unique(
            np.stack([parent[halves // 3], *np.sort(_ends(triangles, halves)[:2], axis=0)], axis=1),
            axis=0,
            return_inverse=True,
        )[1].ravel()
        points, triangles, parent = split_edges(points, triangles, parent, halves, edge)
    return points, triangles, shell[parent]


def split_edges(
    points: Points, triangles: np.ndarray, owner: np.ndarray, halves: np.ndarray, edge: np.ndarray
) -> tuple[Points, np.ndarray, np.ndarray]:
    """Split half-edges at their middle; the surface stays as it is.

    Parameters
    ----------
    owner : (m,) int
        Handed down from a triangle to its pieces.
    halves : (h,) int
        Half-edges to split, each once.
    edge : (h,) int
        Half-edges of the same number share their midpoint.

    Returns
    -------
    points, triangles, owner : triangles that were split stand at the end
    """
    _, first_row, number = np.unique(edge, return_index=True, return_inverse=True)
    begin, end, _ = _ends(triangles, halves[first_row])
    middles = 0.5 * (points[begin] + points[end])
    middle_of = np.full(3 * len(triangles), -1, dtype=np.int64)
    middle_of[halves] = len(points) + number.ravel()
    touched = np.unique(halves // 3)
    corner, middle = triangles[touched], middle_of.reshape(-1, 3)[touched]
    pieces, owners = [], []
    for first in range(3):  # turn each triangle so that its pattern of split edges is a plain one
        turn = [first, (first + 1) % 3, (first + 2) % 3]
        (a, b, c), (m, n, p) = corner[:, turn].T, middle[:, turn].T
        patterns = [
            ((m >= 0) & (n < 0) & (p < 0), [(a, m, c), (m, b, c)]),
            ((m >= 0) & (n >= 0) & (p < 0), [(a, m, n), (a, n, c), (m, b, n)]),
        ]
        if first == 0:
            whole = (m >= 0) & (n >= 0) & (p >= 0)
            patterns.append((whole, [(a, m, p), (m, b, n), (n, c, p), (m, n, p)]))
        for chosen, rows in patterns:
            for row in rows:
                pieces.append(np.stack(row, axis=1)[chosen])
                owners.append(owner[touched[chosen]])
    rest = np.ones(len(triangles), dtype=bool)
    rest[touched] = False
    return (
        np.concatenate([points, middles]),
        np.concatenate([triangles[rest], *pieces]).astype(np.int32),
        np.concatenate([owner[rest], *owners]),
    )
