"""Cutting at a plane: volumes by formula, both sides, faces that are closed, flat and free of crossings."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import settings as trial
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.cut import cut_at
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.pieces import Side
from firstcast.geometry.solids import box, difference, from_manifold


def small(mesh) -> Mesh:
    return Mesh(np.asarray(mesh.points, np.float32), mesh.triangles)


def ball(radius=5.0, subdivisions=5) -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return Mesh(made.vertices.astype(np.float32), made.faces.astype(np.int32))


def demand_sound(cut):
    assert cut.crossings == 0
    solid = trimesh.Trimesh(cut.mesh.points, cut.mesh.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert len(crossing_pairs(cut.mesh)) == 0
    way = np.asarray(cut.side.toward) / np.linalg.norm(cut.side.toward)
    level = np.asarray(cut.side.place_mm) @ way
    heights = cut.mesh.points.astype(np.float64) @ way - level
    # float32 rounds places of some 10 mm by 5e-7
    assert heights.min() > -2e-6
    face = cut.mesh.corners[cut.source < 0]
    assert np.abs(face @ way - level).max() < 2e-6
    normals = np.cross(face[:, 1] - face[:, 0], face[:, 2] - face[:, 0])
    # no triangle of the face is turned over, seen along the plane's normal
    assert (normals @ way < 0.0).all()


def test_a_box_is_halved_to_the_digit():
    body = small(from_manifold(box((4, 6, 10))))
    cut = cut_at(body, Side((0, 0, 2.0), (0, 0, 3.0)))
    demand_sound(cut)
    assert measure_solid(cut.mesh).volume == pytest.approx(4 * 6 * 3, rel=1e-6)
    assert cut.mesh.bounds[0, 2] == pytest.approx(2.0)
    assert cut.side == Side((0.0, 0.0, 2.0), (0.0, 0.0, 1.0))


@trial(deadline=None, max_examples=5, derandomize=True)
@given(
    toward=st.tuples(*[st.floats(-1.0, 1.0)] * 3).filter(lambda way: np.linalg.norm(way) > 0.2),
    level=st.floats(-0.7, 0.7),
)
def test_caps_of_a_ball(toward, level):
    radius = 5.0
    body = ball(radius, 4)
    way = np.asarray(toward) / np.linalg.norm(toward)
    place = tuple(float(c) for c in level * radius * way)
    cut = cut_at(body, Side(place, toward))
    demand_sound(cut)
    height = radius - level * radius
    cap = np.pi * height**2 * (radius - height / 3.0)
    # 5,120 facets lie up to 8 µm inside the ball, whose whole surface is 314 mm²
    assert measure_solid(cut.mesh).volume == pytest.approx(cap, abs=314 * 0.012)
    other = cut_at(body, Side(place, tuple(-w for w in toward)))
    both = measure_solid(cut.mesh).volume + measure_solid(other.mesh).volume
    # a plane may move by a hair, 0.0007 mm at a time, over a disc of 79 mm² at most
    assert both == pytest.approx(measure_solid(body).volume, abs=2 * 79 * 0.0007)


def test_a_face_with_holes():
    tube = small(from_manifold(difference([box((6, 6, 6)), box((2, 2, 8))])))
    cut = cut_at(tube, Side((0, 0, 0.5), (0.1, 0.2, 1.0)))
    demand_sound(cut)
    area = np.linalg.norm(
        np.cross(*np.moveaxis(np.diff(cut.mesh.corners[cut.source < 0], axis=1), 1, 0)), axis=1
    ).sum()
    way = np.array([0.1, 0.2, 1.0]) / np.linalg.norm([0.1, 0.2, 1.0])
    assert area / 2 == pytest.approx(32 / way[2], rel=1e-5)


def test_triangles_know_where_they_came_from():
    body = small(from_manifold(box((4, 6, 10))))
    cut = cut_at(body, Side((0, 0, 2.0), (0, 0, 1.0)))
    old, new = body.corners[cut.source[cut.source >= 0]], cut.mesh.corners[cut.source >= 0]
    for corners, mine in ((old, new),):
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        away = np.einsum("ijk,ik->ij", mine - corners[:, :1], normal)
        assert np.abs(away).max() < 1e-6


@pytest.mark.parametrize(("place", "says"), [((0, 0, 9), "nothing of it"), ((0, 0, -9), "all of it")])
def test_a_plane_beside_the_piece(place, says):
    with pytest.raises(InputError, match=says):
        cut_at(small(from_manifold(box((4, 6, 10)))), Side(place, (0, 0, 1)), where="piece 'a', keep")
