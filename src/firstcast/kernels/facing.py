"""The ball that grows from a place of a surface until a place that faces it stops it.

With d the unit vector along which the ball's middle moves away from p, the ball through p and x that is tangent at p
has the radius r(x) = |x - p|² / (2 (x - p)·d). Where r has a local minimum over the surface, the ball touches it.
"""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.facets import may_stop
from firstcast.kernels.nearest import nearest_place
from firstcast.kernels.segments import first_crossing
from firstcast.kernels.touching import beside_cone, touch

STACK = 128
"""Room for 16 levels of eight children: more than 2^31 triangles need."""

SIGHT_END = 1e-4
"""Share of the way from place to place that is not looked at, at either end: there the two surfaces themselves lie."""


@kernel(makes_arrays=False)
def _weights(points, triangle, x, weight):
    """Barycentric coordinates of x in a triangle to `weight` (3,)."""
    uu = uv = vv = wu = wv = 0.0
    for k in range(3):
        corner = points[triangle[0], k]
        u, v, w = points[triangle[1], k] - corner, points[triangle[2], k] - corner, x[k] - corner
        uu, uv, vv, wu, wv = uu + u * u, uv + u * v, vv + v * v, wu + w * u, wv + w * v
    area = uu * vv - uv * uv
    weight[1] = (vv * wu - uv * wv) / area if area > 0.0 else 0.0
    weight[2] = (uu * wv - uv * wu) / area if area > 0.0 else 0.0
    weight[0] = 1.0 - weight[1] - weight[2]


@kernel(makes_arrays=False)
def _away2(middle, points, triangle):
    """Squared distance of `middle` (3,) from a triangle."""
    a, b, c = triangle[0], triangle[1], triangle[2]
    return nearest_place(
        middle[0], middle[1], middle[2], points[a, 0], points[a, 1], points[a, 2],
        points[b, 0], points[b, 1], points[b, 2], points[c, 0], points[c, 1], points[c, 2],
    )[0]  # fmt: skip


@kernel(makes_arrays=False)
def _stops(middle, radius, x, t, mesh, weight):
    """Whether a ball that touches triangle t at x touches the surface there: no triangle round x reaches into it."""
    points, triangles, star_start, star = mesh
    _weights(points, triangles[t], x, weight)
    holds, first = np.int64(0), np.int64(-1)
    for c in range(3):
        if weight[c] > 1e-7:
            holds += 1
            first = np.int64(triangles[t, c]) if first < 0 else first
    if holds == 3:
        return True
    if first < 0:
        return False
    for s in range(star_start[first], star_start[first + 1]):
        other = star[s]
        shared = np.int64(0)
        for c in range(3):
            for e in range(3):
                shared += weight[e] > 1e-7 and triangles[other, c] == triangles[t, e]
        if shared == holds and _away2(middle, points, triangles[other]) < radius * radius * (1.0 - 1e-6):
            return False
    return True


@kernel(makes_arrays=False)
def _in_sight(p, x, tree, work):
    """Whether nothing lies between p and x."""
    way, search = work
    for k in range(3):
        way[k] = x[k] - p[k]
    return first_crossing(p, way, SIGHT_END, 1.0 - SIGHT_END, tree, search)[1] < 0


