"""Nearest triangle of a search tree to each of many points, exactly."""

import numpy as np

from firstcast.compiling import kernel
from firstcast.proof._tree import WIDTH, box_distances, search_room

_NO_AREA = 1e-20
"""Squared sine of the angle below which a triangle is measured by its edges: its normal would be noise."""


@kernel
def _to_segment(px, py, pz, ux, uy, uz):
    """Squared distance from p to the segment from the origin to u."""
    length = ux * ux + uy * uy + uz * uz
    share = px * ux + py * uy + pz * uz
    share = min(1.0, max(0.0, share / length)) if length > 0.0 else 0.0
    qx, qy, qz = px - share * ux, py - share * uy, pz - share * uz
    return qx * qx + qy * qy + qz * qz


@kernel
def squared_distance(x, y, z, corners, t):
    """Squared distance from a point to triangle t of corners (m, 3, 3).

    Which of the triangle's seven regions the point projects to: C. Ericson, Real-Time Collision
    Detection (2005), section 5.1.5. Triangles without area are measured by their edges.
    """
    ax, ay, az = corners[t, 0, 0], corners[t, 0, 1], corners[t, 0, 2]
    abx, aby, abz = corners[t, 1, 0] - ax, corners[t, 1, 1] - ay, corners[t, 1, 2] - az
    acx, acy, acz = corners[t, 2, 0] - ax, corners[t, 2, 1] - ay, corners[t, 2, 2] - az
    px, py, pz = x - ax, y - ay, z - az
    d1 = abx * px + aby * py + abz * pz
    d2 = acx * px + acy * py + acz * pz
    if d1 <= 0.0 and d2 <= 0.0:
        return px * px + py * py + pz * pz
    bx, by, bz = px - abx, py - aby, pz - abz
    d3 = abx * bx + aby * by + abz * bz
    d4 = acx * bx + acy * by + acz * bz
    if d3 >= 0.0 and d4 <= d3:
        return bx * bx + by * by + bz * bz
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        if d1 == d3:
            return _to_segment(px, py, pz, acx, acy, acz)
        v = d1 / (d1 - d3)
        qx, qy, qz = px - v * abx, py - v * aby, pz - v * abz
        return qx * qx + qy * qy + qz * qz
    cx, cy, cz = px - acx, py - acy, pz - acz
    d5 = abx * cx + aby * cy + abz * cz
    d6 = acx * cx + acy * cy + acz * cz
    if d6 >= 0.0 and d5 <= d6:
        return cx * cx + cy * cy + cz * cz
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        w = d2 / (d2 - d6) if d2 != d6 else 0.0
        qx, qy, qz = px - w * acx, py - w * acy, pz - w * acz
        return qx * qx + qy * qy + qz * qz
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and d4 >= d3 and d5 >= d6:
        span = (d4 - d3) + (d5 - d6)
        w = (d4 - d3) / span if span != 0.0 else 0.0
        qx = bx - w * (acx - abx)
        qy = by - w * (acy - aby)
        qz = bz - w * (acz - abz)
        return qx * qx + qy * qy + qz * qz
    nx = aby * acz - abz * acy
    ny = abz * acx - abx * acz
    nz = abx * acy - aby * acx
    size = nx * nx + ny * ny + nz * nz
    if size <= _NO_AREA * (abx * abx + aby * aby + abz * abz) * (acx * acx + acy * acy + acz * acz):
        rim = _to_segment(bx, by, bz, acx - abx, acy - aby, acz - abz)
        return min(rim, min(_to_segment(px, py, pz, abx, aby, abz), _to_segment(px, py, pz, acx, acy, acz)))
    height = nx * px + ny * py + nz * pz
    return height * height / size


@kernel
def search(x, y, z, guess, tree, room):
    """Squared distance to, and place of, the triangle of a tree (corners, boxes, leaves) nearest to a point.

    `guess` is a triangle to begin with: the nearer, the less is searched. Of triangles equally near, any may be
    named. For `room` see `search_room`.
    """
    corners, boxes, leaves = tree
    groups, bounds, apart = room
    nearest = guess
    best = squared_distance(x, y, z, corners, guess)
    groups[0] = 0
    bounds[0] = 0.0
    top = 1
    while top > 0:
        top -= 1
        group = groups[top]
        if bounds[top] >= best:
            continue
        box_distances(x, y, z, boxes, group, apart)
        if group >= leaves:
            for j in range(WIDTH):
                if apart[j] < best:
                    t = WIDTH * (group - leaves) + j
                    found = squared_distance(x, y, z, corners, t)
                    if found < best:
                        best = found
                        nearest = t
            continue
        near = best
        for j in range(WIDTH):
            if apart[j] < best:
                # The nearest is put last, to be looked at next.
                spot = top
                if apart[j] >= near:
                    groups[top], bounds[top] = groups[top - 1], bounds[top - 1]
                    spot = top - 1
                near = min(near, apart[j])
                groups[spot], bounds[spot] = WIDTH * group + 1 + j, apart[j]
                top += 1
    return best, nearest


@kernel
def nearest_triangles(start, stop, points, corners, boxes, leaves, distance, triangle):
    """Distance to, and place in the tree of, the triangle nearest to each point start..stop.

    Neighbouring rows should be neighbours in space: each search begins with the last one's answer.
    """
    room = search_room()
    place = np.int64(0)  # a literal would compile the callee a second time
    for row in range(start, stop):
        x, y, z = points[row, 0], points[row, 1], points[row, 2]
        best, place = search(x, y, z, place, (corners, boxes, leaves), room)
        distance[row] = np.sqrt(best)
        triangle[row] = place
