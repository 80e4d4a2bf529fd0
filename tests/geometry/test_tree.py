"""The search tree against its slow twin, against libigl, and against itself under rigid motions."""

import igl
import numba
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.tree import (
    build_dipoles,
    build_tree,
    closest_points,
    nearest_parts,
    signed_distances,
    winding_number,
)
from reference import closest_twin

SEED = 481516


def relief_ball(subdivisions: int = 4) -> Mesh:
    """A ball of about 20 mm with relief, neither convex nor symmetric."""
    solid = trimesh.creation.icosphere(subdivisions=subdivisions)
    x, y, z = solid.vertices.T
    radius = 20.0 * (1.0 + 0.1 * np.sin(9 * x) * np.cos(7 * y + 1.0) + 0.03 * np.sin(23 * z))
    return Mesh(solid.vertices * radius[:, None], np.asarray(solid.faces, dtype=np.int32))


def random_corners(rng, count):
    """Triangles of very different sizes, some of them points, segments and needles."""
    corners = rng.normal(size=(count, 1, 3)) * 10 + rng.normal(size=(count, 3, 3)) * 10.0 ** rng.uniform(
        -3, 1, size=(count, 1, 1)
    )
    corners[::7, 2] = corners[::7, 1]
    corners[3::11] = corners[3::11, :1]
    corners[5::13, 2] = corners[5::13, 0] * 0.3 + corners[5::13, 1] * 0.7
    return corners


@pytest.mark.parametrize("count", [1, 2, 3, 5, 33, 260])
def test_equals_every_triangle_tried(count):
    rng = np.random.default_rng(SEED + count)
    corners = random_corners(rng, count)
    queries = np.concatenate([rng.normal(size=(30, 3)) * 15, corners[:10, 0], corners[:10].mean(axis=1)])
    found = closest_points(build_tree(corners), queries)
    every = closest_twin.closest(corners, queries)
    np.testing.assert_allclose(found.distance_mm, every.min(axis=1), atol=1e-9)
    np.testing.assert_allclose(
        np.linalg.norm(queries - found.point_mm, axis=1), found.distance_mm, atol=1e-12
    )
    # the triangle named is as near as any, and no triangle with a lower number is clearly as near
    rows = np.arange(len(queries))
    np.testing.assert_allclose(every[rows, found.triangle], every.min(axis=1), atol=1e-9)


def test_equals_libigl():
    mesh = relief_ball(5)
    rng = np.random.default_rng(SEED)
    queries = np.concatenate(
        [rng.normal(size=(2000, 3)) * 12, mesh.points[:500] * (1 + rng.normal(size=(500, 1)) * 1e-3)]
    )
    squared, _, _ = igl.point_mesh_squared_distance(queries, mesh.points, mesh.triangles.astype(np.int64))
    found = closest_points(build_tree(mesh), queries)
    np.testing.assert_allclose(found.distance_mm, np.sqrt(squared), atol=1e-12)


def test_of_triangles_as_near_the_lowest_number_wins():
    mesh = relief_ball(3)
    tree = build_tree(mesh)
    order = np.random.default_rng(SEED).permutation(len(mesh.triangles))
    shuffled = build_tree(mesh.corners[order])
    lowest = np.full(len(mesh.points), len(mesh.triangles))
    np.minimum.at(lowest, mesh.triangles, np.arange(len(mesh.triangles))[:, None])
    np.testing.assert_array_equal(closest_points(tree, mesh.points).triangle, lowest)
    place_in_shuffled = np.argsort(order)
    lowest_shuffled = np.full(len(mesh.points), len(mesh.triangles))
    np.minimum.at(lowest_shuffled, mesh.triangles, place_in_shuffled[:, None])
    np.testing.assert_array_equal(closest_points(shuffled, mesh.points).triangle, lowest_shuffled)


