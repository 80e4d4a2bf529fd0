"""Pairs of triangles of one mesh that meet elsewhere than in the corners and edges they share.

Triangles that touch are counted: after the file is welded they would be joined there. Every side test is exact.
"""

import numpy as np

from firstcast.compiling import kernel
from firstcast.kernels.boxtree import STACK, gather_near
from firstcast.kernels.orientation import side_of_line, side_of_plane


@kernel(makes_arrays=False)
def _flat_axes(points, a, b, c):
    """The two axes along which a triangle is seen largest."""
    ux, uy, uz = (
        np.float64(points[b, 0]) - points[a, 0],
        np.float64(points[b, 1]) - points[a, 1],
        np.float64(points[b, 2]) - points[a, 2],
    )
    vx, vy, vz = (
        np.float64(points[c, 0]) - points[a, 0],
        np.float64(points[c, 1]) - points[a, 1],
        np.float64(points[c, 2]) - points[a, 2],
    )
    nx, ny, nz = abs(uy * vz - uz * vy), abs(uz * vx - ux * vz), abs(ux * vy - uy * vx)
    if nz >= nx and nz >= ny:
        return 0, 1
    if ny >= nx:
        return 2, 0
    return 1, 2


@kernel(makes_arrays=False)
def _segments_meet(points, p, q, a, b, u, v):
    """Whether two segments of one plane meet, ends included."""
    flat = 0
    for turn in range(2):
        s = side_of_line(points, p, q, a, u, v)
        t = side_of_line(points, p, q, b, u, v)
        if s * t > 0:
            return False
        flat += abs(s) + abs(t)
        p, q, a, b = a, b, p, q
        if turn == 0 and flat == 0:
            # on one line: their spans must meet along both axes
            for k in (u, v):
                if max(points[p, k], points[q, k]) < min(points[a, k], points[b, k]):
                    return False
                if max(points[a, k], points[b, k]) < min(points[p, k], points[q, k]):
                    return False
    return True


@kernel(makes_arrays=False)
def _flat_hit(points, p, q, corner):
    """Whether segment p-q meets a triangle of the same plane."""
    u, v = _flat_axes(points, corner[0], corner[1], corner[2])
    low, high = 0, 0
    for k in range(3):
        s = side_of_line(points, corner[k], corner[(k + 1) % 3], p, u, v)
        low, high = min(low, s), max(high, s)
    if low * high == 0:
        return True
    met = False
    for k in range(3):
        met = met or _segments_meet(points, p, q, corner[k], corner[(k + 1) % 3], u, v)
    return met


@kernel(makes_arrays=False)
def _edge_hits(points, p, q, sp, sq, corner):
    """Whether segment p-q, whose ends lie on sides sp and sq of a triangle's plane, meets the triangle."""
    if sp * sq > 0:
        return False
    if sp == 0 and sq == 0:
        return _flat_hit(points, p, q, corner)
    low, high = 0, 0
    for k in range(3):
        s = side_of_plane(points, p, q, corner[k], corner[(k + 1) % 3])
        low, high = min(low, s), max(high, s)
        if low * high < 0:
            return False
    return True


@kernel(makes_arrays=False)
def _sides(points, corner, other):
    """The sides of a triangle's plane on which another's corners lie, two bits each: 0, 1, 2 for -1, 0, 1."""
    code = 0
    for k in range(3):
        code |= (side_of_plane(points, corner[0], corner[1], corner[2], other[k]) + 1) << (2 * k)
    return code


@kernel(makes_arrays=False)
def _edges_hit(points, corner, other, code, first, last):
    """Whether edges `first` to `last` - 1 of `other`, whose corners' sides are in `code`, meet a triangle.

    Edge k runs from corner k to the next.
    """
    for k in range(first, last):
        j = (k + 1) % 3
        sp, sq = ((code >> (2 * k)) & 3) - 1, ((code >> (2 * j)) & 3) - 1
        if _edge_hits(points, other[k], other[j], sp, sq, corner):
            return True
    return False


