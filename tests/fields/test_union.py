import igl
import igl.predicates
import numba
import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree
from solids import (
    assert_sound,
    ball,
    cylinder,
    distances,
    exact_union,
    flipped,
    moved,
    relief_ball,
    shells_of,
    turned,
)

from firstcast.errors import InputError, SizeError
from firstcast.fields.contour import contour_union
from firstcast.fields.union import lattice_around, occupy, read_columns
from firstcast.fields.voids import components_of
from firstcast.geometry.mesh import Mesh, measure_solid


def united(shells, pitch):
    lattice = lattice_around(shells.points, pitch, float(np.max(pitch)))
    columns = read_columns(shells, lattice)
    occupancy = occupy(columns, lattice, float(np.max(pitch)))
    found, _ = contour_union(occupancy, columns, shells.part)
    return found, columns, occupancy


def volume(found):
    return measure_solid(Mesh(found.points, found.triangles)).volume


def on_the_surface(pitch):
    """How far a vertex may lie off: pushed from a lattice point, rounded to fixed steps and to float32."""
    return 1e-3 * pitch + np.sqrt(3) / 4096 * pitch + 1e-6


def creases(solid, bend_deg):
    """Points along the edges of a solid that bend by more than `bend_deg`."""
    sharp = solid.face_adjacency_edges[solid.face_adjacency_angles > np.radians(bend_deg)]
    ends = solid.vertices[sharp]
    shares = np.linspace(0, 1, 9)[:, None, None]
    return (ends[None, :, 0] * (1 - shares) + ends[None, :, 1] * shares).reshape(-1, 3)


def test_overlapping_relief_lies_within_five_micrometres_of_the_exact_union_away_from_creases():
    rng = np.random.default_rng(51873)
    solids = [
        relief_ball(rng, (1.0, 0.8, 1.4), (0, 0, 0)),
        relief_ball(rng, (0.5, 0.5, 1.0), (0.8, 0.1, 0.3)),
    ]
    solids.append(relief_ball(rng, (0.4, 0.6, 0.4), (-0.6, 0.3, 1.0)))
    exact = exact_union(*solids)
    pitch = 0.025
    found, columns, occupancy = united(shells_of(*solids), pitch)
    assert columns.leaking == 0
    assert occupancy.disagreements == 0
    middles = found.points[found.triangles].mean(axis=1).astype(np.float64)
    away = cKDTree(creases(exact, 20)).query(middles)[0] > 3 * pitch
    assert away.mean() > 0.8
    assert distances(middles[away], exact).max() < 0.005
    assert distances(found.points, exact).max() < on_the_surface(pitch)
    assert (
        distances(exact.vertices, trimesh.Trimesh(found.points, found.triangles, process=False)).max() < pitch
    )


def test_volume_of_two_balls_converges_at_second_order():
    # two unit spheres 1 apart: V = 7.068583 (computed: 8π/3 less the lens 5π/12)
    errors, pitches = [], (0.08, 0.04, 0.02)
    shells = shells_of(ball(subdivisions=6), ball(centre=(1, 0, 0), subdivisions=6))
    reference = exact_union(ball(subdivisions=6), ball(centre=(1, 0, 0), subdivisions=6)).volume
    for pitch in pitches:
        errors.append(abs(volume(united(shells, pitch)[0]) - reference))
    slope = np.polyfit(np.log(pitches), np.log(errors), 1)[0]
    assert abs(slope - 2) < 0.2, f"observed order {slope:.2f}"
    assert abs(reference - 7.068583) < 0.004
    assert errors[-1] < 0.002


@pytest.mark.parametrize("count", [2, 3])
def test_crossed_cylinders_have_the_known_common_volume(count):
    # Steinmetz solids of radius 1: two cylinders share 16/3, three share 4.686292 = 8 (2 - √2).
    # Inclusion and exclusion: V(∪) = n V - C(n, 2) 16/3 + [n = 3] 4.686292.
    height, pitch = 4.0, 0.02
    found, _, _ = united(shells_of(*[cylinder(1.0, height, a) for a in range(count)]), pitch)
    whole = count * np.pi * height
    expected = whole - 16 / 3 if count == 2 else whole - 3 * 16 / 3 + 8 * (2 - np.sqrt(2))
    assert abs(volume(found) - expected) < 0.003 * expected
    assert len(components_of(found).volume_mm3) == 1


def test_a_flipped_shell_within_another_leaves_a_hollow_and_two_nested_ones_leave_none():
    hollow, _, _ = united(shells_of(ball(2.0), flipped(ball(1.0))), 0.05)
    volumes = np.sort(components_of(hollow).volume_mm3)
    assert np.allclose(volumes, [-4 / 3 * np.pi, 32 / 3 * np.pi], rtol=0.01)
    solid, _, _ = united(shells_of(ball(2.0), ball(1.0)), 0.05)
    assert len(components_of(solid).volume_mm3) == 1
    island, _, _ = united(shells_of(ball(2.0), flipped(ball(1.0)), ball(0.5)), 0.05)
    assert len(components_of(island).volume_mm3) == 3


