"""Pairs of triangles of one mesh that meet elsewhere than in the corners and edges they share.

Triangles that touch are counted: after the file is welded they would be joined there. Every side test is exact.
"""

import numpy as np
from numba import prange

from firstcast.compiling import kernel
from firstcast.kernels.boxtree import STACK, gather_around
from firstcast.kernels.orientation import side_of_line, side_of_plane

RUN = 256


@kernel
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


@kernel
def _segments_meet(points, p, q, a, b, u, v):
    """Whether two segments of one plane meet, ends included."""
    s1, s2 = side_of_line(points, p, q, a, u, v), side_of_line(points, p, q, b, u, v)
    s3, s4 = side_of_line(points, a, b, p, u, v), side_of_line(points, a, b, q, u, v)
    if s1 * s2 > 0 or s3 * s4 > 0:
        return False
    if s1 == 0 and s2 == 0:
        # on one line: their spans must meet along both axes
        for k in (u, v):
            if max(points[p, k], points[q, k]) < min(points[a, k], points[b, k]):
                return False
            if max(points[a, k], points[b, k]) < min(points[p, k], points[q, k]):
                return False
    return True


@kernel
def _flat_hit(points, p, q, a, b, c):
    """Whether segment p-q meets triangle a, b, c of the same plane."""
    u, v = _flat_axes(points, a, b, c)
    s1 = side_of_line(points, a, b, p, u, v)
    s2 = side_of_line(points, b, c, p, u, v)
    s3 = side_of_line(points, c, a, p, u, v)
    if (s1 >= 0 and s2 >= 0 and s3 >= 0) or (s1 <= 0 and s2 <= 0 and s3 <= 0):
        return True
    return (
        _segments_meet(points, p, q, a, b, u, v)
        or _segments_meet(points, p, q, b, c, u, v)
        or _segments_meet(points, p, q, c, a, u, v)
    )


@kernel
def _edge_hits(points, p, q, sp, sq, a, b, c):
    """Whether segment p-q, whose ends lie on sides sp and sq of a triangle's plane, meets the triangle."""
    if sp * sq > 0:
        return False
    if sp == 0 and sq == 0:
        return _flat_hit(points, p, q, a, b, c)
    s1 = side_of_plane(points, p, q, a, b)
    s2 = side_of_plane(points, p, q, b, c)
    if s1 * s2 < 0:
        return False
    s3 = side_of_plane(points, p, q, c, a)
    return s1 * s3 >= 0 and s2 * s3 >= 0


@kernel
def _apart_meet(points, a, b):
    """Whether two triangles (3,) that share no corner meet."""
    t0 = side_of_plane(points, a[0], a[1], a[2], b[0])
    t1 = side_of_plane(points, a[0], a[1], a[2], b[1])
    t2 = side_of_plane(points, a[0], a[1], a[2], b[2])
    if (t0 > 0 and t1 > 0 and t2 > 0) or (t0 < 0 and t1 < 0 and t2 < 0):
        return False
    s0 = side_of_plane(points, b[0], b[1], b[2], a[0])
    s1 = side_of_plane(points, b[0], b[1], b[2], a[1])
    s2 = side_of_plane(points, b[0], b[1], b[2], a[2])
    if (s0 > 0 and s1 > 0 and s2 > 0) or (s0 < 0 and s1 < 0 and s2 < 0):
        return False
    return (
        _edge_hits(points, b[0], b[1], t0, t1, a[0], a[1], a[2])
        or _edge_hits(points, b[1], b[2], t1, t2, a[0], a[1], a[2])
        or _edge_hits(points, b[2], b[0], t2, t0, a[0], a[1], a[2])
        or _edge_hits(points, a[0], a[1], s0, s1, b[0], b[1], b[2])
        or _edge_hits(points, a[1], a[2], s1, s2, b[0], b[1], b[2])
        or _edge_hits(points, a[2], a[0], s2, s0, b[0], b[1], b[2])
    )


@kernel
def _corner_meet(points, a, b, i, j):
    """Whether two triangles that share the corner a[i] = b[j] meet elsewhere too."""
    a1, a2 = a[(i + 1) % 3], a[(i + 2) % 3]
    b1, b2 = b[(j + 1) % 3], b[(j + 2) % 3]
    t1 = side_of_plane(points, a[0], a[1], a[2], b1)
    t2 = side_of_plane(points, a[0], a[1], a[2], b2)
    if t1 * t2 > 0:
        return False
    s1 = side_of_plane(points, b[0], b[1], b[2], a1)
    s2 = side_of_plane(points, b[0], b[1], b[2], a2)
    if s1 * s2 > 0:
        return False
    return _edge_hits(points, b1, b2, t1, t2, a[0], a[1], a[2]) or _edge_hits(
        points, a1, a2, s1, s2, b[0], b[1], b[2]
    )


@kernel
def _edge_meet(points, u, v, a, b):
    """Whether two triangles u, v, a and u, v, b lie folded onto one another."""
    if side_of_plane(points, u, v, a, b) != 0:
        return False
    k, l = _flat_axes(points, u, v, a)
    return side_of_line(points, u, v, a, k, l) * side_of_line(points, u, v, b, k, l) >= 0


@kernel
def triangles_cross(points, a, b):
    """Whether two triangles, rows of corners (3,), meet elsewhere than in what they share."""
    shared = 0
    first_a, first_b = -1, -1
    free_a, free_b = 0, 0
    for i in range(3):
        found = False
        for j in range(3):
            if a[i] == b[j]:
                found = True
                shared += 1
                if first_a < 0:
                    first_a, first_b = i, j
        if not found:
            free_a = i
    if shared == 0:
        return _apart_meet(points, a, b)
    if shared == 1:
        return _corner_meet(points, a, b, first_a, first_b)
    if shared == 2:
        for j in range(3):
            if b[j] != a[0] and b[j] != a[1] and b[j] != a[2]:
                free_b = j
        return _edge_meet(points, a[(free_a + 1) % 3], a[(free_a + 2) % 3], a[free_a], b[free_b])
    return True


@kernel
def _cross_run(points, triangles, chosen, later_only, tree, first, last, count, start, pairs):
    """One run of chosen triangles: see `find_crossings`."""
    stack = np.empty(STACK, np.int64)
    near = np.empty(512, np.int32)
    for i in range(first, last):
        t = chosen[i]
        corner = triangles[t]
        p, q, r = points[corner[0]], points[corner[1]], points[corner[2]]
        found, near = gather_around(tree, points, triangles, p, q, r, np.float32(0.0), stack, near)
        count[i] = 0
        for k in range(found):
            other = near[k]
            if (other > t or (other != t and not later_only)) and triangles_cross(
                points, corner, triangles[other]
            ):
                row = start[i] + count[i]
                if row < len(pairs):
                    pairs[row, 0] = t
                    pairs[row, 1] = other
                count[i] += 1


@kernel(parallel=True)
def find_crossings(points, triangles, chosen, later_only, tree, count, start, pairs):
    """Count, for each chosen triangle, those in the tree that it crosses; list them in `pairs`.

    later_only : only those with a higher row, so that each pair comes once where all triangles are chosen
    count : (len(chosen),) int32, filled
    start : (len(chosen),) int64, first row in `pairs` of each; rows past the end are not written
    pairs : (k, 2) int32
    """
    for index in prange((len(chosen) + RUN - 1) // RUN):
        first = np.int64(index) * RUN
        last = min(first + RUN, np.int64(len(chosen)))
        _cross_run(points, triangles, chosen, later_only, tree, first, last, count, start, pairs)