@kernel(makes_arrays=False)
def _may_meet(code, skipped):
    """Whether corners lie on both sides or on the plane itself, leaving out corner `skipped` (3: none)."""
    low, high = 1, -1
    for k in range(3):
        if k != skipped:
            s = ((code >> (2 * k)) & 3) - 1
            low, high = min(low, s), max(high, s)
    return low * high <= 0


@kernel(makes_arrays=False)
def _meet(points, a, b, i, j):
    """Whether two triangles meet that share no corner (i = j = 3), or elsewhere than in the corner a[i] = b[j].

    Triangles that share a corner and more meet on the edge of one of them that faces the corner.
    """
    for _ in range(2):
        code = _sides(points, a, b)
        if not _may_meet(code, j):
            return False
        a, b, i, j = b, a, j, i
    for _ in range(2):
        code = _sides(points, a, b)
        first = 0 if j == 3 else (j + 1) % 3
        last = 3 if j == 3 else first + 1
        if _edges_hit(points, a, b, code, first, last):
            return True
        a, b, i, j = b, a, j, i
    return False


@kernel(makes_arrays=False)
def _edge_meet(points, u, v, a, b):
    """Whether two triangles u, v, a and u, v, b lie folded onto one another."""
    if side_of_plane(points, u, v, a, b) != 0:
        return False
    k, l = _flat_axes(points, u, v, a)
    return side_of_line(points, u, v, a, k, l) * side_of_line(points, u, v, b, k, l) >= 0


@kernel(makes_arrays=False)
def triangles_cross(points, a, b):
    """Whether two triangles, rows of corners (3,), meet elsewhere than in what they share."""
    shared = 0
    first_a, first_b = 3, 3
    free_a, free_b = 0, 0
    for i in range(3):
        found = False
        for j in range(3):
            if a[i] == b[j]:
                found = True
                shared += 1
                if first_a == 3:
                    first_a, first_b = i, j
        if not found:
            free_a = i
    if shared <= 1:
        return _meet(points, a, b, first_a, first_b)
    if shared == 2:
        for j in range(3):
            if b[j] != a[0] and b[j] != a[1] and b[j] != a[2]:
                free_b = j
        return _edge_meet(points, a[(free_a + 1) % 3], a[(free_a + 2) % 3], a[free_a], b[free_b])
    return True


@kernel(makes_arrays=False)
def _list_crossings(points, triangles, t, later_only, tree, stack, near, start, pairs):
    """List in `pairs` the triangles that one crosses; how many, or -1 if `near` is too short."""
    corner = triangles[t]
    i, j, k = corner[0], corner[1], corner[2]
    found = gather_near(
        tree, points, triangles,
        min(points[i, 0], points[j, 0], points[k, 0]), min(points[i, 1], points[j, 1], points[k, 1]),
        min(points[i, 2], points[j, 2], points[k, 2]), max(points[i, 0], points[j, 0], points[k, 0]),
        max(points[i, 1], points[j, 1], points[k, 1]), max(points[i, 2], points[j, 2], points[k, 2]),
        stack, near,
    )  # fmt: skip
    count = 0
    for n in range(found):
        other = near[n]
        if (other > t or (other != t and not later_only)) and triangles_cross(
            points, corner, triangles[other]
        ):
            if start + count < len(pairs):
                pairs[start + count, 0] = t
                pairs[start + count, 1] = other
            count += 1
    return count if found >= 0 else -1


@kernel
def find_crossings(points, triangles, chosen, later_only, tree, count, start, pairs):
    """Count, for each chosen triangle, those in the tree that it crosses; list them in `pairs`.

    later_only : only those with a higher row, so that each pair comes once where all triangles are chosen
    count : (len(chosen),) int32, filled
    start : (len(chosen),) int64, first row in `pairs` of each; rows past the end are not written
    pairs : (k, 2) int32
    """
    stack = np.empty(STACK, np.int64)
    near = np.empty(512, np.int32)
    for i in range(len(chosen)):
        found = -1
        while found < 0:
            found = _list_crossings(
                points, triangles, chosen[i], later_only, tree, stack, near, start[i], pairs
            )
            if found < 0:
                near = np.empty(4 * len(near), np.int32)
        count[i] = found
