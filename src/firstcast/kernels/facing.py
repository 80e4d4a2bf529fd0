"""The ball that grows from a place of a surface until a place that faces it stops it.

With d the unit vector along which the ball's middle moves away from p, the ball through p and x that is tangent at p
has the radius r(x) = |x - p|² / (2 (x - p)·d). Where r has a local minimum over the surface, the ball touches it.
"""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.facets import may_stop
from firstcast.kernels.segments import first_crossing
from firstcast.kernels.tree import nearest_on_triangle

STACK = 128
"""Room for 16 levels of eight children: more than 2^31 triangles need."""

ROUNDS = 40
"""Most steps to the ball that touches a triangle: each about doubles the digits, and eight were the most seen."""

SAME = 1e-9
"""Radii that differ by less than this share are one: float64 leaves six digits below it on a body of a metre."""

SIGHT_END = 1e-4
"""Share of the way from place to place that is not looked at, at either end: there the two surfaces themselves lie."""


@kernel
def dot(a, b):
    """Scalar product of two vectors (3,), summed in order: a library's may differ from machine to machine."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@kernel
def ball_through(p, d, x):
    """Radius of the ball that is tangent at p, its middle along d, and passes through x; inf if x lies behind."""
    along = 0.0
    away2 = 0.0
    for k in range(3):
        along += (x[k] - p[k]) * d[k]
        away2 += (x[k] - p[k]) ** 2
    return away2 / (2.0 * along) if along > 0.0 else np.inf


@kernel
def _plane_radius(p, d, corner, radius):
    """Radius of the ball from p that touches a triangle's plane: none that touches the triangle is smaller.

    `radius` where there is no plane, or p lies on it.
    """
    ux, uy, uz = corner[1, 0] - corner[0, 0], corner[1, 1] - corner[0, 1], corner[1, 2] - corner[0, 2]
    vx, vy, vz = corner[2, 0] - corner[0, 0], corner[2, 1] - corner[0, 1], corner[2, 2] - corner[0, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    height = nx * (corner[0, 0] - p[0]) + ny * (corner[0, 1] - p[1]) + nz * (corner[0, 2] - p[2])
    along = nx * d[0] + ny * d[1] + nz * d[2]
    if height < 0.0:
        height, along = -height, -along
    divisor = np.sqrt(nx * nx + ny * ny + nz * nz) + along
    # a place on the plane itself would start from a ball of no size, of which nothing can be told
    return height / divisor if height > 1e-6 * radius * divisor and divisor > 0.0 else radius


@kernel
def _touch(p, d, corner, radius, middle, x):
    """Radius at which the ball touches a triangle, and that place in `x`; inf if it is not below `radius`.

    Step for step the ball through the triangle's place nearest to the last ball's middle: Newton's steps for the
    least of a ratio (W. Dinkelbach, On nonlinear fractional programming, 1967), from any start; from the second on
    the radii fall. The start is the ball that touches the plane, which is the answer where it touches inside.
    """
    now = _plane_radius(p, d, corner, radius)
    if now > radius:
        return np.inf
    for step in range(ROUNDS):
        for k in range(3):
            middle[k] = p[k] + now * d[k]
        away2 = nearest_on_triangle(middle, corner, x)
        if away2 >= now * now * (1.0 - SAME) and (step > 0 or now == radius):
            break
        found = ball_through(p, d, x)
        if found == np.inf:
            found = radius
        if step > 0 and found >= now * (1.0 - SAME):
            break
        now = found
    return now if now < radius else np.inf


@kernel
def _weights(x, corner, weight):
    """Barycentric coordinates of x in a triangle to `weight` (3,)."""
    uu = uv = vv = wu = wv = 0.0
    for k in range(3):
        u, v, w = corner[1, k] - corner[0, k], corner[2, k] - corner[0, k], x[k] - corner[0, k]
        uu, uv, vv, wu, wv = uu + u * u, uv + u * v, vv + v * v, wu + w * u, wv + w * v
    area = uu * vv - uv * uv
    weight[1] = (vv * wu - uv * wv) / area if area > 0.0 else 0.0
    weight[2] = (uu * wv - uv * wu) / area if area > 0.0 else 0.0
    weight[0] = 1.0 - weight[1] - weight[2]


@kernel
def _stops(middle, radius, x, t, mesh, work):
    """Whether a ball that touches triangle t at x touches the surface there: no triangle round x reaches into it."""
    points, triangles, star_start, star = mesh
    corner, weight, found = work
    for c in range(3):
        for k in range(3):
            corner[c, k] = points[triangles[t, c], k]
    _weights(x, corner, weight)
    holds = np.int64(0)
    for c in range(3):
        holds += weight[c] > 1e-7
    if holds == 3:
        return True
    first = -1
    for c in range(3):
        if weight[c] > 1e-7:
            first = triangles[t, c] if first < 0 else first
    if first < 0:
        return False
    for s in range(star_start[first], star_start[first + 1]):
        other = star[s]
        shared = np.int64(0)
        for c in range(3):
            for e in range(3):
                shared += weight[e] > 1e-7 and triangles[other, c] == triangles[t, e]
                corner[c, e] = points[triangles[other, c], e]
        if shared == holds and nearest_on_triangle(middle, corner, found) < radius * radius * (1.0 - 1e-6):
            return False
    return True


@kernel
def _in_sight(p, x, tree, work):
    """Whether nothing lies between p and x."""
    way, stack_node, stack_level = work
    for k in range(3):
        way[k] = x[k] - p[k]
    return first_crossing(p, way, SIGHT_END, 1.0 - SIGHT_END, tree, stack_node, stack_level)[1] < 0


@kernel
def _is_around(triangles, t, vertex, own):
    """Whether triangle t is the one that the place lies on, or has it for a corner."""
    return t == own or triangles[t, 0] == vertex or triangles[t, 1] == vertex or triangles[t, 2] == vertex


@kernel
def _try_triangle(p, d, side, t, row, vertex, own, cosine, radius, tree, facets, mesh, work, opposite):
    """The radius at which the ball from p is stopped by the triangle in row `row` of the tree, or inf."""
    middle, x, stops_work, sight_work = work
    if _is_around(mesh[1], t, vertex, own):
        return np.inf
    touching = _touch(p, d, tree[0][row], radius, middle, x)
    if not touching < radius:
        return np.inf
    # |x - p| = 2 r cos of the angle at p, so the angle is within the cone if |x - p| >= 2 r cosine
    away2 = (x[0] - p[0]) ** 2 + (x[1] - p[1]) ** 2 + (x[2] - p[2]) ** 2
    if away2 < (2.0 * touching * cosine) ** 2:
        return np.inf
    alike = 0.0
    for k in range(3):
        alike -= side * ((x[k] - p[k]) / touching - d[k]) * facets[row, 4 + k]
    if 2.0 - 2.0 * alike > facets[row, 7] ** 2:  # the reason: `may_stop`
        return np.inf
    if not _stops(middle, touching, x, t, mesh, stops_work) or not _in_sight(p, x, tree, sight_work):
        return np.inf
    opposite[0], opposite[1], opposite[2] = x[0], x[1], x[2]
    return touching


@kernel
def _children_away2(box, look, radius, child_d2):
    """Squared distance of a node's eight children from p; inf where a box misses the ball or the cone p looks through.

    Without a branch, so that all eight are measured at once.
    """
    x, y, z, dx, dy, dz, cosine, sine, _ = look
    mx, my, mz = x + radius * dx, y + radius * dy, z + radius * dz
    zero, half, over = np.float32(0.0), np.float32(0.5), np.float32(1.00001)
    for c in range(8):
        gx = max(max(box[0, c] - mx, mx - box[3, c]), zero)
        gy = max(max(box[1, c] - my, my - box[4, c]), zero)
        gz = max(max(box[2, c] - mz, mz - box[5, c]), zero)
        met = gx * gx + gy * gy + gz * gz < radius * radius * over
        hx, hy, hz = box[3, c] - box[0, c], box[4, c] - box[1, c], box[5, c] - box[2, c]
        wx, wy, wz = box[0, c] + half * hx - x, box[1, c] + half * hy - y, box[2, c] + half * hz - z
        size = half * np.sqrt(hx * hx + hy * hy + hz * hz)
        along = wx * dx + wy * dy + wz * dz
        across = np.sqrt(max(wx * wx + wy * wy + wz * wz - along * along, zero))
        met &= across * cosine - along * sine <= size * over
        gx = max(max(box[0, c] - x, x - box[3, c]), zero)
        gy = max(max(box[1, c] - y, y - box[4, c]), zero)
        gz = max(max(box[2, c] - z, z - box[5, c]), zero)
        child_d2[c] = gx * gx + gy * gy + gz * gz if met else np.float32(np.inf)


@kernel
def _child_may_stop(box, cone, c, look):
    """Whether anything in child `c` of a node may stop the ball, going by how its normals lie."""
    x, y, z, dx, dy, dz, cosine, _, side = look
    half = np.float32(0.5)
    hx, hy, hz = (
        half * (box[3, c] - box[0, c]),
        half * (box[4, c] - box[1, c]),
        half * (box[5, c] - box[2, c]),
    )
    size = np.sqrt(hx * hx + hy * hy + hz * hz)
    return may_stop(
        box[0, c] + hx - x, box[1, c] + hy - y, box[2, c] + hz - z, size, cone[c, 0], cone[c, 1], cone[c, 2],
        cone[c, 3], side, dx, dy, dz, cosine,
    )  # fmt: skip


@kernel
def _facet_may_stop(facets, t, look):
    """Whether a facet (see `firstcast.kernels.facets.list_facets`) may stop the ball."""
    x, y, z, dx, dy, dz, cosine, sine, side = look
    wx, wy, wz, size = facets[t, 0] - x, facets[t, 1] - y, facets[t, 2] - z, facets[t, 3]
    along = wx * dx + wy * dy + wz * dz
    across = np.sqrt(max(wx * wx + wy * wy + wz * wz - along * along, np.float32(0.0)))
    # beside the cone: most of what lies round the place itself
    if across * cosine - along * sine > size * np.float32(1.00001):
        return False
    return may_stop(
        wx, wy, wz, size, facets[t, 4], facets[t, 5], facets[t, 6], facets[t, 7], side, dx, dy, dz, cosine
    )


@kernel
def _look(p, d, centre, cosine, side):
    """Place, direction, the cone's cosine and sine, and side, as float32."""
    return (
        np.float32(p[0] - centre[0]), np.float32(p[1] - centre[1]), np.float32(p[2] - centre[2]),
        np.float32(d[0]), np.float32(d[1]), np.float32(d[2]),
        np.float32(cosine), np.float32(np.sqrt(1.0 - cosine * cosine)), np.float32(side),
    )  # fmt: skip


