"""Distances, windings, bounds and creases: against libigl, closed forms and known faults."""

import igl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.proof import _columns, distances
from firstcast.proof._certify import BEYOND, OPEN, WITHIN
from firstcast.proof._nearest import squared_distance
from firstcast.proof._tree import WIDTH
from firstcast.proof.expected import Ball, Box, Expected
from firstcast.proof.tree import build_tree

from . import solids

SEED = 902417


def tree_of(mesh):
    return build_tree(mesh[0][mesh[1]].astype(np.float64))


@pytest.mark.parametrize("count", [1, 2, 16, 17, 256, 257, 4097])
def test_the_tree_holds_each_triangle_once_and_boxes_hold_their_triangles(count):
    """Full groups, one triangle more, and coordinates that float32 can't hold."""
    corners = np.random.default_rng(SEED).normal(scale=1e3, size=(count, 3, 3))
    tree = build_tree(corners)
    assert np.array_equal(np.sort(tree.order), np.arange(count))
    assert np.array_equal(tree.corners, corners[tree.order])
    held = []
    waiting = [(0, np.full(3, -np.inf), np.full(3, np.inf))]
    while waiting:
        group, low, high = waiting.pop()
        for j in range(WIDTH):
            least, most = tree.boxes[group, :3, j], tree.boxes[group, 3:, j]
            if np.isinf(least).any():
                assert (least == np.inf).all()
                assert (most == -np.inf).all()
                continue
            assert (low <= least).all()
            assert (most <= high).all()
            if group < tree.leaves:
                waiting.append((WIDTH * group + 1 + j, least, most))
                continue
            t = WIDTH * (group - tree.leaves) + j
            assert (tree.corners[t] > least).all()
            assert (tree.corners[t] < most).all()
            held.append(t)
    assert sorted(held) == list(range(count))


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


@pytest.mark.parametrize("on_lines", [False, True])
def test_windings_agree_on_all_six_ways_out(on_lines):
    """Closed triangles are crossed as often on any way; a box's corners and edges lie on the ways themselves."""
    if on_lines:
        tree = tree_of(solids.box((2, 2, 2), subdivisions=3))
        points = np.stack(np.meshgrid(*[np.arange(-1.5, 1.6, 0.25)] * 3), axis=-1).reshape(-1, 3)
        points = points[(np.abs(points) != 1.0).all(axis=1)]
        truth = (np.abs(points) < 1.0).all(axis=1)
    else:
        tree = tree_of(
            solids.together(solids.ball(3.0, 3), solids.ball(3.0, 3, (2.0, 0.4, 0.1)), solids.torus())
        )
        points = np.random.default_rng(SEED).uniform(-13, 13, (4000, 3)) * [1, 1, 0.3]
        truth = distances.windings(tree, points)
    for way in range(6):
        found = np.empty(len(points), np.int32)
        ways = np.full(len(points), way)
        _columns.windings(0, len(points), points, ways, tree.corners, tree.boxes, tree.leaves, found)
        assert np.array_equal(found, truth)


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


@pytest.mark.parametrize("tolerance", [0.3, 1.0, 3.0])
def test_the_bound_is_never_below_a_dense_search_among_loose_triangles(tolerance):
    """Loose triangles and slivers lie near several others at once, none of which need hold a whole one."""
    rng = np.random.default_rng(SEED)
    soup = rng.uniform(-5, 5, (300, 1, 3)) + rng.normal(scale=2.0, size=(300, 3, 3))
    faces = rng.uniform(-5, 5, (200, 1, 3)) + rng.normal(scale=1.0, size=(200, 3, 3))
    faces[::4, 2] = faces[::4, 0] + 0.4 * (faces[::4, 1] - faces[::4, 0]) + 1e-7
    tree = build_tree(soup)
    found = distances.certify(tree, faces, tolerance)
    share = np.stack(np.meshgrid(np.linspace(0, 1, 21), np.linspace(0, 1, 21)), axis=-1).reshape(-1, 2)
    share = share[share.sum(axis=1) <= 1.0]
    weights = np.concatenate([1.0 - share.sum(axis=1, keepdims=True), share], axis=1)
    points = np.einsum("kc,mcx->mkx", weights, faces)
    farthest = distances.nearest(tree, points.reshape(-1, 3)).distance.reshape(len(faces), -1).max(axis=1)
    assert (farthest <= found.bound + 1e-12).all()
    assert (found.bound[found.state == WITHIN] <= tolerance).all()
    assert (found.state[farthest > tolerance + 1e-12] != WITHIN).all()
    assert (found.state == WITHIN).any()


def test_bounds_and_distances_are_the_same_on_one_thread(monkeypatch):
    tree, other = tree_of(solids.torus()), solids.torus(10.0, 3.01, 120, 60)
    faces = other[0][other[1]].astype(np.float64)
    many = distances.certify(tree, faces, 0.02), distances.nearest(tree, faces[:, 0])
    monkeypatch.setattr("firstcast.proof.threads.numba.get_num_threads", lambda: 1)
    one = distances.certify(tree, faces, 0.02), distances.nearest(tree, faces[:, 0])
    assert np.array_equal(many[0].state, one[0].state)
    assert np.array_equal(many[0].bound, one[0].bound)
    assert np.array_equal(many[1].distance, one[1].distance)


def test_exempt_places_are_those_that_any_region_holds():
    """Balls and boxes that overlap, and points on their very rims."""
    rng = np.random.default_rng(SEED)
    middles = rng.uniform(-5, 5, (40, 3)).round(1)
    balls = tuple(Ball((x, y, z), 0.7, "filled") for x, y, z in middles.tolist())
    boxes = tuple(Box((x, y, z), (x + 0.5, y + 1, z + 2), "dropped") for x, y, z in (-middles).tolist())
    expected = Expected("body", (1, 1, 1), np.eye(3), 0.02, 0.1, exempt=balls + boxes)
    rim = np.array([0.7, 0, 0])
    rims = np.concatenate([middles + rim, middles - rim, -middles, -middles + [0.5, 1, 2]])
    points = rng.permutation(np.concatenate([rng.uniform(-6, 6, (5000, 3)), rims]))
    plain = np.any([region.holds(points) for region in expected.exempt], axis=0)
    assert 0 < plain.sum() < len(points)
    assert np.array_equal(expected.exempts(points), plain)


def test_creases_are_found_at_edges_and_nowhere_else():
    tree = tree_of(solids.box((4, 4, 4), subdivisions=4))
    points = np.array([[0, 0, 2.0], [1.95, 0, 2.0], [2.0, 2.0, 2.0], [1.85, 0.3, 2.0]])
    found = distances.nearest(tree, points)
    reaches = np.full(len(points), 0.1)
    assert distances.at_creases(tree, points, reaches, found).tolist() == [False, True, True, False]
