"""Which triangles of a mesh cross or overlap another, decided by exact signs.

Signs of volumes are taken in float64 where its error bound allows, else in doubled float64, which holds
coordinates of float32 without error. Touching counts as crossing, except along shared points and edges.
"""

import numba
import numpy as np

from firstcast.kernels.compiling import kernel

SPLIT = 134217729.0
"""2^27 + 1: splits a float64 into halves whose products are exact (Veltkamp, Dekker)."""

BOUND = 1e-15
"""Share of the sum of magnitudes that bounds the error of the plain determinant (Shewchuk 1997: 7.8e-16)."""


@kernel
def _add(a, b):
    """The sum of two numbers and its error (Knuth)."""
    total = a + b
    part = total - a
    return total, (a - (total - part)) + (b - part)


@kernel
def _multiply(a, b):
    """The product of two numbers and its error (Dekker)."""
    product = a * b
    kept = SPLIT * a
    ah = kept - (kept - a)
    al = a - ah
    kept = SPLIT * b
    bh = kept - (kept - b)
    bl = b - bh
    return product, ((ah * bh - product) + ah * bl + al * bh) + al * bl


@kernel
def _minor(a, b, c, d, factor):
    """(a·b - c·d)·factor as a number and its error."""
    p, p_error = _multiply(a, b)
    q, q_error = _multiply(c, d)
    high, low = _add(p, -q)
    low += p_error - q_error
    high, low = _add(high, low)
    product, error = _multiply(high, factor)
    return _add(product, error + low * factor)


@kernel
def side(a, b, c, d):
    """Sign of the volume a, b, c, d: 1 where a, b, c turn counter-clockwise seen from d's far side, 0 in a plane."""
    ax, ay, az = a[0] - d[0], a[1] - d[1], a[2] - d[2]
    bx, by, bz = b[0] - d[0], b[1] - d[1], b[2] - d[2]
    cx, cy, cz = c[0] - d[0], c[1] - d[1], c[2] - d[2]
    volume = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    size = (
        abs(ax) * (abs(by * cz) + abs(bz * cy))
        + abs(ay) * (abs(bz * cx) + abs(bx * cz))
        + abs(az) * (abs(bx * cy) + abs(by * cx))
    )
    if volume > BOUND * size:
        return 1
    if volume < -BOUND * size:
        return -1
    x, x_error = _minor(by, cz, bz, cy, ax)
    y, y_error = _minor(bz, cx, bx, cz, ay)
    z, z_error = _minor(bx, cy, by, cx, az)
    high, low = _add(x, y)
    top, rest = _add(high, z)
    total = top + (rest + low + x_error + y_error + z_error)
    if abs(total) <= 1e-28 * size:
        return 0
    return 1 if total > 0.0 else -1


@kernel
def _turn(a, b, c, u, v):
    """Sign of the turn a, b, c in the plane of axes u and v."""
    left = (b[u] - a[u]) * (c[v] - a[v])
    right = (b[v] - a[v]) * (c[u] - a[u])
    return 1 if left > right else (-1 if left < right else 0)


@kernel
def _widest_plane(t):
    """The two axes in whose plane a triangle's shadow is widest; (-1, -1) if it has no area."""
    x = (t[1, 1] - t[0, 1]) * (t[2, 2] - t[0, 2]) - (t[1, 2] - t[0, 2]) * (t[2, 1] - t[0, 1])
    y = (t[1, 2] - t[0, 2]) * (t[2, 0] - t[0, 0]) - (t[1, 0] - t[0, 0]) * (t[2, 2] - t[0, 2])
    z = (t[1, 0] - t[0, 0]) * (t[2, 1] - t[0, 1]) - (t[1, 1] - t[0, 1]) * (t[2, 0] - t[0, 0])
    if x == 0.0 and y == 0.0 and z == 0.0:
        return -1, -1
    if abs(x) >= abs(y) and abs(x) >= abs(z):
        return 1, 2
    if abs(y) >= abs(z):
        return 2, 0
    return 0, 1


@kernel
def _inside_flat(p, t, u, v):
    """Whether a place in a triangle's plane lies in it or on its edges."""
    s0 = _turn(t[0], t[1], p, u, v)
    s1 = _turn(t[1], t[2], p, u, v)
    s2 = _turn(t[2], t[0], p, u, v)
    return (s0 >= 0 and s1 >= 0 and s2 >= 0) or (s0 <= 0 and s1 <= 0 and s2 <= 0)


@kernel
def _on_flat(p, a, b, u, v):
    """Whether `p`, in line with a and b, lies between them."""
    return min(a[u], b[u]) <= p[u] <= max(a[u], b[u]) and min(a[v], b[v]) <= p[v] <= max(a[v], b[v])


@kernel
def _segments_meet_flat(p, q, a, b, u, v):
    s0 = _turn(p, q, a, u, v)
    s1 = _turn(p, q, b, u, v)
    s2 = _turn(a, b, p, u, v)
    s3 = _turn(a, b, q, u, v)
    if s0 * s1 < 0 and s2 * s3 < 0:
        return True
    return (
        (s0 == 0 and _on_flat(a, p, q, u, v))
        or (s1 == 0 and _on_flat(b, p, q, u, v))
        or (s2 == 0 and _on_flat(p, a, b, u, v))
        or (s3 == 0 and _on_flat(q, a, b, u, v))
    )


