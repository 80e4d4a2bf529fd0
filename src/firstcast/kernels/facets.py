"""What a search over triangles needs to pass most of them by: middle, size, normal, how much the normals round it vary."""

import numpy as np

from firstcast.kernels.compiling import kernel

TOGETHER = 8
"""Facets that are looked at at once: a leaf of the tree has no more than four, but a processor takes eight."""


@kernel(makes_arrays=False)
def dot(a, b):
    """Scalar product of two vectors (3,), summed in order: a library's may differ from machine to machine."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@kernel(makes_arrays=False)
def area_vector(points, triangle, out):
    """Normal of a triangle, its length twice the area, to `out` (3,)."""
    a, b, c = points[triangle[0]], points[triangle[1]], points[triangle[2]]
    for k in range(3):
        u, v = (k + 1) % 3, (k + 2) % 3
        out[k] = (b[u] - a[u]) * (c[v] - a[v]) - (b[v] - a[v]) * (c[u] - a[u])


@kernel
def list_stars(triangles, start, star):
    """Fill `start` (n + 1,), zero at first, and `star` (3m,): which triangles have each of n points for a corner."""
    for t in range(len(triangles)):
        for c in range(3):
            start[triangles[t, c] + 1] += 1
    for v in range(len(start) - 1):
        start[v + 1] += start[v]
    cursor = start[:-1].copy()
    for t in range(len(triangles)):
        for c in range(3):
            v = triangles[t, c]
            star[cursor[v]] = t
            cursor[v] += 1


@kernel
def unit_normals(start, stop, points, triangles, normals):
    """Fill normals[start:stop] (m, 3) float32; zero where a triangle has no area."""
    vector = np.empty(3)
    for t in range(start, stop):
        area_vector(points, triangles[t], vector)
        length = np.sqrt(vector[0] ** 2 + vector[1] ** 2 + vector[2] ** 2)
        for k in range(3):
            normals[t, k] = vector[k] / length if length > 0.0 else 0.0


@kernel(makes_arrays=False)
def _spread(t, triangles, star_start, star, normals):
    """The greatest angle between the normal of triangle t and those that share a corner; pi where hardly less than a right one.

    Where all lie within a cap that is less than half a sphere, so does every sum of them that counts none negative.
    """
    least = np.float32(1.0)
    for c in range(3):
        for s in range(star_start[triangles[t, c]], star_start[triangles[t, c] + 1]):
            other = star[s]
            cosine = (
                normals[t, 0] * normals[other, 0]
                + normals[t, 1] * normals[other, 1]
                + normals[t, 2] * normals[other, 2]
            )
            least = min(least, cosine)
    return np.pi if least < np.float32(0.05) else np.arccos(least)


@kernel
def list_facets(start, stop, corners, rows, centre, slack, mesh, normals, facets):
    """Fill facets[:, start:stop] (8, m + `TOGETHER`) float32, in the tree's order: middle about `centre`, radius, normal, spread.

    Middle and radius give a ball round the triangle, grown by `slack` for rounding to float32. The last columns are room
    for those who look at several at once.
    """
    _, triangles, star_start, star = mesh
    middle = np.empty(3)
    for row in range(start, stop):
        t = rows[row]
        for k in range(3):
            middle[k] = (corners[row, 0, k] + corners[row, 1, k] + corners[row, 2, k]) / 3.0
        radius2 = 0.0
        for c in range(3):
            away2 = 0.0
            for k in range(3):
                away2 += (corners[row, c, k] - middle[k]) ** 2
            radius2 = max(radius2, away2)
        for k in range(3):
            facets[k, row] = middle[k] - centre[k]
            facets[4 + k, row] = normals[t, k]
        facets[3, row] = np.sqrt(radius2) + slack
        # a thousandth: what float32 loses in an arc cosine near 1
        facets[7, row] = _spread(t, triangles, star_start, star, normals) + 1e-3


@kernel(makes_arrays=False)
def _bound(cones, first, last, out, child):
    """Fill out[:4, child] with the cone about columns first .. last of cones (4 or more,): axis, and spread, pi where wide."""
    length2 = np.float32(0.0)
    for k in range(3):
        out[k, child] = np.float32(0.0)
        for row in range(first, last):
            out[k, child] += cones[k, row]
        length2 += out[k, child] * out[k, child]
    out[3, child] = np.float32(np.pi) if first < last else np.float32(0.0)
    if not length2 > np.float32(0.0):
        return
    over = np.float32(1.0) / np.sqrt(length2)
    widest = np.float32(0.0)
    for k in range(3):
        out[k, child] *= over
    for row in range(first, last):
        cosine = cones[0, row] * out[0, child] + cones[1, row] * out[1, child] + cones[2, row] * out[2, child]
        off = np.float32(np.arccos(min(max(cosine, np.float32(-1.0)), np.float32(1.0)))) + np.float32(1e-3)
        widest = max(widest, off + cones[3, row])
    out[3, child] = widest if widest < np.float32(1.5) else np.float32(np.pi)


@kernel(makes_arrays=False)
def _list_sizes(box, cone):
    """Fill cone[4] (8,) with half the diagonal of each of a node's boxes; 0 where one is empty."""
    for c in range(8):
        x, y, z = box[3, c] - box[0, c], box[4, c] - box[1, c], box[5, c] - box[2, c]
        size = np.float32(0.5) * np.sqrt(x * x + y * y + z * z)
        cone[4, c] = size if x >= np.float32(0.0) else np.float32(0.0)


