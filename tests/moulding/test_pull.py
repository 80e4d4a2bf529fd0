"""How much a pull locks: nothing of convex bodies, closed forms, turned with the body; the search finds the free way."""

import numba
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.thinned import thinned
from firstcast.moulding.pull import half_sphere, locked_mm3, pull_ground, search_pull, way_words
from mould_bodies import dovetail, mesh_of, mushroom, socket, staircase, torus, torus_locks_mm3

ALONG_Z = np.array([[0.0, 0.0, 1.0]])


def hull_of(points) -> Mesh:
    solid = trimesh.convex.convex_hull(points)
    return Mesh(np.asarray(solid.vertices), np.asarray(solid.faces, np.int32))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 60))
def test_convex_bodies_never_lock(seed, count):
    # theorem; rounding across the pull to 1/1024 of a cell may fold slivers at the outline by that much
    generator = np.random.default_rng(seed)
    points = generator.normal(size=(count, 3)) * generator.uniform(1.0, 8.0, 3)
    if ConvexHull(points).volume < 1.0:
        return
    pulls = generator.normal(size=(12, 3))
    pulls /= np.linalg.norm(pulls, axis=1)[:, None]
    mesh = hull_of(points)
    assert locked_mm3(pull_ground(mesh), pulls).max() < 1e-4 * ConvexHull(points).volume


@pytest.mark.parametrize(
    ("solid", "locked"),
    [
        (mushroom(), np.pi * (25.0 - 4.0) * 4.0),
        (socket(), 4.0 * np.pi / 3.0 * 21.0**1.5),
        (dovetail(), 3.0 * 3.0 * 10.0 / 2.0),
        (torus(8.0, 2.5), 0.0),
    ],
)
def test_closed_forms(solid, locked):
    # lines 0.05 mm apart: outlines are known to a tenth of that, of 10 to 30 mm
    found = locked_mm3(pull_ground(mesh_of(solid), cell_mm=0.05), ALONG_Z)
    assert found == pytest.approx([locked], rel=0.01, abs=1e-6)


def test_a_torus_locks_its_hole_in_its_plane():
    pulls = np.array([[1.0, 0.0, 0.0], [0.6, 0.8, 0.0]])
    found = locked_mm3(pull_ground(mesh_of(torus(8.0, 2.5)), cell_mm=0.05), pulls)
    assert found == pytest.approx([torus_locks_mm3(8.0, 2.5)] * 2, rel=0.01)


def test_a_staircase_locks_its_notches_down_the_slope_and_nothing_upward():
    pulls = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 1.0], [1.0, 0.0, -1.0]]) / np.array(
        [[1], [2**0.5], [2**0.5]]
    )
    found = locked_mm3(pull_ground(mesh_of(staircase()), cell_mm=0.05), pulls)
    assert found == pytest.approx([0.0, 0.0, 4 * 2.0 * 6.0], rel=0.01, abs=0.02)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10**6))
def test_what_is_locked_turns_with_the_body(seed):
    turn = Rotation.random(rng=np.random.default_rng(seed))
    mesh = mesh_of(dovetail())
    pulls = half_sphere(9)
    still = locked_mm3(pull_ground(mesh, cell_mm=0.05), pulls)
    turned = locked_mm3(pull_ground(mesh.mapped(turn.as_matrix()), cell_mm=0.05), turn.apply(pulls))
    # other lines meet the body: an edge that lies along a row of them is known to half their distance, and 3 mm deep and
    # 10 mm long it comes to 0.75 mm³; the groove has two such
    assert turned == pytest.approx(still, rel=0.0, abs=1.5)


def test_a_pull_and_its_opposite_lock_the_same():
    ground = pull_ground(mesh_of(dovetail()))
    pulls = half_sphere(20)
    assert locked_mm3(ground, -pulls) == pytest.approx(locked_mm3(ground, pulls), rel=0.02, abs=0.5)


def test_the_search_finds_the_groove_and_keeps_to_the_gate():
    ground = pull_ground(mesh_of(dovetail()))
    # a dovetail lets go along its groove only; with the gate there it can't
    free = search_pull(ground, (0.0, 0.0, -1.0), directions=200, within_deg=10.0, keep=3)
    assert abs(free.best[0][1]) > np.cos(np.radians(1.5))  # rounds end at steps of half a degree
    assert free.best_mm3[0] < 1.0
    across = search_pull(ground, (0.0, 1.0, 0.0), directions=200, within_deg=10.0, keep=3)
    assert np.abs(across.best[:, 1]).max() <= np.sin(np.radians(10.0)) + 1e-9
    assert across.best_mm3[0] > 20.0
    assert across.free_mm3 < 1.0
    assert len(free.best) == len(free.best_mm3) <= 3


def test_the_same_for_any_number_of_threads():
    ground = pull_ground(mesh_of(torus(8.0, 2.5)))
    most = numba.get_num_threads()
    try:
        results = []
        for count in (1, most):
            numba.set_num_threads(count)
            results.append(locked_mm3(ground, half_sphere(50)).tobytes())
    finally:
        numba.set_num_threads(most)
    assert results[0] == results[1]


def test_thinning_keeps_volumes():
    ball = trimesh.creation.icosphere(subdivisions=6, radius=10.0)
    light, _, cell = thinned(Mesh(np.asarray(ball.vertices), np.asarray(ball.faces, np.int32)), 20_000)
    assert 0.0 < cell < 1.0
    assert len(light.triangles) <= 22_000
    # means of a cell lie inside of the ball by cell² / 8 r or so
    solid = trimesh.Trimesh(light.points, light.triangles, process=False)
    assert solid.volume == pytest.approx(ball.volume, rel=0.005)


def test_words_are_those_of_the_figure():
    assert way_words((0.0, 1.0, 0.0)) == "front to back"
    assert way_words((0.0, -1.0, 0.0)) == "front to back"
    assert way_words((0.0, 0.1, 1.0)) == "up and down, leaned 6°"
    assert way_words((1.0, 2.0, 0.0)) == "front to back, turned 27° so that the back leaves to the left"
    assert way_words((-1.0, -2.0, 0.0)) == way_words((1.0, 2.0, 0.0))
    assert way_words((-2.0, 1.0, 0.3)).startswith(
        "side to side, turned 27° so that the left side leaves to the front, tilted"
    )


def test_what_can_not_be_is_refused():
    with pytest.raises(InputError, match="no triangles"):
        pull_ground(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32)))
    with pytest.raises(InputError, match="length 1"):
        locked_mm3(pull_ground(mesh_of(dovetail())), [[0.0, 0.0, 2.0]])