def test_a_shell_that_crosses_itself_is_filled_where_it_winds_at_all():
    # a tube around a figure of eight that runs through itself, as one shell: a torus whose middle line is a limaçon
    turns = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    reach = 1.0 + 2.0 * np.cos(turns)
    line = np.c_[reach * np.cos(turns), reach * np.sin(turns), np.zeros(400)]
    tangent = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    side = np.cross(tangent, [0, 0, 1.0])
    around = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    radius = 0.3
    points = line[:, None] + radius * (
        np.cos(around)[None, :, None] * side[:, None] + np.sin(around)[None, :, None] * np.array([0, 0, 1.0])
    )
    a, b = np.meshgrid(np.arange(400), np.arange(64), indexing="ij")
    corner = lambda i, j: ((a + i) % 400) * 64 + (b + j) % 64  # noqa: E731
    faces = np.concatenate(
        [
            np.stack([corner(0, 0), corner(1, 0), corner(1, 1)], -1),
            np.stack([corner(0, 0), corner(1, 1), corner(0, 1)], -1),
        ]
    ).reshape(-1, 3)
    solid = trimesh.Trimesh(points.reshape(-1, 3), faces, process=False)
    if solid.volume < 0:
        solid.invert()
    found, columns, occupancy = united(shells_of(solid), 0.04)
    assert columns.leaking == occupancy.disagreements == 0
    assert_sound(found)
    rng = np.random.default_rng(90125)
    places = rng.uniform(found.points.min(axis=0), found.points.max(axis=0), (20000, 3))
    nearest = cKDTree(line).query(places)[0]
    inside = (
        igl.fast_winding_number(found.points.astype(float), found.triangles.astype(np.int64), places) > 0.5
    )
    sure = np.abs(nearest - radius) > 0.03
    assert (inside == (nearest < radius))[sure].all()


def test_coincident_faces_leave_nothing_between():
    box = trimesh.creation.box((1, 1, 1))
    found, columns, occupancy = united(shells_of(box, moved(box, (1, 0, 0)), moved(box, (0, 0, 1))), 0.1)
    assert columns.leaking == occupancy.disagreements == 0
    assert len(components_of(found).volume_mm3) == 1
    assert_sound(found)
    assert np.isclose(volume(found), 3.0, rtol=0.02)


def test_faces_on_lattice_planes_and_edges_on_lattice_lines_count_once():
    # everything on multiples of the pitch: ties everywhere
    boxes = [trimesh.creation.box((1, 1, 1)), moved(trimesh.creation.box((1, 1, 1)), (0.5, 0.5, 0.5))]
    octahedron = trimesh.convex.convex_hull(
        np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], float)
    )
    for shells in (shells_of(*boxes), shells_of(octahedron, moved(octahedron, (0.5, 0.5, 0)))):
        for pitch in (0.125, 0.1, 0.25):
            found, columns, occupancy = united(shells, pitch)
            assert columns.leaking == occupancy.disagreements == 0
            assert_sound(found)


def test_an_open_shell_is_told_by_leaking_lines():
    box = trimesh.creation.box((1, 1, 1))
    leaky = trimesh.Trimesh(box.vertices, box.faces[2:], process=False)
    lattice = lattice_around(leaky.vertices, 0.1, 0.1)
    columns = read_columns(shells_of(leaky), lattice)
    occupancy = occupy(columns, lattice, 0.1)
    assert columns.leaking > 0
    assert occupancy.disagreements > 0


def test_pitch_per_axis_places_vertices_on_the_surface():
    solid = ball(1.0, (0.3, -0.2, 5.0), 6)
    found, _, _ = united(shells_of(solid), (0.03, 0.035, 0.05))
    assert_sound(found)
    assert distances(found.points, solid).max() < on_the_surface(0.05)


def test_part_numbers_follow_the_part_that_shows():
    found, _, _ = united(shells_of(ball(1.0), ball(1.0, (1, 0, 0))), 0.05)
    middles = found.points[found.triangles].mean(axis=1)
    assert (found.part_of_triangle[middles[:, 0] < 0.45] == 0).all()
    assert (found.part_of_triangle[middles[:, 0] > 0.55] == 1).all()


def test_the_same_bytes_on_one_and_two_threads():
    rng = np.random.default_rng(33871)
    shells = shells_of(
        *[turned(relief_ball(rng, (1, 0.7, 1.2), rng.normal(size=3) * 0.4), rng) for _ in range(3)]
    )
    before = numba.get_num_threads()
    results = []
    for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
        numba.set_num_threads(threads)
        found, columns, _ = united(shells, 0.03)
        results.append([array.tobytes() for array in (*found, columns.positions, columns.hits)])
    numba.set_num_threads(before)
    assert results[0] == results[1]


def test_too_fine_a_pitch_is_refused_with_one_that_would_do():
    with pytest.raises(SizeError, match="or more, or cut"):
        lattice_around(np.array([[0, 0, 0], [100.0, 1, 1]]), 0.01, 0.03)
    with pytest.raises(InputError, match="above zero"):
        lattice_around(np.zeros((1, 3)), 0.0, 0.1)