@kernel
def _segment_meets(p, q, t):
    """Whether the segment p-q meets the triangle `t`, touching included."""
    above = side(t[0], t[1], t[2], p)
    below = side(t[0], t[1], t[2], q)
    if above * below > 0:
        return False
    if above == 0 and below == 0:
        u, v = _widest_plane(t)
        if u < 0:
            return True
        if _inside_flat(p, t, u, v) or _inside_flat(q, t, u, v):
            return True
        return (
            _segments_meet_flat(p, q, t[0], t[1], u, v)
            or _segments_meet_flat(p, q, t[1], t[2], u, v)
            or _segments_meet_flat(p, q, t[2], t[0], u, v)
        )
    s0 = side(p, q, t[0], t[1])
    s1 = side(p, q, t[1], t[2])
    s2 = side(p, q, t[2], t[0])
    return (s0 >= 0 and s1 >= 0 and s2 >= 0) or (s0 <= 0 and s1 <= 0 and s2 <= 0)


@kernel
def _leaves_into(t, at, p):
    """Whether the edge from corner `at` of `t` to `p`, in the plane of `t`, runs within the corner's angle."""
    if side(t[0], t[1], t[2], p) != 0:
        return False
    u, v = _widest_plane(t)
    if u < 0:
        return True
    turn = _turn(t[0], t[1], t[2], u, v)
    left = _turn(t[at], t[(at + 1) % 3], p, u, v) * turn
    right = _turn(t[at], t[(at + 2) % 3], p, u, v) * turn
    if left > 0 and right < 0:
        return True
    for other in (
        (at + 1) % 3,
        (at + 2) % 3,
    ):  # along an edge of the triangle, on the same side of the corner
        if _turn(t[at], t[other], p, u, v) == 0:
            ahead = (t[other, u] - t[at, u]) * (p[u] - t[at, u]) + (t[other, v] - t[at, v]) * (
                p[v] - t[at, v]
            )
            if ahead > 0.0:
                return True
    return False


@kernel
def _cross(s, t, s_points, t_points):
    """Whether two triangles cross or overlap beyond the points they share."""
    shared = 0
    s_free = 0
    t_free = 0
    s_common = -1
    t_common = -1
    for i in range(3):
        common = False
        for j in range(3):
            if s_points[i] == t_points[j]:
                common = True
                t_common = j
        if common:
            shared += 1
            s_common = i
        else:
            s_free = i
    if shared == 0:
        for k in range(3):
            if _segment_meets(s[k], s[(k + 1) % 3], t) or _segment_meets(t[k], t[(k + 1) % 3], s):
                return True
        return False
    if shared == 1:
        i, j = s_common, t_common
        s1, s2, t1, t2 = s[(i + 1) % 3], s[(i + 2) % 3], t[(j + 1) % 3], t[(j + 2) % 3]
        return (
            _segment_meets(s1, s2, t)
            or _segment_meets(t1, t2, s)
            or _leaves_into(t, j, s1)
            or _leaves_into(t, j, s2)
            or _leaves_into(s, i, t1)
            or _leaves_into(s, i, t2)
        )
    if shared == 2:
        for j in range(3):
            if t_points[j] != s_points[(s_free + 1) % 3] and t_points[j] != s_points[(s_free + 2) % 3]:
                t_free = j
        a, b = s[(s_free + 1) % 3], s[(s_free + 2) % 3]
        if side(a, b, s[s_free], t[t_free]) != 0:
            return False
        u, v = _widest_plane(s)
        return u < 0 or _turn(a, b, s[s_free], u, v) * _turn(a, b, t[t_free], u, v) >= 0
    return True


@kernel(parallel=True)
def crossing_partners(which, corners, rows, places, boxes, level_base, depth, centre, triangles, partner):
    """Fill `partner` (k,) int32: the lowest triangle that `which[i]` crosses, itself if it has no area, or -1.

    `corners`, `rows`, `boxes`, `level_base`, `depth`, `centre`: a search tree (`firstcast.kernels.tree`);
    `places` (m,) int32: the tree's row of each triangle; `triangles` (m, 3) int32: its points.
    """
    n = np.int64(len(rows))
    levels = len(level_base) - 1
    for i in numba.prange(len(which)):
        number = which[i]
        s = corners[places[number]]
        found = -1
        u, _ = _widest_plane(s)
        if u < 0:
            found = number
        stack_node = np.empty(128, np.int64)
        stack_level = np.empty(128, np.int64)
        low = np.empty(3, np.float32)
        high = np.empty(3, np.float32)
        for k in range(3):
            low[k] = min(s[0, k], s[1, k], s[2, k]) - centre[k]
            high[k] = max(s[0, k], s[1, k], s[2, k]) - centre[k]
        size = 1
        stack_node[0] = 0
        stack_level[0] = 0
        while size > 0 and found != number:
            size -= 1
            node = stack_node[size]
            level = stack_level[size]
            if level < levels:
                box = boxes[level_base[level] + node]
                for c in range(8):
                    if (
                        box[0, c] <= high[0] and box[3, c] >= low[0]
                        and box[1, c] <= high[1] and box[4, c] >= low[1]
                        and box[2, c] <= high[2] and box[5, c] >= low[2]
                    ):  # fmt: skip
                        stack_node[size] = 8 * node + c
                        stack_level[size] = level + 1
                        size += 1
                continue
            for row in range((node * n) >> depth, ((node + 1) * n) >> depth):
                other = rows[row]
                if other == number or (found >= 0 and other > found):
                    continue
                t = corners[row]
                apart = False
                for k in range(3):
                    apart |= max(t[0, k], t[1, k], t[2, k]) < min(s[0, k], s[1, k], s[2, k])
                    apart |= min(t[0, k], t[1, k], t[2, k]) > max(s[0, k], s[1, k], s[2, k])
                if not apart and _cross(s, t, triangles[number], triangles[other]):
                    found = other
        partner[i] = found
