"""The surface that a ball rolls on: distances to its triangles and bounds of them, normals, order, what it takes."""

import tracemalloc

import numpy as np
import pytest
import trimesh
from ball_solids import RADIUS, bumpy_ball
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.forecast.ball import closed_by_ball
from firstcast.forecast.ball_surface import ground_of
from firstcast.forecast.chain_on_mesh import normals_of
from firstcast.kernels.ball_surface import bounds_of, contact, lower_bounds


def triangles_around(rng, count):
    """Triangles of all shapes, slivers and points among them, and places near them."""
    corners = rng.normal(size=(count, 3, 3))
    corners[: count // 4, 2] = corners[: count // 4, 0] + 1e-7 * rng.normal(size=(count // 4, 3))
    corners[-2:] = corners[-2:, :1]
    places = corners[np.arange(count), rng.integers(0, 3, count)] + rng.normal(size=(count, 3))
    return corners, places


@given(st.integers(0, 10**6))
@settings(max_examples=30, deadline=None)
def test_contacts_are_those_of_a_general_library(seed):
    corners, places = triangles_around(np.random.default_rng(seed), 40)
    points, rows = corners.reshape(-1, 3), np.arange(120, dtype=np.int32).reshape(-1, 3)
    nearest = trimesh.triangles.closest_point(corners[:-2], places[:-2])
    nearest = np.r_[nearest, corners[-2:, 0]]
    for row, place in enumerate(places):
        distance, *way, bulge = contact(*place, points, rows, np.zeros((40, 3), np.float32), row)
        # slivers 1e-7 thin: the weights along them lose half the digits, and the distance is stationary in them
        assert distance == pytest.approx(np.linalg.norm(place - nearest[row]), rel=1e-6)
        assert np.allclose(place - distance * np.array(way), nearest[row], atol=1e-4 * (1 + distance))
        assert bulge == 0.0


@given(st.integers(0, 10**6), st.sampled_from([1, 7, 8, 31, 64]))
@settings(max_examples=30, deadline=None)
def test_bounds_of_distances_are_never_too_far(seed, count):
    rng = np.random.default_rng(seed)
    corners, places = triangles_around(rng, max(count, 8))
    points, rows = corners.reshape(-1, 3), np.arange(corners.size // 3, dtype=np.int32).reshape(-1, 3)
    bulges, low = np.zeros((len(rows), 3), np.float32), points.min(axis=0)
    bounds, found = np.empty((8, len(rows)), np.float32), np.full(len(rows), np.nan, np.float32)
    bounds_of(0, len(rows), points, rows, bulges, low, bounds)
    for place in places[:8]:
        lower_bounds(0, count, *(place - low).astype(np.float32), bounds, found)
        distance = np.array([contact(*place, points, rows, bulges, row)[0] for row in range(count)])
        # float32: 24 bits of lengths up to ten, through a square root of a difference where a plane is near
        assert (found[:count] <= distance + 2e-3 * np.sqrt(1e-6) + 1e-5).all()
        # a bound that says nothing would be no bound: nor is it nearer than the triangle's corners are apart
        assert (found[:count] >= distance - 2.0 * bounds[3, :count] - 1e-5).all()


def test_the_ground_is_the_mesh_in_another_order():
    points, triangles = bumpy_ball(4, 0.35, np.random.default_rng(5))
    ground = ground_of(points, triangles, RADIUS, RADIUS)
    surface, order = ground.surface, ground.order
    assert (np.sort(order) == np.arange(len(points))).all()
    assert (surface.points == points[order]).all()
    # summed up vertex by vertex, in the order of the triangles: the same as triangle by triangle, to the last bit
    assert (ground.normals == normals_of(points, triangles)[order]).all()
    assert {tuple(row) for row in order[surface.triangles].tolist()} == {
        tuple(row) for row in triangles.tolist()
    }


def test_long_triangles_are_cut_and_count_as_flat():
    box = trimesh.creation.box((1.0, 0.8, 0.6))
    points, triangles = np.asarray(box.vertices), np.asarray(box.faces, np.int32)
    ground = ground_of(points, triangles, RADIUS, 0.2)
    corners = ground.surface.points[ground.surface.triangles]
    assert np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2).max() <= 0.2
    assert (np.sort(ground.order[ground.order < 8]) == np.arange(8)).all()
    assert (ground.surface.points[ground.order < 8] == points[ground.order[ground.order < 8]]).all()
    assert (ground.surface.bulges == 0).all()
    area = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    # thousands of sums
    assert area.sum() == pytest.approx(box.area, rel=1e-9)


def test_a_ball_takes_little_memory_beside_the_mesh():
    points, triangles = bumpy_ball(6, 0.8, np.random.default_rng(6))
    closed_by_ball(*bumpy_ball(2, 0.3, np.random.default_rng(6)), RADIUS, reach_mm=RADIUS)
    tracemalloc.start()
    found = closed_by_ball(points, triangles, RADIUS, reach_mm=RADIUS)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert not found.covered.all()
    # what the result, surface, stars, centres and front are by their dtypes is 137 bytes for a triangle, the cells' tables less
    # than 40 beside a body as small as this
    assert peak < 180 * len(triangles)
