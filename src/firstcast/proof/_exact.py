"""Exact signs: on which side of a plane or a line a point lies, with no rounding at all.

Coordinates must be float32 values held as float64. A product of two of them is then exact, and a product
of three is a sum of two float64, so the determinant is a plain sum of at most 48 float64, summed exactly
as an expansion. A rounded determinant with an error bound decides all but the nearly flat cases first.

References
----------
J. R. Shewchuk, Adaptive precision floating-point arithmetic and fast robust geometric predicates,
Discrete & Computational Geometry 18 (1997): two-sum and two-product (theorems 7, 17, 18),
grow-expansion (theorem 10), error bounds A of orient2d and orient3d (sections 4.2, 4.3).
"""

import numpy as np

from firstcast.compiling import kernel

_EPSILON = 2.0**-53
_BOUND_LINE = (3.0 + 16.0 * _EPSILON) * _EPSILON
_BOUND_PLANE = (7.0 + 56.0 * _EPSILON) * _EPSILON
_SPLITTER = 134217729.0  # 2^27 + 1


@kernel
def two_sum(a, b):
    """a + b as a rounded sum and the exact rest."""
    total = a + b
    virtual = total - a
    return total, (a - (total - virtual)) + (b - virtual)


@kernel
def two_product(a, b):
    """a · b as a rounded product and the exact rest."""
    product = a * b
    wide = _SPLITTER * a
    a_high = wide - (wide - a)
    a_low = a - a_high
    wide = _SPLITTER * b
    b_high = wide - (wide - b)
    b_low = b - b_high
    return product, a_low * b_low - (((product - a_high * b_high) - a_low * b_high) - a_high * b_low)


@kernel
def grow(expansion, length, value):
    """Add a value to an expansion in place; gives its new length. Zeros are dropped."""
    kept = 0
    total = value
    for i in range(length):
        total, rest = two_sum(total, expansion[i])
        if rest != 0.0:
            expansion[kept] = rest
            kept += 1
    if total != 0.0:
        expansion[kept] = total
        kept += 1
    return kept


@kernel
def _add_triple(expansion, length, sign, points, a, b, c):
    """Add sign · a·(b × c), exactly."""
    for turn in range(3):
        i = (turn + 1) % 3
        j = (turn + 2) % 3
        for half in range(2):
            factor = points[b, i] * points[c, j] if half == 0 else points[b, j] * points[c, i]
            high, low = two_product(factor, points[a, turn])
            if (half == 1) == (sign > 0):
                high, low = -high, -low
            length = grow(expansion, length, low)
            length = grow(expansion, length, high)
    return length


@kernel
def _side_of_plane_exactly(points, a, b, c, d):
    expansion = np.empty(64)
    length = np.int64(0)  # not literals: each would compile the callee again
    sign = np.int64(1)
    for _ in range(4):
        length = _add_triple(expansion, length, sign, points, b, c, d)
        a, b, c, d = b, c, d, a
        sign = -sign
    if length == 0:
        return 0
    return 1 if expansion[length - 1] > 0.0 else -1


@kernel
def side_of_plane(points, a, b, c, d):
    """Sign of (b-a) × (c-a) · (d-a): 1 where d lies on the outer side of the triangle a, b, c.

    `points` is (n, 3) float64 whose values are exact in float32; a, b, c, d are rows.
    """
    bax = points[b, 0] - points[a, 0]
    bay = points[b, 1] - points[a, 1]
    baz = points[b, 2] - points[a, 2]
    cax = points[c, 0] - points[a, 0]
    cay = points[c, 1] - points[a, 1]
    caz = points[c, 2] - points[a, 2]
    dax = points[d, 0] - points[a, 0]
    day = points[d, 1] - points[a, 1]
    daz = points[d, 2] - points[a, 2]
    p, q = bay * caz, baz * cay
    r, s = baz * cax, bax * caz
    t, u = bax * cay, bay * cax
    value = dax * (p - q) + day * (r - s) + daz * (t - u)
    size = abs(dax) * (abs(p) + abs(q)) + abs(day) * (abs(r) + abs(s)) + abs(daz) * (abs(t) + abs(u))
    bound = _BOUND_PLANE * size
    if value > bound:
        return 1
    if -value > bound:
        return -1
    if size == 0.0 and _exact_differences(points, a, b, c, d):
        return 0
    return _side_of_plane_exactly(points, a, b, c, d)


@kernel
def _exact_differences(points, a, b, c, d):
    """Whether every difference from `a` was exact, so that products that are zero are truly zero."""
    for other in (b, c, d):
        for axis in range(3):
            x, y = points[other, axis], -points[a, axis]
            _, rest = two_sum(x, y)
            if rest != 0.0:
                return False
    return True


@kernel
def side_of_line(points, axis, a, b, c):
    """Sign of the turn a, b, c seen along `axis`: 1 counter-clockwise in the plane of the next two axes."""
    i = (axis + 1) % 3
    j = (axis + 2) % 3
    left = (points[b, i] - points[a, i]) * (points[c, j] - points[a, j])
    right = (points[b, j] - points[a, j]) * (points[c, i] - points[a, i])
    value = left - right
    bound = _BOUND_LINE * (abs(left) + abs(right))
    if value > bound:
        return 1
    if -value > bound:
        return -1
    expansion = np.empty(8)
    length = np.int64(0)
    for _ in range(3):
        length = grow(expansion, length, points[a, i] * points[b, j])
        length = grow(expansion, length, -points[a, j] * points[b, i])
        a, b, c = b, c, a
    if length == 0:
        return 0
    return 1 if expansion[length - 1] > 0.0 else -1


@kernel
def flat_axis(points, a, b, c):
    """An axis along which the triangle shows area, or -1 where it has none at all."""
    for axis in range(3):
        if side_of_line(points, axis, a, b, c) != 0:
            return axis
    return -1
