"""Whether two triangles of one mesh meet elsewhere than in the corners that they share. Exact.

Both triangles must have area. Meeting includes touching: a sound surface does neither.

Two triangles are six `rows` of points: 0 to 2 the corners of the first, 3 to 5 those of the second, each turned
so that the corners that they share come first. The far end of what they have in common lies on an edge of one of
them, so that edges against triangles decide (P. Guigue & O. Devillers, Fast and robust triangle-triangle overlap
test using orientation predicates, Journal of Graphics Tools 8 (2003), for the signs). An edge with a shared
corner meets the other's plane there and nowhere else, unless both triangles lie in one plane.
"""

from firstcast.compiling import kernel
from firstcast.proof._exact import flat_axis, side_of_line, side_of_plane


@kernel
def _pair_up(triangles, first, second, rows):
    """Fill rows (6,) with the corners of two triangles; gives how many they share."""
    shared = 0
    start = 0
    other_start = 0
    for k in range(3):
        for m in range(3):
            if triangles[first, k] == triangles[second, m]:
                shared += 1
                start += k
                other_start += m
    if shared == 2:  # the one that is not shared comes last
        start, other_start = 4 - start, 4 - other_start
    for k in range(3):
        rows[k] = triangles[first, (start + k) % 3]
        rows[3 + k] = triangles[second, (other_start + k) % 3]
    return shared


@kernel
def _pierces(points, rows, sides, u, v, other):
    """Whether the edge from row u to row v meets the triangle that begins at row `other`; not if in its plane."""
    if sides[u] * sides[v] > 0 or (sides[u] == 0 and sides[v] == 0):
        return False
    least, most = 1, -1
    for k in range(3):
        a, b = rows[other + k], rows[other + (k + 1) % 3]
        side = side_of_plane(points, rows[u], rows[v], a, b)
        least, most = min(least, side), max(most, side)
        if least < 0 and most > 0:
            return False
    return True


@kernel
def _segments_meet(points, axis, p, q, a, b):
    """Whether two segments of one plane meet, ends included."""
    s = side_of_line(points, axis, p, q, a)
    t = side_of_line(points, axis, p, q, b)
    if s * t > 0 or side_of_line(points, axis, a, b, p) * side_of_line(points, axis, a, b, q) > 0:
        return False
    if s == 0 and t == 0:
        for k in ((axis + 1) % 3, (axis + 2) % 3):
            if max(points[p, k], points[q, k]) < min(points[a, k], points[b, k]):
                return False
            if max(points[a, k], points[b, k]) < min(points[p, k], points[q, k]):
                return False
    return True


@kernel
def _meet_in_plane(points, rows, shared):
    """Two triangles of one plane that share at most two corners."""
    axis = flat_axis(points, rows[0], rows[1], rows[2])
    for half in range(0, 6, 3):
        turn = side_of_line(points, axis, rows[half], rows[half + 1], rows[half + 2])
        for corner in range(3 - half + shared, 6 - half):
            inside = True
            for k in range(3):
                # Only sides through all shared corners: near them a triangle is a wedge or a half-plane.
                if (shared > 0 and k == 1) or (shared > 1 and k == 2):
                    continue
                a, b = rows[half + k], rows[half + (k + 1) % 3]
                inside = inside and side_of_line(points, axis, a, b, rows[corner]) * turn >= 0
            if inside:
                return True
    if shared == 0:
        for i in range(3):
            for j in range(3):
                a, b = rows[3 + j], rows[3 + (j + 1) % 3]
                if _segments_meet(points, axis, rows[i], rows[(i + 1) % 3], a, b):
                    return True
    return False


@kernel
def triangles_meet(points, triangles, first, second, rows, sides):
    """Whether two triangles of a mesh meet elsewhere than in shared corners. Both must have area.

    points (n, 3) float64, exact in float32; triangles (m, 3) int64; rows and sides (6,) int64 are room.
    """
    shared = _pair_up(triangles, first, second, rows)
    if shared == 3:
        return True
    for half in range(0, 6, 3):
        other = 3 - half
        least, most = 1, -1
        for k in range(3):
            side = 0
            if k >= shared:
                side = side_of_plane(points, rows[other], rows[other + 1], rows[other + 2], rows[half + k])
                least, most = min(least, side), max(most, side)
            sides[half + k] = side
        if least > 0 or most < 0:
            return False
        if least == 0 and most == 0:
            return _meet_in_plane(points, rows, shared)
    for half in range(0, 6, 3):
        for k in range(shared, 3):
            after = (k + 1) % 3
            if after >= shared and _pierces(points, rows, sides, half + k, half + after, 3 - half):
                return True
    return False
