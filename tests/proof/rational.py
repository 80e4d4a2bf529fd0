"""The slow obvious twin of the crossing test, in rational numbers."""

from fractions import Fraction
from itertools import combinations


def _minus(a, b):
    return tuple(x - y for x, y in zip(a, b, strict=True))


def _dot(a, b):
    return sum((x * y for x, y in zip(a, b, strict=True)), Fraction(0))


def _cross(a, b):
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def exact(points):
    """Rows of floats as tuples of fractions."""
    return [tuple(Fraction(float(x)) for x in row) for row in points]


def side_of_plane(a, b, c, d) -> int:
    """Sign of (b-a) × (c-a) · (d-a)."""
    value = _dot(_cross(_minus(b, a), _minus(c, a)), _minus(d, a))
    return (value > 0) - (value < 0)


def has_area(a, b, c) -> bool:
    """Whether three places don't lie on one line."""
    return any(_cross(_minus(b, a), _minus(c, a)))


def _edge_in_triangle(p, q, triangle):
    """Ends of what the edge p, q has in common with a triangle: no, one or two points."""
    a, b, c = triangle
    normal = _cross(_minus(b, a), _minus(c, a))
    along = _minus(q, p)
    rise, height = _dot(normal, along), _dot(normal, _minus(a, p))
    low, high = Fraction(0), Fraction(1)
    if rise == 0:
        if height != 0:
            return []
    else:
        low = high = height / rise
        if not 0 <= low <= 1:
            return []
    for u, v in ((a, b), (b, c), (c, a)):
        inward = _cross(normal, _minus(v, u))
        slope, start = _dot(inward, along), _dot(inward, _minus(p, u))
        if slope == 0:
            if start < 0:
                return []
        elif slope > 0:
            low = max(low, -start / slope)
        else:
            high = min(high, -start / slope)
    if low > high:
        return []
    return [tuple(x + t * d for x, d in zip(p, along, strict=True)) for t in {low, high}]


def _on_segment(x, p, q):
    return not any(_cross(_minus(x, p), _minus(q, p))) and _dot(_minus(x, p), _minus(x, q)) <= 0


def triangles_meet(first, second) -> bool:
    """Whether two triangles (tuples of fractions) meet elsewhere than in corners or the edge they share.

    What two triangles have in common is the hull of what the edges of each have in common with the other.
    """
    shared = [corner for corner in first if corner in second]
    if len(shared) == 3:
        return True
    common = []
    for here, there in ((first, second), (second, first)):
        for p, q in combinations(here, 2):
            common += _edge_in_triangle(p, q, there)
    if not shared:
        return bool(common)
    if len(shared) == 1:
        return any(x != shared[0] for x in common)
    return any(not _on_segment(x, *shared) for x in common)
