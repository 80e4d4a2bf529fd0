"""Exact side tests against rational arithmetic."""

from fractions import Fraction

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from firstcast.kernels.orientation import side_of_line, side_of_plane

COORDINATE = st.floats(-200, 200, width=32).map(lambda x: round(x * 2**44) / 2**44)
PLACE = st.tuples(COORDINATE, COORDINATE, COORDINATE)


def sign(value) -> int:
    return (value > 0) - (value < 0)


def exact_plane(places) -> int:
    a, b, c, d = [[Fraction(x) for x in place] for place in places]
    u, v, w = [[p - q for p, q in zip(corner, d, strict=True)] for corner in (a, b, c)]
    return sign(
        u[0] * (v[1] * w[2] - v[2] * w[1])
        - u[1] * (v[0] * w[2] - v[2] * w[0])
        + u[2] * (v[0] * w[1] - v[1] * w[0])
    )


def exact_line(places, u, v) -> int:
    a, b, c = [[Fraction(x) for x in place] for place in places]
    return sign((a[u] - c[u]) * (b[v] - c[v]) - (a[v] - c[v]) * (b[u] - c[u]))


def held(places) -> np.ndarray:
    return np.array(places, dtype=np.float32)


@given(st.lists(PLACE, min_size=4, max_size=4))
def test_any_places(places):
    points = held(places)
    places = points.astype(float).tolist()
    assert side_of_plane(points, 0, 1, 2, 3) == exact_plane(places)
    assert side_of_line(points, 0, 1, 2, 0, 1) == exact_line(places[:3], 0, 1)
    assert side_of_line(points, 3, 1, 0, 2, 0) == exact_line([places[3], places[1], places[0]], 2, 0)


@given(PLACE, PLACE, PLACE, st.integers(0, 4), st.integers(0, 4), st.integers(-2, 2))
def test_places_on_or_a_step_beside_a_plane(a, b, c, i, j, steps):
    """Corners of float32, and a fourth on their plane as nearly as float32 allows, some steps off."""
    a, b, c = held([a, b, c])
    d = (a + (b - a) * np.float32(i / 4) + (c - a) * np.float32(j / 4)).astype(np.float32)
    d = np.clip(d, -255, 255)
    for _ in range(abs(steps)):
        d[2] = np.nextafter(d[2], np.float32(np.sign(steps) * 256))
    d = (np.round(d.astype(np.float64) * 2.0**44) / 2.0**44).astype(np.float32)
    points = np.array([a, b, c, d])
    places = points.astype(float).tolist()
    assert side_of_plane(points, 0, 1, 2, 3) == exact_plane(places)
    assert side_of_plane(points, 1, 3, 0, 2) == exact_plane([places[k] for k in (1, 3, 0, 2)])
    assert side_of_line(points, 0, 1, 3, 1, 2) == exact_line([places[k] for k in (0, 1, 3)], 1, 2)
