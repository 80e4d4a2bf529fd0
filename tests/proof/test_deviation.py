"""Distances, windings, bounds and creases: against libigl, closed forms and known faults."""

import igl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.proof import distances
from firstcast.proof._certify import BEYOND, OPEN, WITHIN
from firstcast.proof._nearest import squared_distance
from firstcast.proof.tree import build_tree

from . import solids

SEED = 902417


def tree_of(mesh):
    return build_tree(mesh[0][mesh[1]].astype(np.float64))


def test_the_tree_holds_each_triangle_once_and_boxes_hold_their_triangles():
    points, triangles = solids.torus()
    tree = tree_of((points, triangles))
    assert np.array_equal(np.sort(tree.order), np.arange(len(triangles)))
    count = len(triangles)
    for leaf in range(tree.leaves):
        node = tree.leaves + leaf
        inside = tree.corners[leaf * count // tree.leaves : (leaf + 1) * count // tree.leaves].reshape(-1, 3)
        while node:
            assert (inside >= tree.boxes[node, :3]).all()
            assert (inside <= tree.boxes[node, 3:]).all()
            node //= 2


@pytest.mark.parametrize(
    "mesh", [solids.torus(), solids.box(), solids.ball(2.0, 1)], ids=["torus", "box", "ball"]
)
def test_distance_equals_libigl(mesh):
    rng = np.random.default_rng(SEED)
    points = rng.uniform(-15, 15, (3000, 3))
    found = distances.nearest(tree_of(mesh), points)
    squared, _, _ = igl.point_mesh_squared_distance(
        points, mesh[0].astype(np.float64), mesh[1].astype(np.int64)
    )
    assert np.allclose(found.distance, np.sqrt(squared), atol=1e-12)


@settings(max_examples=300, deadline=None)
@given(*[st.tuples(*[st.sampled_from([-2.0, -1.0, 0.0, 0.5, 1.0, 3.0])] * 3)] * 4)
def test_distance_to_a_triangle_is_never_beaten_by_a_dense_search(p, a, b, c):
    """Degenerate triangles too: the exact distance is at most any sample's, and near the best of them."""
    corners = np.array([[a, b, c]])
    u, v = np.meshgrid(np.linspace(0, 1, 41), np.linspace(0, 1, 41))
    kept = u + v <= 1.0 + 1e-12
    u, v = u[kept][:, None], v[kept][:, None]
    samples = corners[0, 0] + u * (corners[0, 1] - corners[0, 0]) + v * (corners[0, 2] - corners[0, 0])
    best = np.sqrt(((samples - np.array(p)) ** 2).sum(axis=1).min())
    exact = np.sqrt(squared_distance(*p, corners, 0))
    assert exact <= best + 1e-12
    assert best - exact < 0.25


def test_windings_count_overlapping_solids():
    mesh = solids.together(solids.ball(3.0, 3), solids.ball(3.0, 3, (2.0, 0.4, 0.1)), solids.torus())
    rng = np.random.default_rng(SEED)
    points = rng.uniform(-13, 13, (4000, 3)) * [1, 1, 0.3]
    found = distances.windings(tree_of(mesh), points)
    truth = igl.fast_winding_number(mesh[0].astype(np.float64), mesh[1].astype(np.int64), points)
    sure = np.abs(truth - np.round(truth)) < 0.1
    assert sure.mean() > 0.95
    assert np.array_equal(found[sure], np.round(truth[sure]).astype(int))
    assert set(np.unique(found)) == {0, 1, 2}


def test_windings_on_the_very_lines_of_the_triangles():
    """Columns through corners and along edges of a box, where a careless count is 0 or 2."""
    tree = tree_of(solids.box((2, 2, 2), subdivisions=3))
    grid = np.arange(-0.75, 0.76, 0.25)
    inside = np.array([[x, y, z] for x in grid for y in grid for z in (-0.5, 0.0, 0.3)])
    assert (distances.windings(tree, inside) == 1).all()
    assert (distances.windings(tree, inside + np.array([0, 0, 2.0])) == 0).all()
    assert (distances.windings(tree, inside + np.array([2.0, 0, 0])) == 0).all()


def test_samples_are_spread_by_area():
    corners = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[5, 0, 0], [8, 0, 0], [5, 3, 0]]], np.float64)
    points, rows = distances.spread_points(corners, 10_000)
    assert np.bincount(rows).tolist() == [1000, 9000]
    inner = points[rows == 1] - [5, 0, 0]
    assert (inner >= 0).all()
    assert (inner[:, 0] + inner[:, 1] <= 3 + 1e-12).all()
    assert inner.mean(axis=0) == pytest.approx([1, 1, 0], abs=0.01)
    again, _ = distances.spread_points(corners, 10_000)
    assert np.array_equal(points, again)


