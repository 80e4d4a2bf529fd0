"""What a search over triangles needs to pass most of them by: middle, size, normal, how much the normals round it vary."""

import numpy as np

from firstcast.kernels.compiling import kernel


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
    """Fill facets[start:stop] (m, 8) float32, in the tree's order: middle about `centre`, radius, normal, spread.

    Middle and radius give a ball round the triangle, grown by `slack` for rounding to float32.
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
            facets[row, k] = middle[k] - centre[k]
            facets[row, 4 + k] = normals[t, k]
        facets[row, 3] = np.sqrt(radius2) + slack
        # a thousandth: what float32 loses in an arc cosine near 1
        facets[row, 7] = _spread(t, triangles, star_start, star, normals) + 1e-3


@kernel(makes_arrays=False)
def _bound(normals, spreads, first, last, cone):
    """The cone (4,) about rows first .. last of normals with a spread each: axis, and spread, pi where it is wide."""
    length2 = np.float32(0.0)
    for k in range(3):
        cone[k] = np.float32(0.0)
        for row in range(first, last):
            cone[k] += normals[row, k]
        length2 += cone[k] * cone[k]
    cone[3] = np.float32(np.pi) if first < last else np.float32(0.0)
    if not length2 > np.float32(0.0):
        return
    over = np.float32(1.0) / np.sqrt(length2)
    widest = np.float32(0.0)
    for k in range(3):
        cone[k] *= over
    for row in range(first, last):
        cosine = normals[row, 0] * cone[0] + normals[row, 1] * cone[1] + normals[row, 2] * cone[2]
        off = np.float32(np.arccos(min(max(cosine, np.float32(-1.0)), np.float32(1.0)))) + np.float32(1e-3)
        widest = max(widest, off + spreads[row])
    cone[3] = widest if widest < np.float32(1.5) else np.float32(np.pi)


@kernel
def list_cones(facets, depth, level_base, cones):
    """Fill cones (nodes, 8, 4) float32, bottom up: axis and spread of the normals in each child of each node."""
    n = np.int64(len(facets))
    levels = len(level_base) - 1
    for child in range(1 << depth):
        row = level_base[levels - 1] + child // 8
        first, last = (child * n) >> depth, ((child + 1) * n) >> depth
        _bound(facets[:, 4:7], facets[:, 7], first, last, cones[row, child % 8])
    for level in range(levels - 2, -1, -1):
        for child in range(level_base[level + 2] - level_base[level + 1]):
            below = cones[level_base[level + 1] + child]
            row = level_base[level] + child // 8
            _bound(below[:, :3], below[:, 3], 0, 8, cones[row, child % 8])


@kernel(makes_arrays=False)
def may_stop(wx, wy, wz, size, nx, ny, nz, spread, side, dx, dy, dz, cosine):
    """Whether triangles may stop a ball that is tangent at a place, its middle along d from there.

    The triangles lie in a ball of radius `size`, its middle wx, wy, wz off the place; their normals and those of
    the triangles that meet them are within `spread` of nx, ny, nz. d lies on the inner (`side` -1) or outer side.

    Where the ball is stopped, the way from its middle to the place is the mirror image of the way back along d, and a
    sum of the normals there, none counted negative. So it is off nx, ny, nz by no more than their spread,
    and by twice the angle that the triangles subtend.
    """
    away = np.sqrt(wx * wx + wy * wy + wz * wz)
    if size >= np.float32(0.5) * away:
        return True
    over = np.float32(1.0) / away
    wx, wy, wz = wx * over, wy * over, wz * over
    # the arc sine of a half is less than 1.05 times a half
    subtended = np.float32(1.05) * size * over
    ahead = wx * dx + wy * dy + wz * dz
    if ahead < cosine - subtended:
        return False
    twice = np.float32(2.0) * ahead
    ux, uy, uz = twice * wx - dx, twice * wy - dy, twice * wz - dz
    alike = -side * (ux * nx + uy * ny + uz * nz)
    most = spread + np.float32(2.0) * subtended
    # the chord between two directions is at most the angle
    return np.float32(2.0) - np.float32(2.0) * alike <= most * most
