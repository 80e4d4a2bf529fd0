import numba
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from solids import assert_sound, ball, distances, exact_union, moved, relief_ball, shells_of, turned

from firstcast.fields.contour import contour_union
from firstcast.fields.creases import with_creases
from firstcast.fields.union import lattice_around, occupy, read_columns


def united(shells, pitch):
    lattice = lattice_around(shells.points, pitch, float(np.max(pitch)))
    columns = read_columns(shells, lattice)
    occupancy = occupy(columns, lattice, float(np.max(pitch)))
    plain, traced = contour_union(occupancy, columns, shells.part)
    return with_creases(plain, traced, occupancy, columns, shells), plain


# aimed at, and what the same wedges lose where only the signs of lattice points count: 1 / (2 tan(angle / 2)) pitches
@pytest.mark.parametrize(("wedge_deg", "pitches"), [(90, 0.6), (60, 1.0), (25, 2.5), (15, 3.5)])
@pytest.mark.parametrize("along_the_lattice", [False, True])
def test_a_wedge_is_cut_by_no_more_than_is_aimed_at(wedge_deg, pitches, along_the_lattice):
    rng = np.random.default_rng(1000 + wedge_deg)
    pitch, deep, long = 0.05, 0.8, 1.2
    half = deep * np.tan(np.radians(wedge_deg / 2))
    corners = np.array([(x, y, z) for z in (0.0, long) for x, y in ((0, 0), (-deep, half), (-deep, -half))])
    for _ in range(10):
        turn = (
            trimesh.transformations.euler_matrix(*rng.normal(0.0, 0.03, 3))
            if along_the_lattice
            else trimesh.transformations.random_rotation_matrix(rng.random(3))
        )[:3, :3]
        shift = rng.random(3) * pitch
        found, _ = united(shells_of(trimesh.convex.convex_hull(corners @ turn.T + shift)), pitch)
        assert_sound(found)
        edge = np.outer(np.linspace(0.25, 0.75, 150) * long, turn[:, 2]) + shift
        lost = distances(edge, found).max() / pitch
        assert lost < pitches, f"{lost:.2f} pitches"


def test_a_box_off_the_lattice_comes_back_with_its_edges_and_corners():
    rng = np.random.default_rng(4711)
    for _ in range(4):
        box = trimesh.creation.box((1.1, 0.9, 0.7))
        box.apply_transform(trimesh.transformations.random_rotation_matrix(rng.random(3)))
        found, plain = united(shells_of(box), 0.05)
        assert_sound(found)
        # where a cell sees only one face's corner, or a point had to stay in its cell, the crease stays cut
        lost = [distances(box.sample(20000), part) for part in (found, plain)]
        assert np.sqrt(np.mean(lost[0] ** 2)) < 0.7 * np.sqrt(np.mean(lost[1] ** 2))
        assert abs(found_volume(found) - box.volume) < 0.5 * abs(found_volume(plain) - box.volume)


def found_volume(found):
    return trimesh.Trimesh(found.points, found.triangles, process=False).volume


def test_seams_between_parts_are_drawn_and_smooth_places_stay_as_they_were():
    box = moved(trimesh.creation.box((2, 2, 1)), (0, 0, 0.023))
    found, plain = united(shells_of(box, ball(0.6, (0.011, 0.007, 0.523), subdivisions=5)), 0.05)
    assert_sound(found)
    assert np.array_equal(found.points[: len(plain.points)], plain.points)
    added = found.points[len(plain.points) :].astype(np.float64)
    added = added[np.abs(added[:, :2]).max(axis=1) < 0.8]
    assert len(added) > 20
    # the seam is the ball's equator, which 5 subdivisions keep to 0.5 µm per mm of radius; a point that had to stay in its
    # cell lies on the chord towards it
    off = np.maximum(
        np.abs(np.hypot(added[:, 0] - 0.011, added[:, 1] - 0.007) - 0.6), np.abs(added[:, 2] - 0.523)
    )
    assert np.quantile(off, 0.75) < 0.1 * 0.05
    assert off.max() < 0.5 * 0.05


def test_points_stay_on_the_exact_union():
    rng = np.random.default_rng(51873)
    solids = [
        relief_ball(rng, (1.0, 0.8, 1.4), (0, 0, 0)),
        relief_ball(rng, (0.5, 0.5, 1.0), (0.8, 0.1, 0.3)),
    ]
    exact = exact_union(*solids)
    pitch = 0.025
    found, plain = united(shells_of(*solids), pitch)
    assert_sound(found)
    own = distances(found.points[: len(plain.points)], exact)
    assert own.max() < 2e-3 * pitch
    # triangles away from creases are the plain contour's, so within five micrometres as there
    middles = found.points[found.triangles].mean(axis=1)
    assert np.quantile(distances(middles, exact), 0.99) < 0.005


@given(seed=st.integers(0, 10**6), count=st.integers(2, 6), far=st.sampled_from([0.0, 120.0, -97.3]))
@settings(max_examples=25, deadline=None)
def test_heaps_of_sharp_solids_stay_closed_manifold_and_free_of_crossings(seed, count, far):
    rng = np.random.default_rng(seed)
    solids = []
    for _ in range(count):
        hull = trimesh.convex.convex_hull(
            rng.normal(size=(rng.integers(4, 9), 3)) * rng.uniform(0.05, 0.6, 3)
        )
        solids.append(moved(hull, rng.normal(size=3) * 0.3 + far))
    found, _ = united(shells_of(*solids), 0.06)
    assert_sound(found)


@given(seed=st.integers(0, 10**6), roughness=st.floats(0.01, 0.3))
@settings(max_examples=10, deadline=None)
def test_rough_surfaces_stay_closed_manifold_and_free_of_crossings(seed, roughness):
    rng = np.random.default_rng(seed)
    solid = ball(0.8, subdivisions=4)
    solid.vertices += rng.normal(size=solid.vertices.shape) * roughness * 0.3
    found, _ = united(shells_of(solid), 0.05)
    assert_sound(found)


def test_the_same_bytes_on_one_and_two_threads():
    rng = np.random.default_rng(33871)
    shells = shells_of(*[turned(trimesh.creation.box((1, 0.7, 1.2)), rng) for _ in range(3)])
    before, results = numba.get_num_threads(), []
    for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
        numba.set_num_threads(threads)
        results.append([array.tobytes() for array in united(shells, 0.03)[0]])
    numba.set_num_threads(before)
    assert results[0] == results[1]
