"""On which side of a plane or a line a place lies: exact, so that touching is never taken for passing.

Differences of coordinates must be exact in float64. That holds for multiples of 2^-44 mm below 256 mm:
float32 numbers of that size, but for those within a millionth of a millimetre of zero. A plain
determinant answers where its error bound allows; else all products are summed without rounding.

References
----------
Shewchuk 1997, Adaptive Precision Floating-Point Arithmetic and Fast Robust Geometric Predicates:
error bounds A, Two-Sum, Two-Product, Grow-Expansion.
"""

import numpy as np

from firstcast.compiling import kernel

EPSILON = 2.0**-53
SPACE_ERROR = (7.0 + 56.0 * EPSILON) * EPSILON
PLANE_ERROR = (3.0 + 16.0 * EPSILON) * EPSILON
SPLITTER = 2.0**27 + 1.0


@kernel(makes_arrays=False)
def _product(a, b):
    """a * b as a rounded product and its exact error."""
    p = a * b
    t = SPLITTER * a
    a1 = t - (t - a)
    a2 = a - a1
    t = SPLITTER * b
    b1 = t - (t - b)
    b2 = b - b1
    return p, a2 * b2 - (((p - a1 * b1) - a2 * b1) - a1 * b2)


@kernel(makes_arrays=False)
def _add(terms, count, value):
    """Add a number to a sum held as terms that don't overlap, smallest first; gives the number of terms."""
    kept = 0
    q = value
    for i in range(count):
        s = q + terms[i]
        back = s - q
        error = (q - (s - back)) + (terms[i] - back)
        if error != 0.0:
            terms[kept] = error
            kept += 1
        q = s
    if q != 0.0 or kept == 0:
        terms[kept] = q
        kept += 1
    return kept


@kernel(makes_arrays=False)
def _add_product(terms, count, a, b, c):
    """Add a * b * c without rounding."""
    p, e = _product(a, b)
    high, low = _product(p, c)
    count = _add(terms, _add(terms, count, low), high)
    high, low = _product(e, c)
    return _add(terms, _add(terms, count, low), high)


@kernel(makes_arrays=False)
def _sign(value):
    return 1 if value > 0.0 else (-1 if value < 0.0 else 0)


@kernel(makes_arrays=False)
def side_of_plane(points, a, b, c, d):
    """Sign of det(a - d, b - d, c - d) for rows of `points`: 1 where d sees a, b, c turn clockwise."""
    dx, dy, dz = np.float64(points[d, 0]), np.float64(points[d, 1]), np.float64(points[d, 2])
    ax, ay, az = points[a, 0] - dx, points[a, 1] - dy, points[a, 2] - dz
    bx, by, bz = points[b, 0] - dx, points[b, 1] - dy, points[b, 2] - dz
    cx, cy, cz = points[c, 0] - dx, points[c, 1] - dy, points[c, 2] - dz
    value = az * (bx * cy - cx * by) + bz * (cx * ay - ax * cy) + cz * (ax * by - bx * ay)
    size = (
        (abs(bx * cy) + abs(cx * by)) * abs(az)
        + (abs(cx * ay) + abs(ax * cy)) * abs(bz)
        + (abs(ax * by) + abs(bx * ay)) * abs(cz)
    )
    if abs(value) > SPACE_ERROR * size:
        return _sign(value)
    if size == 0.0:
        return 0
    return _exact_volume(ax, ay, az, bx, by, bz, cx, cy, cz)


@kernel
def _exact_volume(ax, ay, az, bx, by, bz, cx, cy, cz):
    """Sign of the determinant of three differences, all products summed."""
    terms = np.empty(32)
    count = _add_product(terms, 0, bx, cy, az)
    count = _add_product(terms, count, -cx, by, az)
    count = _add_product(terms, count, cx, ay, bz)
    count = _add_product(terms, count, -ax, cy, bz)
    count = _add_product(terms, count, ax, by, cz)
    count = _add_product(terms, count, -bx, ay, cz)
    return _sign(terms[count - 1])


@kernel(makes_arrays=False)
def side_of_line(points, a, b, c, u, v):
    """Sign of the turn a, b, c as seen along one axis: `u` and `v` are the two axes that are left."""
    ax, ay = points[a, u] - np.float64(points[c, u]), points[a, v] - np.float64(points[c, v])
    bx, by = points[b, u] - np.float64(points[c, u]), points[b, v] - np.float64(points[c, v])
    value = ax * by - ay * bx
    if abs(value) > PLANE_ERROR * (abs(ax * by) + abs(ay * bx)):
        return _sign(value)
    return _exact_turn(ax, ay, bx, by)


@kernel
def _exact_turn(ax, ay, bx, by):
    """Sign of ax by - ay bx, both products summed."""
    terms = np.empty(8)
    high, low = _product(ax, by)
    count = _add(terms, _add(terms, 0, low), high)
    high, low = _product(-ay, bx)
    count = _add(terms, _add(terms, count, low), high)
    return _sign(terms[count - 1])
