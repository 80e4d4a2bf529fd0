"""Exact signs against rational arithmetic, on places chosen to be nearly flat."""

from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.proof._exact import flat_axis, side_of_line, side_of_plane, two_product, two_sum

from . import rational

coordinate = st.floats(-300, 300, width=32)
place = st.tuples(coordinate, coordinate, coordinate)
share = st.sampled_from([0.0, 0.5, 1.0, -1.0, 0.25, 1 / 3, 0.7, 2.0])
nudges = st.tuples(*[st.integers(-1, 1)] * 3)


def _nudged(point, steps):
    point = np.asarray(point, dtype=np.float32)
    for axis, step in enumerate(steps):
        if step:
            point[axis] = np.nextafter(point[axis], np.float32(step * np.inf))
    return point


@settings(max_examples=600, deadline=None)
@given(place, place, place, share, share, nudges)
def test_side_of_plane_is_exact_for_nearly_flat_places(a, b, c, s, t, steps):
    a, b, c = (np.asarray(x, dtype=np.float64) for x in (a, b, c))
    d = _nudged(a + s * (b - a) + t * (c - a), steps)
    points = np.ascontiguousarray([a, b, c, d], dtype=np.float64)
    truth = rational.side_of_plane(*rational.exact(points))
    assert side_of_plane(points, 0, 1, 2, 3) == truth
    assert side_of_plane(points, 1, 0, 2, 3) == -truth
    assert side_of_plane(points, 3, 1, 2, 0) == -truth


@settings(max_examples=400, deadline=None)
@given(place, place, share, nudges)
def test_side_of_line_is_exact_for_nearly_straight_places(a, b, s, steps):
    a, b = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
    c = _nudged(a + s * (b - a), steps)
    points = np.ascontiguousarray([a, b, c], dtype=np.float64)
    p, q, r = rational.exact(points)
    for axis in range(3):
        i, j = (axis + 1) % 3, (axis + 2) % 3
        turn = (q[i] - p[i]) * (r[j] - p[j]) - (q[j] - p[j]) * (r[i] - p[i])
        assert side_of_line(points, axis, 0, 1, 2) == (turn > 0) - (turn < 0)
    assert (flat_axis(points, 0, 1, 2) >= 0) == rational.has_area(p, q, r)


def test_tiny_and_huge_together():
    """Differences that float64 can't hold exactly must not pass for zero."""
    points = np.array(
        [[2e2, 1e-30, 0.0], [2e2, 1e-30, 1.0], [-1e2, 1e-30, 0.0], [3.0, 2e-30, 7.0]], dtype=np.float32
    ).astype(np.float64)
    assert side_of_plane(points, 0, 1, 2, 3) == rational.side_of_plane(*rational.exact(points)) != 0


@settings(max_examples=200, deadline=None)
@given(st.floats(-1e9, 1e9, width=32), st.floats(-1e9, 1e9, width=32), st.floats(-1e9, 1e9, width=32))
def test_sum_and_product_keep_their_rest(a, b, c):
    total, rest = two_sum(a, b)
    assert Fraction(total) + Fraction(rest) == Fraction(a) + Fraction(b)
    product, rest = two_product(a * b, c)
    assert Fraction(product) + Fraction(rest) == Fraction(a) * Fraction(b) * Fraction(c)
