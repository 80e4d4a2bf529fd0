"""Halved edges: none too long, the same surface, still closed, each piece in the triangle that it names."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges


def longest_of(mesh: Mesh) -> float:
    corners = mesh.corners
    return float(np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2).max())


def test_a_cube_cut_to_a_tenth_stays_a_cube():
    cube = trimesh.creation.box((1, 1, 1))
    mesh, origin = split_long_edges(Mesh(cube.vertices, cube.faces.astype(np.int32)), 0.1)
    found = trimesh.Trimesh(mesh.points, mesh.triangles, process=False)
    assert longest_of(mesh) <= 0.1
    assert found.is_watertight
    # sums of thousands of products: rounding alone
    assert found.volume == pytest.approx(1.0, abs=1e-12)
    assert found.area == pytest.approx(6.0, abs=1e-12)
    assert (mesh.points[:8] == cube.vertices).all()
    assert np.bincount(origin, np.asarray(found.area_faces), minlength=12) == pytest.approx(0.5, abs=1e-12)
    assert (np.einsum("ij,ij->i", found.face_normals, cube.face_normals[origin]) > 1 - 1e-9).all()


@given(st.integers(0, 2**32 - 1), st.floats(0.05, 0.9))
@settings(max_examples=30, deadline=None)
def test_any_hull_stays_what_it_is(seed, longest):
    hull = trimesh.convex.convex_hull(np.random.default_rng(seed).normal(size=(12, 3)))
    mesh, origin = split_long_edges(Mesh(hull.vertices, hull.faces.astype(np.int32)), longest)
    found = trimesh.Trimesh(mesh.points, mesh.triangles, process=False)
    assert longest_of(mesh) <= longest
    assert found.is_watertight
    assert found.volume == pytest.approx(hull.volume, rel=1e-9)
    # every piece lies in the plane of the triangle that it is of
    normals, corners = hull.face_normals[origin], hull.triangles[origin][:, 0]
    off = np.einsum("tcj,tj->tc", mesh.corners - corners[:, None], normals)
    assert np.abs(off).max() < 1e-9


def test_short_edges_and_nothing_at_all_stay():
    ball = trimesh.creation.icosphere(1)
    given_mesh = Mesh(ball.vertices, ball.faces.astype(np.int32))
    mesh, origin = split_long_edges(given_mesh, 10.0)
    assert (mesh.triangles == given_mesh.triangles).all()
    assert (origin == np.arange(80)).all()
    empty, none = split_long_edges(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32)), 0.1)
    assert len(empty.triangles) == len(none) == 0
