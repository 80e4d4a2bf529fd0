"""Welding against a slow twin and a search tree."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from firstcast.geometry.welding import weld, weld_equal
from part_shapes import ball, loosened


def test_equal_points_in_the_order_of_first_appearance():
    rng = np.random.default_rng(40_127)
    points = rng.integers(0, 6, (5000, 3)).astype(np.float64)
    places, label = weld_equal(points)
    seen: dict[tuple, int] = {}
    twin = [seen.setdefault(tuple(point), len(seen)) for point in points]
    assert label.tolist() == twin
    assert np.array_equal(places[label], points)
    assert len(places) == len(seen)


def test_both_zeros_are_one_place():
    places, _ = weld_equal(np.array([[0.0, 1, 2], [-0.0, 1, 2]]))
    assert len(places) == 1


def test_single_precision_and_odd_layouts_give_the_same():
    points = np.asfortranarray(np.random.default_rng(7_213).random((100, 3)).astype(np.float32))
    places, label = weld_equal(points)
    assert np.array_equal(places[label], points.astype(np.float64))


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.005, 0.3))
def test_near_points_join_one_leader_and_leaders_stay_apart(seed, tolerance):
    points = np.random.default_rng(seed).random((60, 3)) * np.array([1.0, 1.0, 0.01])
    welded = weld(points, np.arange(60, dtype=np.int32).reshape(-1, 3), tolerance)
    assert welded.joined == 60 - len(welded.points)
    moved = np.linalg.norm(welded.points[welded.triangles.ravel()] - points, axis=1)
    assert moved.max() <= tolerance
    assert not cKDTree(welded.points).query_pairs(tolerance * (1 - 1e-9))
    if welded.joined:
        assert welded.place is not None


def test_clusters_across_cell_borders_become_one_each():
    rng = np.random.default_rng(91_358)
    tolerance = 1e-3
    middles = rng.integers(-20, 20, (300, 3)) * 4 * tolerance  # on the borders of the cells
    middles = np.unique(middles, axis=0)
    points = (middles[:, None, :] + rng.uniform(-0.2, 0.2, (len(middles), 5, 3)) * tolerance).reshape(-1, 3)
    welded = weld(points, np.zeros((0, 3), np.int32), tolerance)
    assert len(welded.points) == len(middles)


def test_far_from_the_origin_and_very_small():
    mesh = loosened(ball(1e-4))
    welded = weld(mesh.points + 1e3, mesh.triangles, 1e-9)
    assert len(welded.points) == 642


@pytest.mark.parametrize("tolerance", [0.0, 1e-6])
def test_empty_and_nothing_to_weld(tolerance):
    mesh = ball()
    welded = weld(mesh.points, mesh.triangles, tolerance)
    assert welded.joined == 0
    assert welded.place is None
    assert np.array_equal(welded.points, mesh.points)
    places, label = weld_equal(np.empty((0, 3)))
    assert places.shape == (0, 3)
    assert label.shape == (0,)