@kernel
def _push(node, level, box, cone, look, size, work):
    """Put the children of a node that may stop the ball on the stacks, the nearest last; the new height."""
    stack_node, stack_level, stack_d2, child_d2 = work[0], work[1], work[2], work[3]
    bottom = size
    for c in range(8):
        d2 = child_d2[c]
        if d2 < np.inf and (cone[c, 3] > 1.5 or _child_may_stop(box, cone, c, look)):
            at = size
            while at > bottom and stack_d2[at - 1] < d2:
                stack_node[at], stack_level[at] = stack_node[at - 1], stack_level[at - 1]
                stack_d2[at] = stack_d2[at - 1]
                at -= 1
            stack_node[at], stack_level[at], stack_d2[at] = 8 * node + c, level + 1, d2
            size += 1
    return size


@kernel
def facing_ball(p, d, side, vertex, own, most, cosine, seed, tree, bounds, mesh, work, opposite):
    """Radius of the ball that grows from p along d until a place that faces p stops it, at most `most` (else inf).

    Triangles with the corner `vertex`, and the triangle `own`, never stop it. A place faces p if it is seen from p
    within the angle of `cosine` off d, with nothing between. The place goes to `opposite` (3,).
    `seed` is a row of the tree to try first, or -1. Gives the radius and the row that stopped it (-1: none).
    """
    rows, boxes, level_base, depth = tree[1], tree[2], tree[3], tree[4]
    facets, cones = bounds
    stack_node, stack_level, stack_d2, child_d2, try_work = work
    n = np.int64(len(rows))
    levels = len(level_base) - 1
    look = _look(p, d, tree[5], cosine, side)
    best, best_row = most, np.int64(-1)
    if seed >= 0:
        found = _try_triangle(
            p, d, side, rows[seed], seed, vertex, own, cosine, best, tree, facets, mesh, try_work, opposite
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
            for t in range((node * n) >> depth, ((node + 1) * n) >> depth):
                if not _facet_may_stop(facets, t, look):
                    continue
                found = _try_triangle(
                    p, d, side, rows[t], t, vertex, own, cosine, best, tree, facets, mesh, try_work, opposite
                )
                if found < best:
                    best, best_row = found, t
            continue
        box, cone = boxes[level_base[level] + node], cones[level_base[level] + node]
        _children_away2(box, look, np.float32(best), child_d2)
        size = _push(node, level, box, cone, look, size, work)
    return (best if best_row >= 0 else np.inf), best_row
