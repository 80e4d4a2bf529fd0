"""Shells, rims, caps and enclosure on shapes whose answer is known."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.geometry.caps import close_holes
from firstcast.geometry.enclosure import enclosed_shells
from firstcast.geometry.loops import triangle_areas
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.shells import count_open_and_shared, find_rims, part_shells, split_edges
from firstcast.geometry.welding import weld
from firstcast.io.meshes import read_meshes
from firstcast.kernels.shells import measure_shells
from part_shapes import ball, box, hood, joined, mesh_of, public_mesh, turned, without


def parted(mesh: Mesh):
    return part_shells(mesh.points, mesh.triangles)


def closed(mesh: Mesh, widest: float):
    shells = parted(mesh)
    area = np.bincount(shells.shell, triangle_areas(shells.points, shells.triangles))
    return close_holes(shells, area, widest=widest)


def test_components_match_the_library():
    mesh = joined(ball(), box(centre=(20, 0, 0)), hood(), turned(box(centre=(0, 30, 0))))
    shells = parted(mesh)
    assert shells.shell_count == 4
    assert shells.is_open
    library = trimesh.graph.connected_components(
        trimesh.Trimesh(mesh.points, mesh.triangles, process=False).face_adjacency,
        nodes=np.arange(len(mesh.triangles)),
    )
    for group in library:
        assert len(np.unique(shells.shell[group])) == 1


def test_a_sound_surface_keeps_its_triangles():
    mesh = ball()
    shells = parted(mesh)
    assert np.array_equal(shells.points[shells.triangles], mesh.points[mesh.triangles])
    assert not shells.is_open


def test_edges_match_the_credits_of_public_meshes():
    for name, boundary in (("human_neutral.obj", 32), ("demosthenes-low-res.obj", 67), ("soup.stl", 300)):
        (read,) = read_meshes(public_mesh(name))
        assert count_open_and_shared(read.mesh.triangles, len(read.mesh.points)) == (boundary, 0)
    reads = read_meshes(public_mesh("kaykit_barbarian.glb"))
    whole = joined(*(read.mesh for read in reads))
    welded = weld(whole.points, whole.triangles, 1e-6)
    assert count_open_and_shared(welded.triangles, len(welded.points)) == (215, 0)
    assert parted(Mesh(welded.points, welded.triangles)).shell_count == 32


def test_rims_run_along_the_triangles():
    mesh = hood(around=32)
    rims = find_rims(mesh.triangles, np.zeros(len(mesh.triangles), np.int32), len(mesh.points))
    assert rims.starts.tolist() == [0, 32]
    after = np.roll(rims.rows, -1)
    directed = set(map(tuple, mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).tolist()))
    assert all(pair in directed for pair in zip(rims.rows.tolist(), after.tolist(), strict=True))
    assert np.allclose(mesh.points[rims.rows, 2], 0, atol=1e-12)


def test_rims_of_what_is_no_surface_are_refused():
    bow_tie = np.array([[0, 1, 2], [0, 3, 4]], np.int32)
    with pytest.raises(InputError, match="loops"):
        find_rims(bow_tie, np.zeros(2, np.int32), 5)


def test_the_width_of_a_round_hole_is_its_diameter():
    plate = trimesh.creation.annulus(r_min=0.5, r_max=8.0, height=4.0, sections=256)
    mesh = mesh_of(plate)
    inner = np.flatnonzero(np.linalg.norm(mesh.points[mesh.triangles][:, :, :2], axis=2).max(axis=1) < 0.6)
    capped = closed(without(mesh, inner), 1.0)
    assert capped.capped_width == pytest.approx([1.0, 1.0], rel=1e-3)
    assert np.sort(capped.capped_place[:, 2]) == pytest.approx([-2, 2])
    assert count_open_and_shared(capped.triangles, len(capped.points)) == (0, 0)
    volume = measure_solid(Mesh(capped.points, capped.triangles)).volume
    assert volume == pytest.approx(np.pi * 64 * 4, rel=1e-3)


def slit_block(length: float, breadth: float) -> Mesh:
    """A block of 20 × 20 × 10 with a slit in its upper face."""
    outer = [(-10, -10, 10), (10, -10, 10), (10, 10, 10), (-10, 10, 10)]
    x, y = length / 2, breadth / 2
    slit = [(-x, -y, 10), (x, -y, 10), (x, y, 10), (-x, y, 10)]
    lower = [(a, b, 0) for a, b, _ in outer]
    triangles = [(8, 10, 9), (8, 11, 10)]
    for k in range(4):
        n = (k + 1) % 4
        triangles += [(k, n, 4 + n), (k, 4 + n, 4 + k), (8 + k, 8 + n, n), (8 + k, n, k)]
    return Mesh(np.array([*outer, *slit, *lower], dtype=np.float64), np.array(triangles, np.int32))


def test_a_crack_s_width_is_twice_its_breadth():
    capped = closed(slit_block(10.0, 0.1), 0.2)
    assert capped.capped_width == pytest.approx([4 * 1.0 / 20.2])
    assert count_open_and_shared(capped.triangles, len(capped.points)) == (0, 0)
    assert measure_solid(Mesh(capped.points, capped.triangles)).volume == pytest.approx(4000)
    left = closed(slit_block(10.0, 0.1), 0.19)
    assert left.open_width == pytest.approx([4 * 1.0 / 20.2])
    assert len(left.capped_width) == 0


def test_a_crack_without_breadth_is_always_closed():
    capped = closed(slit_block(10.0, 0.0), 0.0)
    assert capped.capped_width == pytest.approx([0.0])
    assert measure_solid(Mesh(capped.points, capped.triangles)).volume == pytest.approx(4000)


def test_a_cap_whose_diagonal_runs_along_an_edge_stays_two_manifold():
    # A ball without the two triangles at an edge has a hole of four; joining the far corners by another
    # surface outside makes one of the two diagonals an edge that is there already.
    points = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0.0], [0.5, 0.5, 3], [0.5, 0.5, -3]])
    ring = [(0, 1, 5), (1, 2, 5), (2, 3, 5), (3, 0, 5)]
    handle = [(0, 4, 2), (2, 4, 0)]
    mesh = Mesh(points, np.array([*ring, *handle], np.int32))
    capped = closed(mesh, 50.0)
    assert count_open_and_shared(capped.triangles, len(capped.points))[1] == 0


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.01, 0.5))
def test_capped_shells_lose_no_rim(seed, share):
    rng = np.random.default_rng(seed)
    mesh = ball(5.0)
    capped = closed(without(mesh, rng.random(len(mesh.triangles)) < share), 4.0)
    opened, shared = count_open_and_shared(capped.triangles, len(capped.points))
    assert shared == 0
    assert (opened == 0) == (len(capped.open_width) == 0)
    assert (capped.capped_width <= 4.0).all()


def test_splitting_edges_keeps_area_and_volume():
    mesh = ball()
    rng = np.random.default_rng(55_817)
    key = np.sort(mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, edge = np.unique(key, axis=0, return_inverse=True)
    chosen = np.flatnonzero((rng.random(edge.max() + 1) < 0.6)[edge.ravel()])
    owner = np.arange(len(mesh.triangles))
    points, triangles, parent = split_edges(mesh.points, mesh.triangles, owner, chosen, edge.ravel()[chosen])
    assert count_open_and_shared(triangles, len(points)) == (0, 0)
    assert measure_solid(Mesh(points, triangles)).volume == pytest.approx(measure_solid(mesh).volume)
    areas = np.bincount(parent, triangle_areas(points, triangles))
    assert areas == pytest.approx(triangle_areas(mesh.points, mesh.triangles))


def test_measures_of_shells_match_the_closed_forms():
    mesh = joined(box((1, 2, 3), (50, 0, 0)), turned(box((2, 2, 2), (0, 0, 9))))
    shells = parted(mesh)
    area, volume, low, high = measure_shells(
        shells.points, shells.triangles, shells.shell, 2, mesh.points.mean(axis=0)
    )
    assert area == pytest.approx([22, 24])
    assert volume == pytest.approx([6, -8])
    assert np.allclose(low, [[49.5, -1, -1.5], [-1, -1, 8]])
    assert np.allclose(high, [[50.5, 1, 1.5], [1, 1, 10]])


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_enclosure_under_any_turn(seed):
    turn = Rotation.random(rng=np.random.default_rng(seed))
    inner, outer, crossing = ball(1.0, (2, 0, 0), 2), ball(5.0), ball(2.0, (0, 4.5, 0), 2)
    deeper, beside = box((0.5, 0.5, 0.5), (2, 0, 0)), ball(1.0, (9, 9, 0), 2)
    mesh = joined(inner, outer, crossing, deeper, beside)
    shells = part_shells(turn.apply(mesh.points), mesh.triangles)
    enclosed = enclosed_shells(shells.points, shells.triangles, shells.shell, np.ones(5, bool))
    assert enclosed.tolist() == [True, False, False, True, False]


def test_enclosure_on_the_axes_of_the_lattice():
    mesh = joined(box((4, 4, 4)), box((2, 2, 2)), box((2, 2, 2), (8, 0, 0)))
    shells = parted(mesh)
    enclosed = enclosed_shells(shells.points, shells.triangles, shells.shell, np.ones(3, bool))
    assert enclosed.tolist() == [False, True, False]
    unused = enclosed_shells(shells.points, shells.triangles, shells.shell, np.array([False, True, True]))
    assert not unused.any()  # an open shell encloses nothing
