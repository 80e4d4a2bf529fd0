"""The table of the contour, proved: for every pattern, wherever on its edge each vertex lies.

A determinant of points that each move along an edge is affine in each place, so its sign over all places
is read off its corners. Two triangles are shown apart by a plane that holds for all places.
"""

import itertools
from functools import cache

import numpy as np
import pytest

from firstcast.kernels.contour_table import EDGE_AXIS, EDGE_CORNER, TRIANGLE_COUNT, TRIANGLE_EDGES

CORNERS = np.array([[c & 1, c >> 1 & 1, c >> 2 & 1] for c in range(8)])
EDGE_OF = {
    frozenset((int(c), int(c) | 1 << int(a))): e
    for e, (a, c) in enumerate(zip(EDGE_AXIS, EDGE_CORNER, strict=True))
}
DIRECTIONS = [np.array(d) for d in itertools.product((-1, 0, 1), repeat=3) if any(d)]


def faces():
    """The six faces of a cell, corners counter-clockwise from outside."""
    for axis in range(3):
        u, v = 1 << (axis + 1) % 3, 1 << (axis + 2) % 3
        for side in (0, 1):
            base = side << axis
            ring = [base, base | u, base | u | v, base | v]
            yield ring if side else ring[::-1]


FACES = list(faces())
FACES_OF_EDGE = [
    {f for f, ring in enumerate(FACES) if corner in ring and (corner | 1 << axis) in ring}
    for axis, corner in zip(EDGE_AXIS.tolist(), EDGE_CORNER.tolist(), strict=True)
]


def triangles_of(pattern):
    edges = TRIANGLE_EDGES[pattern, : 3 * TRIANGLE_COUNT[pattern]].reshape(-1, 3)
    return [tuple(int(e) for e in row) for row in edges]


def face_segments(pattern):
    """Directed segments (edge, edge) that the pattern must draw on each face: outside corners cut off."""
    for ring in FACES:
        inside = [bool(pattern >> c & 1) for c in ring]
        for i in range(4):
            if inside[i] and not inside[(i + 1) % 4]:
                k = (i + 1) % 4
                while inside[k] or not inside[(k + 1) % 4]:
                    k = (k + 1) % 4
                leave = EDGE_OF[frozenset((ring[i], ring[(i + 1) % 4]))]
                enter = EDGE_OF[frozenset((ring[k], ring[(k + 1) % 4]))]
                yield enter, leave


def spot(edge, share):
    place = CORNERS[EDGE_CORNER[edge]].astype(float)
    place[EDGE_AXIS[edge]] = share
    return place


@cache
def sign(edges, direction=None):
    """Sign of the orientation of four movable points (or three and a direction); 0 where it can change."""
    signs = set()
    for shares in itertools.product((0.0, 1.0), repeat=len(edges)):
        p = [spot(e, s) for e, s in zip(edges, shares, strict=True)]
        last = np.array(direction) if direction else p[3] - p[0]
        det = np.linalg.det(np.array([p[1] - p[0], p[2] - p[0], last]))
        signs |= {int(np.sign(det))} if abs(det) > 1e-9 else set()
    return signs.pop() if len(signs) == 1 else 0


def opposite(a, b):
    return a * b == -1


def apart_by_fixed_plane(one, other):
    """Whether some plane n·x = m keeps the triangles on opposite sides, at most one touching it."""
    for n in DIRECTIONS:
        low = [sorted(n @ spot(e, s) for s in (0.0, 1.0)) for e in one]
        high = [sorted(n @ spot(e, s) for s in (0.0, 1.0)) for e in other]
        most, least = max(v[1] for v in low), min(v[0] for v in high)
        strict = all(v[0] < v[1] or v[1] < most for v in low) or all(
            v[0] < v[1] or v[0] > least for v in high
        )
        if most < least or (most == least and strict):
            return True
    return False


def apart_sharing_an_edge(shared, a, b):
    if sign((*shared, a[0], b[0])):
        return True  # never in one plane, so never folded onto each other
    return any(opposite(sign((*shared, a[0]), tuple(d)), sign((*shared, b[0]), tuple(d))) for d in DIRECTIONS)


def apart_sharing_a_corner(v, a, b):
    for x, y in ((a, b), (b, a)):
        s, t = sign((v, *x, y[0])), sign((v, *x, y[1]))
        if s and s == t:
            return True
    for i, k in itertools.product(range(2), repeat=2):
        if opposite(sign((v, a[i], b[k], a[1 - i])), sign((v, a[i], b[k], b[1 - k]))):
            return True
    for d, pivot in itertools.product(map(tuple, DIRECTIONS), (*a, *b)):
        sides_a, sides_b = ({sign((v, pivot, z), d) for z in ends if z != pivot} for ends in (a, b))
        if len(sides_a) == len(sides_b) == 1 and opposite(sides_a.pop(), sides_b.pop()):
            return True
    return False


def apart_sharing_nothing(a, b):
    for n in range(4):
        for pa in itertools.combinations(a, n):
            for pb in itertools.combinations(b, 3 - n):
                sides_a = {sign((*pa, *pb, z)) for z in a if z not in pa}
                sides_b = {sign((*pa, *pb, z)) for z in b if z not in pb}
                one_sided = 0 not in sides_a | sides_b and len(sides_a) < 2 and len(sides_b) < 2
                if one_sided and not sides_a & sides_b:
                    return True
    return False


@cache
def meet_only_in_what_they_share(one, other):
    shared = [e for e in one if e in other]
    a, b = [e for e in one if e not in shared], [e for e in other if e not in shared]
    if len(shared) == 2:
        return apart_sharing_an_edge(tuple(shared), a, b)
    if len(shared) == 1:
        return apart_sharing_a_corner(shared[0], a, b)
    return apart_sharing_nothing(a, b) or apart_by_fixed_plane(one, other) or apart_by_fixed_plane(other, one)


@pytest.mark.parametrize("first", range(0, 256, 32))
def test_no_two_triangles_of_a_cell_cross(first):
    for pattern in range(first, first + 32):
        for one, other in itertools.combinations(triangles_of(pattern), 2):
            assert meet_only_in_what_they_share(tuple(sorted(one)), tuple(sorted(other))), (
                pattern,
                one,
                other,
            )


def test_every_pattern_draws_the_segments_its_faces_ask_for_and_no_other_border():
    for pattern in range(256):
        directed = [pair for t in triangles_of(pattern) for pair in zip(t, (*t[1:], t[0]), strict=True)]
        assert len(set(directed)) == len(directed), pattern
        border = {(a, b) for a, b in directed if (b, a) not in directed}
        asked = list(face_segments(pattern))
        assert border == set(asked), pattern
        assert len(asked) == len(set(asked)), pattern


def test_no_diagonal_lies_within_a_face():
    for pattern in range(256):
        directed = {pair for t in triangles_of(pattern) for pair in zip(t, (*t[1:], t[0]), strict=True)}
        for a, b in directed:
            if (b, a) in directed:
                assert not FACES_OF_EDGE[a] & FACES_OF_EDGE[b], (pattern, a, b)


def test_triangles_around_a_lone_inside_corner_face_away_from_it():
    for corner in range(8):
        (edges,) = triangles_of(1 << corner)
        a, b, c = (spot(e, 0.5) for e in edges)
        assert np.cross(b - a, c - a) @ (a - CORNERS[corner]) > 0


def test_two_crossing_triangles_would_be_noticed():
    assert not meet_only_in_what_they_share((0, 3, 6), (1, 2, 7))
