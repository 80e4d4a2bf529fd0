"""Whether two triangles of one mesh meet elsewhere than in the corners that they share. Exact.

Both triangles must have area. Meeting includes touching: a sound surface does neither.

The far end of what two triangles have in common lies on an edge of one of them, so that edges against
triangles decide (P. Guigue & O. Devillers, Fast and robust triangle-triangle overlap test using
orientation predicates, Journal of Graphics Tools 8 (2003), for the signs).
"""

from firstcast.compiling import kernel
from firstcast.proof._exact import flat_axis, side_of_line, side_of_plane


@kernel
def _pierces(points, u, v, side_u, side_v, a, b, c):
    """Whether the edge u, v, which isn't in the plane of a, b, c, meets that triangle."""
    if side_u * side_v > 0 or (side_u == 0 and side_v == 0):
        return False
    x = side_of_plane(points, u, v, a, b)
    y = side_of_plane(points, u, v, b, c)
    if x * y < 0:
        return False
    z = side_of_plane(points, u, v, c, a)
    return x * z >= 0 and y * z >= 0


@kernel
def _segments_meet(points, axis, p, q, a, b):
    """Whether two segments of one plane meet, ends included."""
    s = side_of_line(points, axis, p, q, a)
    t = side_of_line(points, axis, p, q, b)
    if s * t > 0:
        return False
    u = side_of_line(points, axis, a, b, p)
    v = side_of_line(points, axis, a, b, q)
    if u * v > 0:
        return False
    if s == 0 and t == 0:
        for k in ((axis + 1) % 3, (axis + 2) % 3):
            if max(points[p, k], points[q, k]) < min(points[a, k], points[b, k]):
                return False
            if max(points[a, k], points[b, k]) < min(points[p, k], points[q, k]):
                return False
    return True


@kernel
def _in_triangle(points, axis, p, a, b, c):
    """Whether p lies in the triangle, rim included, all in one plane."""
    turn = side_of_line(points, axis, a, b, c)
    return (
        side_of_line(points, axis, a, b, p) * turn >= 0
        and side_of_line(points, axis, b, c, p) * turn >= 0
        and side_of_line(points, axis, c, a, p) * turn >= 0
    )


@kernel
def _meet_in_plane(points, p, q):
    """Two triangles of one plane without common corner."""
    axis = flat_axis(points, p[0], p[1], p[2])
    for i in range(3):
        for j in range(3):
            if _segments_meet(points, axis, p[i], p[(i + 1) % 3], q[j], q[(j + 1) % 3]):
                return True
    return _in_triangle(points, axis, p[0], q[0], q[1], q[2]) or _in_triangle(
        points, axis, q[0], p[0], p[1], p[2]
    )


@kernel
def _meet_apart(points, p, q):
    """Two triangles without common corner."""
    s0 = side_of_plane(points, p[0], p[1], p[2], q[0])
    s1 = side_of_plane(points, p[0], p[1], p[2], q[1])
    s2 = side_of_plane(points, p[0], p[1], p[2], q[2])
    if s0 == s1 and s1 == s2:
        return _meet_in_plane(points, p, q) if s0 == 0 else False
    t0 = side_of_plane(points, q[0], q[1], q[2], p[0])
    t1 = side_of_plane(points, q[0], q[1], q[2], p[1])
    t2 = side_of_plane(points, q[0], q[1], q[2], p[2])
    if t0 == t1 and t1 == t2:
        return False
    return (
        _pierces(points, q[0], q[1], s0, s1, p[0], p[1], p[2])
        or _pierces(points, q[1], q[2], s1, s2, p[0], p[1], p[2])
        or _pierces(points, q[2], q[0], s2, s0, p[0], p[1], p[2])
        or _pierces(points, p[0], p[1], t0, t1, q[0], q[1], q[2])
        or _pierces(points, p[1], p[2], t1, t2, q[0], q[1], q[2])
        or _pierces(points, p[2], p[0], t2, t0, q[0], q[1], q[2])
    )


@kernel
def _in_wedge(points, axis, turn, v, a, b, p):
    """Whether the ray from v to p runs in the wedge from v that a and b span, sides included."""
    return side_of_line(points, axis, v, a, p) * turn >= 0 and side_of_line(points, axis, v, p, b) * turn >= 0


@kernel
def _meet_at_corner(points, v, a, b, c, d):
    """Triangles v, a, b and v, c, d: whether they meet elsewhere than in v."""
    sa = side_of_plane(points, v, c, d, a)
    sb = side_of_plane(points, v, c, d, b)
    if sa * sb > 0:
        return False
    if sa == 0 and sb == 0:
        axis = flat_axis(points, v, a, b)
        first = side_of_line(points, axis, v, a, b)
        second = side_of_line(points, axis, v, c, d)
        return (
            _in_wedge(points, axis, first, v, a, b, c)
            or _in_wedge(points, axis, first, v, a, b, d)
            or _in_wedge(points, axis, second, v, c, d, a)
            or _in_wedge(points, axis, second, v, c, d, b)
        )
    sc = side_of_plane(points, v, a, b, c)
    sd = side_of_plane(points, v, a, b, d)
    if sc * sd > 0:
        return False
    return _pierces(points, a, b, sa, sb, v, c, d) or _pierces(points, c, d, sc, sd, v, a, b)


@kernel
def _meet_at_edge(points, u, v, a, b):
    """Triangles u, v, a and u, v, b: whether they are folded flat onto one another."""
    if side_of_plane(points, u, v, a, b) != 0:
        return False
    axis = flat_axis(points, u, v, a)
    return side_of_line(points, axis, u, v, a) * side_of_line(points, axis, u, v, b) > 0


@kernel
def triangles_meet(points, triangles, first, second):
    """Whether two triangles of a mesh meet elsewhere than in shared corners. Both must have area.

    points (n, 3) float64, exact in float32; triangles (m, 3) int32.
    """
    p = (triangles[first, 0], triangles[first, 1], triangles[first, 2])
    q = (triangles[second, 0], triangles[second, 1], triangles[second, 2])
    shared = 0
    i = j = -1
    loose = 0
    loose_other = 0
    for k in range(3):
        found = -1
        for m in range(3):
            if p[k] == q[m]:
                found = m
        if found >= 0:
            shared += 1
            i, j = k, found
            loose_other += found
        else:
            loose = k
    if shared == 0:
        return _meet_apart(points, p, q)
    if shared == 1:
        return _meet_at_corner(points, p[i], p[(i + 1) % 3], p[(i + 2) % 3], q[(j + 1) % 3], q[(j + 2) % 3])
    if shared == 2:
        return _meet_at_edge(points, p[(loose + 1) % 3], p[(loose + 2) % 3], p[loose], q[3 - loose_other])
    return True
