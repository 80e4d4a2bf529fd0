"""Crossing triangles: against libigl's test, and cases whose answer is plain."""

import igl
import numpy as np
import pytest
import trimesh

from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh

SEED = 55217


def soup(corners) -> Mesh:
    """Triangles that share no points."""
    points = np.asarray(corners, dtype=np.float32).reshape(-1, 3)
    return Mesh(points, np.arange(len(points), dtype=np.int32).reshape(-1, 3))


def pair(points, *, shared) -> bool:
    """Whether triangle 0, 1, 2 crosses the triangle of the last three points; the first `shared` are common."""
    other = [*range(shared), *range(3, 6 - shared)]
    mesh = Mesh(np.asarray(points, dtype=np.float32), np.array([[0, 1, 2], other], dtype=np.int32))
    return len(crossing_pairs(mesh)) > 0


def test_random_pairs_as_libigl():
    rng = np.random.default_rng(SEED)
    corners = rng.normal(size=(60, 1, 3)) + rng.normal(size=(60, 3, 3))
    mesh = soup(corners)
    t = mesh.corners
    expected = [
        (i, j)
        for i in range(60)
        for j in range(i + 1, 60)
        if igl.tri_tri_intersection_test_3d(*t[i][:, None], *t[j][:, None])[0]
    ]
    assert 30 < len(expected) < 1000  # the trial has crossings and free pairs
    np.testing.assert_array_equal(crossing_pairs(mesh, limit=10_000), expected)


@pytest.mark.parametrize("turn", range(3))
def test_nothing_shared(turn):
    base = [[0, 0, 0], [4, 0, 0], [0, 4, 0]]
    through = [[1, 1, -1], [1, 1, 1], [1, 2, 1]]
    beside = [[3, 3, -1], [3, 3, 1], [3, 4, 1]]
    touching = [[1, 1, 0], [1, 1, 1], [1, 2, 1]]
    within = [[1, 1, 0], [2, 1, 0], [1, 2, 0]]
    flat_apart = [[5, 5, 0], [6, 5, 0], [5, 6, 0]]
    for other, crosses in [
        (through, True), (beside, False), (touching, True), (within, True), (flat_apart, False),
    ]:  # fmt: skip
        assert pair(np.roll([*base, *other], turn, axis=1), shared=0) is crosses


@pytest.mark.parametrize(
    ("last", "crosses"),
    [
        ([[-1, 0, 1], [-1, 1, -1]], False),  # away from the corner
        ([[1, 1, 1], [1, 1, -1]], True),  # its far edge pierces
        ([[4, 1, 0], [4, 4, 3]], True),  # an edge runs along the inside
        ([[2, 0, 0], [0, 0, 3]], True),  # an edge lies on an edge
        ([[-2, 0, 0], [0, 0, 3]], False),  # an edge lies on the edge's other side
        ([[-1, -1, 0], [-1, -2, 0]], False),  # in one plane, apart
        ([[1, 1, 0], [2, 1, 0]], True),  # in one plane, within
    ],
)
def test_a_point_shared(last, crosses):
    assert pair([[0, 0, 0], [4, 0, 0], [0, 4, 0], *last], shared=1) is crosses


@pytest.mark.parametrize(
    ("last", "crosses"),
    [
        ([1, -1, 0], False),
        ([1, 1, 0], True),
        ([1, 1, 1e-6], False),
        ([1, 1, -1e-6], False),
        ([9, 3, 0], True),
    ],
)
def test_an_edge_shared(last, crosses):
    assert pair([[0, 0, 0], [4, 0, 0], [0, 4, 0], last], shared=2) is crosses


def test_the_last_bit_decides():
    """A corner one float32 step above or below a plane that is no axis plane."""
    plane = np.array([[8, 0, 0], [0, 8, 0], [0, 0, 8]], dtype=np.float32)
    inside = np.array([3.0, 3.0, 2.0], dtype=np.float32)
    above = [[9, 9, 9], [9, 8, 9]]
    for step, crosses in ((0, True), (1, False), (-1, True)):
        corner = inside.copy()
        for _ in range(abs(step)):
            corner[2] = np.nextafter(corner[2], np.float32(9 * step))
        assert pair([*plane, corner, *above], shared=0) is crosses


def test_doubled_triangles():
    doubled = Mesh(np.eye(3, dtype=np.float32), np.array([[0, 1, 2], [0, 1, 2]], dtype=np.int32))
    np.testing.assert_array_equal(crossing_pairs(doubled), [[0, 1]])


def test_a_ball_has_none_and_two_balls_cross_in_a_ring():
    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    points, triangles = ball.vertices.astype(np.float32), ball.faces.astype(np.int32)
    assert len(crossing_pairs(Mesh(points, triangles))) == 0
    both = Mesh(
        np.concatenate([points, points + np.float32([6, 0, 0])]),
        np.concatenate([triangles, triangles + len(points)]),
    )
    found = crossing_pairs(both, limit=10_000)
    ring = both.corners.mean(axis=1)[found.ravel()]
    # spheres of radius 5, 6 apart, cross in a circle of radius 4 in the plane x = 3
    assert len(ring) > 100
    np.testing.assert_allclose(np.hypot(ring[:, 1], ring[:, 2]), 4.0, atol=0.3)
    np.testing.assert_allclose(ring[:, 0], 3.0, atol=0.3)


def test_a_triangle_near_thousands_of_others_is_tried_against_all():
    """The list of near ones must grow inside the parallel loop."""
    ball = trimesh.creation.icosphere(subdivisions=4)
    cage = trimesh.creation.icosahedron()
    cage.apply_scale(4.0)
    both = trimesh.util.concatenate([ball, cage])
    mesh = Mesh(np.asarray(both.vertices), np.asarray(both.faces, dtype=np.int32))
    assert len(crossing_pairs(mesh)) == 0
    lance = trimesh.creation.cone(radius=0.3, height=9.0)
    lance.apply_translation((0.05, 0.03, -4.0))
    pierced = trimesh.util.concatenate([ball, lance])
    mesh = Mesh(np.asarray(pierced.vertices), np.asarray(pierced.faces, dtype=np.int32))
    pairs = crossing_pairs(mesh)
    assert len(pairs) > 100
    assert {bool(first < len(ball.faces)) for first in pairs[:, 0]} == {True}
