"""Filling closed polygons in space with triangles."""

import numpy as np

from firstcast.kernels.compiling import kernel

ROUNDNESS = 1e-6
"""Share of the squared edge lengths in the cost of a triangle: decides between fills of equal area
for the one with shorter diagonals, without ever paying area for it."""


@kernel
def _cost(points, a, b, c):
    """Area of a triangle, and a trace of its squared edge lengths."""
    ux = points[b, 0] - points[a, 0]
    uy = points[b, 1] - points[a, 1]
    uz = points[b, 2] - points[a, 2]
    vx = points[c, 0] - points[a, 0]
    vy = points[c, 1] - points[a, 1]
    vz = points[c, 2] - points[a, 2]
    x = uy * vz - uz * vy
    y = uz * vx - ux * vz
    z = ux * vy - uy * vx
    edges = (ux * ux + uy * uy + uz * uz) + (vx * vx + vy * vy + vz * vz)
    edges += (ux - vx) * (ux - vx) + (uy - vy) * (uy - vy) + (uz - vz) * (uz - vz)
    return 0.5 * np.sqrt(x * x + y * y + z * z) + ROUNDNESS * edges


@kernel
def fill_minimal(points, starts):
    """Triangles of least area over each of several polygons, by dynamic programming.

    Time grows with the cube of a polygon's corners, memory with the square.

    Parameters
    ----------
    points : (n, 3) float64
        Corners, polygon after polygon.
    starts : (k + 1,) int32
        Where each polygon begins; every polygon has at least three corners.

    Returns
    -------
    triangles : (n - 2 k, 3) int32
        Rows of `points`, wound like the polygons; polygon after polygon.

    References
    ----------
    G. T. Klincsek, Minimal triangulations of polygonal domains, 1980; in space: G. Barequet and M. Sharir,
    Filling gaps in the boundary of a polyhedron, 1995.
    """
    polygon_count = len(starts) - 1
    triangles = np.empty((len(points) - 2 * polygon_count, 3), np.int32)
    filled = 0
    for p in range(polygon_count):
        base = starts[p]
        n = starts[p + 1] - base
        cost = np.zeros((n, n))
        apex = np.zeros((n, n), np.int32)
        for gap in range(2, n):
            for i in range(n - gap):
                j = i + gap
                best = np.inf
                for k in range(i + 1, j):
                    total = cost[i, k] + cost[k, j] + _cost(points, base + i, base + k, base + j)
                    if total < best:
                        best = total
                        apex[i, j] = np.int32(k)
                cost[i, j] = best
        stack = np.empty((n, 2), np.int32)
        stack[0, 0] = 0
        stack[0, 1] = n - 1
        depth = 1
        while depth > 0:
            depth -= 1
            i = stack[depth, 0]
            j = stack[depth, 1]
            if j - i < 2:
                continue
            k = apex[i, j]
            triangles[filled, 0] = base + i
            triangles[filled, 1] = base + k
            triangles[filled, 2] = base + j
            filled += 1
            stack[depth, 0] = i
            stack[depth, 1] = k
            stack[depth + 1, 0] = k
            stack[depth + 1, 1] = j
            depth += 2
    return triangles


@kernel
def _side(xy, a, b, c):
    """Twice the signed area of three corners: positive if counter-clockwise."""
    return (xy[b, 0] - xy[a, 0]) * (xy[c, 1] - xy[a, 1]) - (xy[b, 1] - xy[a, 1]) * (xy[c, 0] - xy[a, 0])


@kernel
def fill_flat(xy):
    """Triangles over one flat polygon by cutting ears.

    Time grows at most with the square of the corners for polygons of few reflex corners.

    Parameters
    ----------
    xy : (n, 2) float64
        Corners, counter-clockwise, n ≥ 3.

    Returns
    -------
    triangles : (t, 3) int32
        Rows of `xy`; t = n - 2, or fewer where no ear was left (the polygon crosses itself).
    """
    n = len(xy)
    before = (np.arange(n) - 1).astype(np.int32)
    after = (np.arange(n) + 1).astype(np.int32)
    before[0] = n - 1
    after[n - 1] = 0
    triangles = np.empty((n - 2, 3), np.int32)
    filled = 0
    left = n
    at = np.int32(0)
    tried = 0
    while left > 3 and tried < left:
        a = before[at]
        c = after[at]
        ear = _side(xy, a, at, c) > 0.0
        if ear:
            q = after[c]
            while q != a:
                # Only reflex corners can lie in an ear; a corner that shares its place with an ear's does not.
                if (
                    _side(xy, before[q], q, after[q]) <= 0.0
                    and _side(xy, a, at, q) >= 0.0
                    and _side(xy, at, c, q) >= 0.0
                    and _side(xy, c, a, q) >= 0.0
                    and not (xy[q, 0] == xy[a, 0] and xy[q, 1] == xy[a, 1])
                    and not (xy[q, 0] == xy[at, 0] and xy[q, 1] == xy[at, 1])
                    and not (xy[q, 0] == xy[c, 0] and xy[q, 1] == xy[c, 1])
                ):
                    ear = False
                    break
                q = after[q]
        if ear:
            triangles[filled, 0] = a
            triangles[filled, 1] = at
            triangles[filled, 2] = c
            filled += 1
            after[a] = c
            before[c] = a
            left -= 1
            tried = 0
            at = after[c]  # skipping one corner keeps ears from piling up on one point
        else:
            tried += 1
            at = c
    if left == 3:
        triangles[filled, 0] = before[at]
        triangles[filled, 1] = at
        triangles[filled, 2] = after[at]
        filled += 1
    return triangles[:filled].copy()
