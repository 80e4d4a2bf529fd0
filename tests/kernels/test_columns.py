"""Lattice lines against shells whose corners, edges and faces lie on the lattice: ties of every kind."""

import igl
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.fields.union import Shells, lattice_around, occupy, read_columns

CORNER = st.tuples(*[st.integers(0, 12)] * 3)


def tetrahedra(corners) -> Shells:
    """One outward shell per four corners; flat ones are left out."""
    points, triangles = [], []
    for four in np.asarray(corners, np.float64).reshape(-1, 4, 3):
        if np.linalg.det(four[1:] - four[0]) < 0:
            four = four[[1, 0, 2, 3]]
        first = 4 * len(points)
        points.append(four)
        triangles += [[first + n for n in face] for face in ((0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2))]
    return Shells(np.concatenate(points), np.array(triangles, np.int32), np.zeros(len(triangles), np.uint16))


def voxels(occupancy):
    """Lattice points of the held bricks and whether each is inside."""
    steps = np.stack(np.meshgrid(*[np.arange(8)] * 3, indexing="ij"), axis=-1)
    at = 8 * occupancy.places[:, None, None, None, :] + steps
    shift = 8 * steps[..., 1] + steps[..., 2]
    inside = (occupancy.bits[:, :, None, None] >> shift[None]) & 1
    return (occupancy.lattice.origin_mm + occupancy.lattice.pitch_mm * at).reshape(-1, 3), inside.ravel() == 1


@settings(max_examples=60, deadline=None)
@given(
    st.lists(CORNER, min_size=4, max_size=24).filter(lambda c: len(c) % 4 == 0),
    st.sampled_from([1.0, 2.0, 0.5]),
)
def test_three_directions_agree_and_give_the_winding_number(corners, pitch):
    four = np.asarray(corners, np.float64).reshape(-1, 4, 3)
    if (np.abs(np.linalg.det(four[:, 1:] - four[:, :1])) < 0.5).any():
        return
    shells = tetrahedra(corners)
    lattice = lattice_around(shells.points, pitch, pitch)
    columns = read_columns(shells, lattice)
    occupancy = occupy(columns, lattice, pitch)
    assert columns.leaking == 0
    assert occupancy.disagreements == 0
    places, inside = voxels(occupancy)
    faces = shells.triangles.astype(np.int64)
    gap = igl.point_mesh_squared_distance(places, shells.points, faces)[0]
    off = gap > 1e-6
    winding = np.rint(igl.winding_number(shells.points, faces, places[off]))
    assert np.array_equal(inside[off], winding > 0)


def test_the_order_of_triangles_does_not_matter():
    rng = np.random.default_rng(60211)
    shells = tetrahedra(rng.integers(0, 13, (40, 3)) + rng.integers(0, 2, (40, 3)) * 0.25)
    shuffled = rng.permutation(len(shells.triangles))
    other = Shells(shells.points, np.ascontiguousarray(shells.triangles[shuffled]), shells.part)
    lattice = lattice_around(shells.points, 0.5, 0.5)
    one, two = read_columns(shells, lattice), read_columns(other, lattice)
    assert np.array_equal(one.kept, two.kept)
    assert np.array_equal(occupy(one, lattice, 0.5).bits, occupy(two, lattice, 0.5).bits)


def test_nothing_to_cross_gives_nothing():
    shells = Shells(np.zeros((3, 3)), np.zeros((0, 3), np.int32), np.zeros(0, np.uint16))
    lattice = lattice_around(shells.points, 0.5, 0.5)
    columns = read_columns(shells, lattice)
    assert len(columns.positions) == 0
    assert len(occupy(columns, lattice, 0.5).places) == 0


def test_triangles_without_area_are_passed_over():
    shells = tetrahedra([(0, 0, 0), (4, 0, 0), (0, 4, 0), (0, 0, 4)])
    flat = np.array([[0, 1, 1], [2, 2, 2], [0, 1, 0]], np.int32)
    more = Shells(shells.points, np.concatenate([shells.triangles, flat]), np.zeros(7, np.uint16))
    lattice = lattice_around(shells.points, 0.3, 0.3)
    one, two = read_columns(shells, lattice), read_columns(more, lattice)
    assert np.array_equal(occupy(one, lattice, 0.3).bits, occupy(two, lattice, 0.3).bits)