@kernel
def list_cones(facets, boxes, depth, level_base, cones):
    """Fill cones (nodes, 5, 8) float32, bottom up: axis and spread of the normals in each child of each node, and its size.

    The size is half of the diagonal of the child's box. facets : (8, m) float32, without the room at their end.
    """
    n = np.int64(facets.shape[1])
    levels = len(level_base) - 1
    for child in range(1 << depth):
        row = level_base[levels - 1] + child // 8
        first, last = (child * n) >> depth, ((child + 1) * n) >> depth
        _bound(facets[4:], first, last, cones[row], child % 8)
    for level in range(levels - 2, -1, -1):
        for child in range(level_base[level + 2] - level_base[level + 1]):
            below = cones[level_base[level + 1] + child]
            row = level_base[level] + child // 8
            _bound(below, 0, 8, cones[row], child % 8)
    for row in range(len(cones)):
        _list_sizes(boxes[row], cones[row])


@kernel(makes_arrays=False)
def may_stop(wx, wy, wz, size, nx, ny, nz, spread, side, dx, dy, dz, cosine):
    """Whether triangles may stop a ball that is tangent at a place, its middle along d from there.

    The triangles lie in a ball of radius `size`, its middle wx, wy, wz off the place; their normals and those of
    the triangles that meet them are within `spread` of nx, ny, nz. d lies on the inner (`side` -1) or outer side.

    Where the ball is stopped, the way from its middle to the place is the mirror image of the way back along d, and a
    sum of the normals there, none counted negative. So it is off nx, ny, nz by no more than their spread,
    and by twice the angle that the triangles subtend. Without a branch, so that several are held against it at once.
    """
    away = np.sqrt(wx * wx + wy * wy + wz * wz)
    near = size >= np.float32(0.5) * away
    over = np.float32(1.0) / away
    wx, wy, wz = wx * over, wy * over, wz * over
    # the arc sine of a half is less than 1.05 times a half
    subtended = np.float32(1.05) * size * over
    ahead = wx * dx + wy * dy + wz * dz
    twice = np.float32(2.0) * ahead
    ux, uy, uz = twice * wx - dx, twice * wy - dy, twice * wz - dz
    alike = -side * (ux * nx + uy * ny + uz * nz)
    most = spread + np.float32(2.0) * subtended
    # the chord between two directions is at most the angle
    facing = np.float32(2.0) - np.float32(2.0) * alike <= most * most
    return near | ((ahead >= cosine - subtended) & facing)