def test_doubled_triangles_give_the_first():
    corners = np.repeat(relief_ball(2).corners, 3, axis=0)
    found = closest_points(build_tree(corners), corners.mean(axis=1))
    np.testing.assert_array_equal(found.triangle, np.arange(len(corners)) // 3 * 3)


@settings(max_examples=25, deadline=None)
@given(
    turn=st.tuples(*[st.floats(-3, 3)] * 3),
    shift=st.tuples(*[st.floats(-1e3, 1e3)] * 3),
    scale=st.floats(0.01, 100),
)
def test_moves_with_the_mesh(turn, shift, scale):
    corners = random_corners(np.random.default_rng(SEED), 120)
    queries = np.random.default_rng(SEED + 1).normal(size=(40, 3)) * 15
    matrix = scale * Rotation.from_rotvec(turn).as_matrix()
    still = closest_points(build_tree(corners), queries)
    moved = closest_points(build_tree(corners @ matrix.T + shift), queries @ matrix.T + shift)
    # 1e-9 mm: the resolution of float64 a metre off, and the needles' flattening
    np.testing.assert_allclose(moved.distance_mm, still.distance_mm * scale, atol=1e-9 * max(1.0, scale))


def test_far_queries_and_far_meshes_keep_their_digits():
    corners = relief_ball(3).corners
    far = np.array([[1e5, 2e5, -3e5], [0.0, 0.0, 1e6]])
    found = closest_points(build_tree(corners), far)
    np.testing.assert_allclose(found.distance_mm, closest_twin.closest(corners, far).min(axis=1), rtol=1e-14)
    away = np.array([2.0**20, -(2.0**20), 2.0**19])
    queries = np.random.default_rng(SEED).normal(size=(50, 3)) * 20
    near = closest_points(build_tree(corners), queries).distance_mm
    shifted = closest_points(build_tree(corners + away), queries + away).distance_mm
    np.testing.assert_allclose(shifted, near, atol=1e-8)


def test_same_for_any_number_of_threads():
    mesh = relief_ball(5)
    queries = np.random.default_rng(SEED).normal(size=(3000, 3)) * 15
    before = numba.get_num_threads()
    try:
        results = []
        for threads in (1, before):
            numba.set_num_threads(threads)
            tree = build_tree(mesh)
            dipoles = build_dipoles(tree)
            results.append(
                [*tree, *dipoles, *closest_points(tree, queries), winding_number(tree, dipoles, queries)]
            )
    finally:
        numba.set_num_threads(before)
    for one, many in zip(*results, strict=True):
        assert np.asarray(one).tobytes() == np.asarray(many).tobytes()


def test_every_triangle_is_in_the_tree_once_and_inside_its_boxes():
    corners = random_corners(np.random.default_rng(SEED), 1000)
    tree = build_tree(corners)
    np.testing.assert_array_equal(np.sort(tree.rows), np.arange(1000))
    np.testing.assert_array_equal(tree.corners, corners[tree.rows])
    root = tree.boxes[0]
    about = corners - tree.centre_mm
    assert (root[:3].min(axis=1) <= about.min(axis=(0, 1))).all()
    assert (root[3:].max(axis=1) >= about.max(axis=(0, 1))).all()


def test_parts_by_place():
    left, right = relief_ball(3), relief_ball(3)
    mesh = np.concatenate([left.corners, right.corners + np.array([60.0, 0, 0])])
    part = np.repeat(np.array([4, 9], dtype=np.uint16), len(left.triangles))
    found = nearest_parts(build_tree(mesh), part, np.array([[10.0, 0, 0], [29.0, 0, 0], [59.0, 3, 1]]))
    np.testing.assert_array_equal(found, [4, 4, 9])
    with pytest.raises(InputError, match="part numbers for"):
        nearest_parts(build_tree(mesh), part[:-1], np.zeros((1, 3)))


def test_winding_number_near_the_exact_sum():
    mesh = relief_ball(4)
    hood = mesh.corners[mesh.corners[:, :, 2].max(axis=1) > -5]  # open: fractions too must agree
    queries = np.random.default_rng(SEED).normal(size=(300, 3)) * 15
    for corners in (mesh.corners, hood, np.concatenate([mesh.corners, mesh.corners * 0.5])):
        tree = build_tree(corners)
        found = winding_number(tree, build_dipoles(tree), queries)
        exact = closest_twin.winding_number(corners, queries)
        assert np.abs(found - exact).max() < 0.03


def test_inside_and_outside_by_construction():
    mesh = relief_ball(4)
    tree = build_tree(mesh)
    dipoles = build_dipoles(tree)
    normal = np.cross(mesh.corners[:, 1] - mesh.corners[:, 0], mesh.corners[:, 2] - mesh.corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    step = 1e-3
    for sign in (1.0, -1.0):
        found = signed_distances(tree, dipoles, mesh.corners.mean(axis=1) + sign * step * normal)
        np.testing.assert_allclose(found, sign * step, rtol=1e-6)


def test_no_queries():
    tree = build_tree(relief_ball(2))
    found = closest_points(tree, np.zeros((0, 3)))
    assert found.distance_mm.shape == (0,)
    assert winding_number(tree, build_dipoles(tree), np.zeros((0, 3))).shape == (0,)


@pytest.mark.parametrize(
    ("corners", "message"),
    [
        (np.zeros((0, 3, 3)), "there are no triangles"),
        (np.zeros((4, 3)), r"shape \(4, 3\) is not"),
        (np.full((1, 3, 3), np.nan), "not finite"),
    ],
)
def test_refused(corners, message):
    with pytest.raises(InputError, match=message):
        build_tree(corners)