def test_the_bound_holds_for_every_point_and_refuses_what_lies_beyond():
    """A coarse ball inside a fine one: the coarse faces' middles lie a known sag away."""
    fine, coarse = solids.ball(5.0, 5), solids.ball(5.0, 3)
    tree, faces = tree_of(fine), coarse[0][coarse[1]].astype(np.float64)
    points, rows = distances.spread_points(faces, 200_000)
    away = distances.nearest(tree, points).distance
    deepest = np.zeros(len(faces))
    np.maximum.at(deepest, rows, away)
    for tolerance in (deepest.max() * 1.02, np.median(deepest), deepest.max() * 0.5):
        found = distances.certify(tree, faces, float(tolerance))
        assert (deepest[found.state == WITHIN] <= tolerance).all()
        assert (found.state[deepest > tolerance] != WITHIN).all()
        assert (found.bound[found.state == WITHIN] <= tolerance).all()
        assert np.isinf(found.bound[found.state == BEYOND]).all()
        # the sampled maximum is within a fifth of the truth here: nothing clearly inside is refused
        assert (found.state[deepest < 0.8 * tolerance] == WITHIN).all()
    assert (distances.certify(tree, faces, float(deepest.max() * 1.02)).state == WITHIN).all()


def test_a_hair_above_the_truth_is_proved_and_a_hair_below_is_not():
    """A plate over a plate, tilted so that its edge lies exactly 0.02 off."""
    flat = np.array([[[-9, -9, 0], [9, -9, 0], [0, 15, 0]]], np.float64)
    tilted = np.array([[[0, 0, 0.0], [1, 0, 0.02], [0, 1, 0.02]]], np.float64)
    tree = build_tree(flat)
    assert distances.certify(tree, tilted, 0.02 + 1e-9).state.tolist() == [WITHIN]
    assert distances.certify(tree, tilted, 0.02 - 1e-4).state.tolist() == [BEYOND]
    state = distances.certify(tree, tilted, 0.02 - 1e-9)
    assert state.state.tolist() in ([OPEN], [BEYOND])


def test_bounds_and_distances_are_the_same_on_one_thread(monkeypatch):
    tree, other = tree_of(solids.torus()), solids.torus(10.0, 3.01, 120, 60)
    faces = other[0][other[1]].astype(np.float64)
    many = distances.certify(tree, faces, 0.02), distances.nearest(tree, faces[:, 0])
    monkeypatch.setattr("firstcast.proof.threads.numba.get_num_threads", lambda: 1)
    one = distances.certify(tree, faces, 0.02), distances.nearest(tree, faces[:, 0])
    assert np.array_equal(many[0].state, one[0].state)
    assert np.array_equal(many[0].bound, one[0].bound)
    assert np.array_equal(many[1].distance, one[1].distance)


def test_creases_are_found_at_edges_and_nowhere_else():
    tree = tree_of(solids.box((4, 4, 4), subdivisions=4))
    points = np.array([[0, 0, 2.0], [1.95, 0, 2.0], [2.0, 2.0, 2.0], [1.85, 0.3, 2.0]])
    found = distances.nearest(tree, points)
    reaches = np.full(len(points), 0.1)
    assert distances.at_creases(tree, points, reaches, found).tolist() == [False, True, True, False]
