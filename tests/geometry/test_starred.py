"""The triangles round each point, and the points beside some, against a general library and each triangle looked at."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.starred import starred

BALL = trimesh.creation.icosphere(subdivisions=3)
MESH = Mesh(np.asarray(BALL.vertices), np.asarray(BALL.faces, np.int32))


def test_triangles_round_each_point_in_rising_order():
    found = starred(MESH)
    for point, expected in enumerate(BALL.vertex_faces):
        mine = found.star[found.start[point] : found.start[point + 1]]
        np.testing.assert_array_equal(mine, np.sort(expected[expected >= 0]))


@given(rows=st.sets(st.integers(0, len(MESH.points) - 1), max_size=60))
def test_points_beside_some_are_those_of_triangles_that_have_one_of_them(rows):
    mine = np.array(sorted(rows), np.int64)
    touched = MESH.triangles[np.isin(MESH.triangles, mine).any(axis=1)]
    expected = sorted(set(touched.ravel().tolist()) - rows)
    assert starred(MESH).beside(mine).tolist() == expected


def test_a_triangle_without_its_point_is_an_error():
    with pytest.raises(InputError, match="ball"):
        starred(Mesh(MESH.points[:-1], MESH.triangles), where="ball")