@kernel(makes_arrays=False)
def _try_triangle(row, p, d, side, vertex, own, cosine, radius, tree, facets, mesh, work, opposite):
    """The radius at which the ball from p is stopped by the triangle in row `row` of the tree, or inf."""
    corners, rows, triangles = tree[0], tree[1], mesh[1]
    px, py, pz, dx, dy, dz = p[0], p[1], p[2], d[0], d[1], d[2]
    ax, ay, az = corners[row, 0, 0], corners[row, 0, 1], corners[row, 0, 2]
    bx, by, bz = corners[row, 1, 0], corners[row, 1, 1], corners[row, 1, 2]
    cx, cy, cz = corners[row, 2, 0], corners[row, 2, 1], corners[row, 2, 2]
    if beside_cone(
        px, py, pz, dx, dy, dz, ax, ay, az, bx, by, bz, cx, cy, cz, cosine, np.sqrt(1.0 - cosine * cosine)
    ):
        return np.inf
    t = rows[row]
    # neither the triangle that the place lies on, nor one that has it for a corner
    if t == own or triangles[t, 0] == vertex or triangles[t, 1] == vertex or triangles[t, 2] == vertex:
        return np.inf
    touching, x, y, z = touch(px, py, pz, dx, dy, dz, ax, ay, az, bx, by, bz, cx, cy, cz, radius)
    if not touching < radius:
        return np.inf
    # |x - p| = 2 r cos of the angle at p, so the angle is within the cone if |x - p| >= 2 r cosine
    if (x - px) ** 2 + (y - py) ** 2 + (z - pz) ** 2 < (2.0 * touching * cosine) ** 2:
        return np.inf
    alike = -side * (
        ((x - px) / touching - dx) * facets[4, row]
        + ((y - py) / touching - dy) * facets[5, row]
        + ((z - pz) / touching - dz) * facets[6, row]
    )
    if 2.0 - 2.0 * alike > facets[7, row] ** 2:  # the reason: `may_stop`
        return np.inf
    middle, place, weight, sight_work = work
    place[0], place[1], place[2] = x, y, z
    for k in range(3):
        middle[k] = p[k] + touching * d[k]
    if not _stops(middle, touching, place, t, mesh, weight) or not _in_sight(p, place, tree, sight_work):
        return np.inf
    opposite[0], opposite[1], opposite[2] = x, y, z
    return touching


@kernel(makes_arrays=False)
def _children_away2(boxes, cones, row, look, radius, child_d2):
    """Squared distance of a node's eight children from p; inf where none of a child's triangles can stop the ball.

    Its box misses the ball or the cone p looks through, or its normals lie otherwise. Without a branch, so that all eight
    are measured at once.
    """
    x, y, z, dx, dy, dz, cosine, sine, side = look
    mx, my, mz = x + radius * dx, y + radius * dy, z + radius * dz
    zero, half, over = np.float32(0.0), np.float32(0.5), np.float32(1.00001)
    # told that there are eight, the compiler writes them out one after the other instead
    for c in range(len(child_d2)):
        low_x, low_y, low_z = boxes[row, 0, c], boxes[row, 1, c], boxes[row, 2, c]
        high_x, high_y, high_z = boxes[row, 3, c], boxes[row, 4, c], boxes[row, 5, c]
        gx = max(max(low_x - mx, mx - high_x), zero)
        gy = max(max(low_y - my, my - high_y), zero)
        gz = max(max(low_z - mz, mz - high_z), zero)
        met = gx * gx + gy * gy + gz * gz < radius * radius * over
        wx = low_x + half * (high_x - low_x) - x
        wy = low_y + half * (high_y - low_y) - y
        wz = low_z + half * (high_z - low_z) - z
        size, spread = cones[row, 4, c], cones[row, 3, c]
        along = wx * dx + wy * dy + wz * dz
        across = np.sqrt(max(wx * wx + wy * wy + wz * wz - along * along, zero))
        met &= across * cosine - along * sine <= size * over
        met &= (spread > np.float32(1.5)) | may_stop(
            wx, wy, wz, size, cones[row, 0, c], cones[row, 1, c], cones[row, 2, c], spread, side, dx, dy, dz, cosine
        )  # fmt: skip
        gx = max(max(low_x - x, x - high_x), zero)
        gy = max(max(low_y - y, y - high_y), zero)
        gz = max(max(low_z - z, z - high_z), zero)
        child_d2[c] = gx * gx + gy * gy + gz * gz if met else np.float32(np.inf)


@kernel(makes_arrays=False)
def _facets_may_stop(facets, first, look, may):
    """Fill `may` (`TOGETHER`,) uint8: whether the facets from column `first` on (see `list_facets`) may stop the ball."""
    x, y, z, dx, dy, dz, cosine, sine, side = look
    middle_x, middle_y, middle_z, sizes = (
        facets[0, first:],
        facets[1, first:],
        facets[2, first:],
        facets[3, first:],
    )
    normal_x, normal_y, normal_z, spreads = (
        facets[4, first:],
        facets[5, first:],
        facets[6, first:],
        facets[7, first:],
    )
    for k in range(len(may)):
        wx, wy, wz, size = middle_x[k] - x, middle_y[k] - y, middle_z[k] - z, sizes[k]
        along = wx * dx + wy * dy + wz * dz
        across = np.sqrt(max(wx * wx + wy * wy + wz * wz - along * along, np.float32(0.0)))
        # beside the cone: most of what lies round the place itself
        inside = across * cosine - along * sine <= size * np.float32(1.00001)
        may[k] = inside & may_stop(
            wx, wy, wz, size, normal_x[k], normal_y[k], normal_z[k], spreads[k], side, dx, dy, dz, cosine
        )


@kernel(makes_arrays=False)
def _look(p, d, centre, cosine, side):
    """Place, direction, the cone's cosine and sine, and side, as float32."""
    return (
        np.float32(p[0] - centre[0]), np.float32(p[1] - centre[1]), np.float32(p[2] - centre[2]),
        np.float32(d[0]), np.float32(d[1]), np.float32(d[2]),
        np.float32(cosine), np.float32(np.sqrt(1.0 - cosine * cosine)), np.float32(side),
    )  # fmt: skip


@kernel(makes_arrays=False)
def _push(node, level, size, work):
    """Put the children of a node that may stop the ball on the stacks, the nearest last; the new height."""
    stack_node, stack_level, stack_d2, child_d2 = work[0], work[1], work[2], work[3]
    bottom = size
    for c in range(8):
        d2 = child_d2[c]
        if d2 < np.inf:
            at = size
            while at > bottom and stack_d2[at - 1] < d2:
                stack_node[at], stack_level[at] = stack_node[at - 1], stack_level[at - 1]
                stack_d2[at] = stack_d2[at - 1]
                at -= 1
            stack_node[at], stack_level[at], stack_d2[at] = 8 * node + c, level + 1, d2
            size += 1
    return size


@kernel(makes_arrays=False)
def facing_ball(p, d, side, vertex, own, most, cosine, seed, tree, bounds, mesh, work, opposite):
    """Radius of the ball that grows from p along d until a place that faces p stops it, at most `most` (else inf).

    Triangles with the corner `vertex`, and the triangle `own`, never stop it. A place faces p if it is seen from p
    within the angle of `cosine` off d, with nothing between. The place goes to `opposite` (3,).
    `seed` is a row of the tree to try first, or -1. Gives the radius and the row that stopped it (-1: none).
    """
    rows, boxes, level_base, depth = tree[1], tree[2], tree[3], tree[4]
    facets, cones = bounds
    stack_node, stack_level, stack_d2, child_d2, may, try_work = work
    n = np.int64(len(rows))
    levels = len(level_base) - 1
    look = _look(p, d, tree[5], cosine, side)
    best, best_row = most, np.int64(-1)
    if seed >= 0:
        found = _try_triangle(
            seed, p, d, side, vertex, own, cosine, best, tree, facets, mesh, try_work, opposite
        )
        if found < best:
            best, best_row = found, seed
    stack_node[0], stack_level[0], stack_d2[0], size = 0, 0, np.float32(0.0), 1
    while size > 0:
        size -= 1
        # no place farther away than the diameter lies in the ball
        if stack_d2[size] > 4.00001 * best * best:
            continue
        node, level = stack_node[size], stack_level[size]
        if level == levels:
            first = (node * n) >> depth
            _facets_may_stop(facets, first, look, may)
            for t in range(first, ((node + 1) * n) >> depth):
                if not may[t - first]:
                    continue
                found = _try_triangle(
                    t, p, d, side, vertex, own, cosine, best, tree, facets, mesh, try_work, opposite
                )
                if found < best:
                    best, best_row = found, t
            continue
        _children_away2(boxes, cones, level_base[level] + node, look, np.float32(best), child_d2)
        size = _push(node, level, size, work)
    return (best if best_row >= 0 else np.inf), best_row
