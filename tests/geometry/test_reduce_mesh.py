"""Reducing with a guarantee: held to the tolerance by independent measures, on shapes that are hard for it."""

import igl
import igl.predicates
import numba
import numpy as np
import pytest
import trimesh
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.fields.contour import contour_dense
from firstcast.geometry import reduce as reducing
from firstcast.geometry.blocks import join_journal, reduce_pass
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.reduce import Reduced, reduce_mesh
from firstcast.kernels.blocks import take_back
from part_shapes import joined

SEED = 31907
TOLERANCE_MM = 0.0085


def mesh_of(shape, offset=(0.0, 0.0, 0.0)) -> Mesh:
    return Mesh((shape.vertices + np.asarray(offset)).astype(np.float32), np.asarray(shape.faces, np.int32))


def box(size, times: int, offset=(0.0, 0.0, 0.0)) -> Mesh:
    shape = trimesh.creation.box(size)
    for _ in range(times):
        shape = shape.subdivide()
    return mesh_of(shape, offset)


def noise_body(seed: int, size: int = 70, pitch_mm: float = 0.03) -> Mesh:
    """The contour of rounded noise with ridges: sculpted relief a few pitches wide."""
    rng = np.random.default_rng(seed)
    x, y, z = np.meshgrid(*[np.arange(size) * pitch_mm] * 3, indexing="ij")
    middle = size * pitch_mm / 2.0
    field = np.sqrt((x - middle) ** 2 + (y - middle) ** 2 + (z - middle) ** 2) - 0.6 * middle
    for wave_mm, height_mm in ((1.5, 0.1), (0.6, 0.04), (0.3, 0.015)):
        for _ in range(2):
            k = rng.normal(size=3)
            k *= 2.0 * np.pi / wave_mm / np.linalg.norm(k)
            field += height_mm * np.abs(np.sin(k[0] * x + k[1] * y + k[2] * z + rng.uniform(0, 6)))
    found = contour_dense(field.astype(np.float32), (20.0, 17.0, 31.0), (pitch_mm,) * 3)
    return Mesh(found.points, found.triangles)


def sampled_apart(first: Mesh, second: Mesh, parts: int) -> float:
    """Greatest distance of evenly spread places of the first mesh from the second, by libigl."""
    w = np.array([(i, j, parts - i - j) for i in range(parts + 1) for j in range(parts + 1 - i)]) / parts
    places = np.einsum("wc,tck->twk", w, first.corners).reshape(-1, 3)
    target = np.asarray(second.points, np.float64), np.asarray(second.triangles, np.int64)
    return float(np.sqrt(igl.point_mesh_squared_distance(places, *target)[0].max()))


def assert_guaranteed(
    dense: Mesh, made: Reduced, tolerance_mm: float = TOLERANCE_MM, parts: int = 12
) -> None:
    """Every promise of `reduce_mesh`, measured by other means than it was proved."""
    light = made.mesh
    assert light.points.dtype == np.float32
    was = trimesh.Trimesh(dense.points, dense.triangles, process=False)
    now = trimesh.Trimesh(light.points, light.triangles, process=False)
    assert now.is_watertight
    assert now.is_winding_consistent
    assert now.euler_number == was.euler_number
    assert now.body_count == was.body_count
    assert len(np.unique(light.points, axis=0)) == len(light.points)  # so also once a reader has welded them
    assert abs(now.volume - was.volume) <= tolerance_mm * was.area
    there, back = sampled_apart(dense, light, 2), sampled_apart(light, dense, parts)
    assert there - 1e-6 <= made.there_mm <= tolerance_mm
    assert back - 1e-6 <= made.back_mm <= tolerance_mm
    assert len(made.crossings) == 0
    crossing = igl.predicates.find_self_intersections(
        np.asarray(light.points, np.float64), np.asarray(light.triangles, np.int64)
    )
    assert not crossing[0]


@pytest.mark.parametrize(
    ("shape", "at_most"),
    [
        # A sphere of radius r needs no fewer than 4 π r² / (3 √3 / 4 · 4 r t) = 853 equilateral faces, whose
        # corners lie t outside and whose middles lie t inside. 1800, 5000 and 700 were reached.
        (trimesh.creation.icosphere(subdivisions=6, radius=3.0), 2200),
        (trimesh.creation.torus(5.0, 1.5, major_sections=400, minor_sections=200), 6000),
        (trimesh.creation.capsule(height=6.0, radius=1.0, count=[96, 96]), 850),
    ],
    ids=["sphere", "torus", "capsule"],
)
def test_smooth_shapes(shape, at_most):
    dense = mesh_of(shape, (11.3, -7.9, 23.1))
    made = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    assert len(made.mesh.triangles) < at_most
    assert_guaranteed(dense, made, parts=40)


def test_a_box_keeps_its_corners_and_little_else():
    dense = box((8.0, 5.0, 3.0), 5)
    made = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    assert len(made.mesh.triangles) <= 24
    assert_guaranteed(dense, made, parts=60)


def test_a_thin_plate_stays_a_plate():
    """Twenty micrometres thick: the faces lie nearer to each other than the tolerance would allow to mix them up."""
    dense = box((3.0, 2.0, 0.02), 6)
    made = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    assert len(made.mesh.triangles) < 80  # also its rim, cut into slivers of a third of a micrometre
    assert_guaranteed(dense, made, parts=40)


def nested_balls() -> Mesh:
    """A ball in the hollow of a shell, 10 µm apart all around."""
    shape = trimesh.creation.icosphere(subdivisions=6, radius=3.0)
    hollow = trimesh.creation.icosphere(subdivisions=6, radius=3.01)
    hollow.apply_transform(trimesh.transformations.rotation_matrix(0.4, [1.0, 2.0, 0.5]))
    hollow.invert()
    shell = trimesh.creation.icosphere(subdivisions=5, radius=3.5)
    return joined(mesh_of(shape), mesh_of(hollow), mesh_of(shell))


def test_surfaces_that_nearly_touch_do_not_cross(monkeypatch):
    """Both skins may move by 8.5 µm across a gap of 10: without the search for crossings they do cross."""
    dense = nested_balls()
    assert len(crossing_pairs(dense)) == 0
    made = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    assert len(made.mesh.triangles) < len(dense.triangles) / 8
    assert made.taken_back > 0
    assert_guaranteed(dense, made)
    monkeypatch.setattr(reducing._Guarded, "_cross", lambda *_: np.empty((0, 2), np.int32))
    careless = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    assert len(crossing_pairs(careless.mesh)) > 0


@pytest.mark.parametrize("tolerance_mm", [0.002, 0.0085, 0.03])
def test_contours_of_noise(tolerance_mm):
    dense = noise_body(SEED)
    made = reduce_mesh(dense, tolerance_mm=tolerance_mm)
    assert_guaranteed(dense, made, tolerance_mm, parts=8)
    share = {0.002: 0.4, 0.0085: 0.08, 0.03: 0.02}[tolerance_mm]
    assert len(made.mesh.triangles) < share * len(dense.triangles)


@settings(max_examples=6)
@given(seed=st.integers(0, 2**31), tolerance_mm=st.floats(0.001, 0.1))
def test_any_contour(seed, tolerance_mm):
    dense = noise_body(seed, size=40)
    assume(len(dense.triangles))
    made = reduce_mesh(dense, tolerance_mm=tolerance_mm)
    assert_guaranteed(dense, made, tolerance_mm, parts=8)


def test_the_same_bytes_for_any_number_of_threads(monkeypatch):
    monkeypatch.setattr(reducing, "FACES_IN_BLOCK", (2_000, 4_000, 6_000))
    dense = noise_body(SEED + 1)
    before = numba.get_num_threads()
    found = []
    for threads in (1, min(2, before)):
        numba.set_num_threads(threads)
        found.append(reduce_mesh(dense, tolerance_mm=TOLERANCE_MM))
    numba.set_num_threads(before)
    first, second = found
    assert first.mesh.points.tobytes() == second.mesh.points.tobytes()
    assert first.mesh.triangles.tobytes() == second.mesh.triangles.tobytes()
    assert first[1:6] == second[1:6]
    assert_guaranteed(dense, first, parts=6)


def test_everything_can_be_taken_back():
    dense = noise_body(SEED + 2, size=40)
    points, triangles, _ = reducing._check_input(dense, TOLERANCE_MM)
    whole, surface = reducing._start(points, triangles)
    whole.sample_limit[:] = TOLERANCE_MM
    log = []
    for number in range(3):
        reduce_pass(whole, surface, reducing.RULES, number, 3_000, log)
    journal = join_journal(log)
    assert whole.alive.sum() < len(triangles) / 3
    assert whole.alive.sum() == len(triangles) - 2 * len(journal.kept)
    taken = 0
    while len(changed := np.flatnonzero(whole.touched >= 0).astype(np.int32)):
        taken += take_back(whole, journal, changed)
    assert taken == len(journal.kept)
    assert whole.alive.all()
    np.testing.assert_array_equal(whole.triangles, triangles)
    np.testing.assert_array_equal(whole.points, points)


def test_crossings_that_were_there_are_named_and_nothing_else_breaks():
    first = trimesh.creation.icosphere(subdivisions=4, radius=2.0)
    dense = joined(mesh_of(first), mesh_of(first, (2.9, 0.0, 0.0)))
    made = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    assert len(made.crossings) > 0
    assert made.there_mm <= TOLERANCE_MM
    assert sampled_apart(made.mesh, dense, 20) <= TOLERANCE_MM
    np.testing.assert_array_equal(np.sort(made.crossings, axis=1), crossing_pairs(made.mesh, limit=10**6))
    assert len(made.mesh.triangles) < len(dense.triangles)


def test_tips_that_touch_stay_together():
    """Two balls that share one vertex, one row for both: it is not moved for the sake of one of them."""
    shape = trimesh.creation.icosphere(subdivisions=4, radius=2.0)
    top = shape.vertices[np.argmax(shape.vertices[:, 2])]
    lower, upper = mesh_of(shape, -top), mesh_of(trimesh.Trimesh(-shape.vertices, shape.faces[:, ::-1]), top)
    dense = joined(lower, upper)
    touching = np.flatnonzero((np.abs(dense.points) < 1e-9).all(axis=1))
    assert len(touching) == 2
    triangles = np.where(dense.triangles == touching[1], touching[0], dense.triangles).astype(np.int32)
    dense = Mesh(dense.points, triangles)
    made = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    assert len(made.mesh.triangles) < len(triangles) / 2
    assert (made.mesh.points == 0).all(axis=1).sum() == 1
    assert len(made.crossings) == 0
    assert sampled_apart(made.mesh, dense, 20) <= made.back_mm <= TOLERANCE_MM


def test_points_in_double_precision_are_proved_as_they_are_stored():
    shape = trimesh.creation.icosphere(subdivisions=5, radius=3.0)
    dense = Mesh(shape.vertices + 100.0 / 3.0, np.asarray(shape.faces, np.int32))
    made = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    assert_guaranteed(Mesh(dense.points.astype(np.float32), dense.triangles), made, parts=40)


def test_a_mesh_that_can_not_be_reduced_is_left():
    tetrahedron = Mesh(
        np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], np.float32),
        np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], np.int32),
    )
    made = reduce_mesh(tetrahedron, tolerance_mm=TOLERANCE_MM)
    np.testing.assert_array_equal(made.mesh.points, tetrahedron.points)
    np.testing.assert_array_equal(made.mesh.triangles, tetrahedron.triangles)
    assert measure_solid(made.mesh).volume == pytest.approx(1 / 6)
    empty = reduce_mesh(Mesh(np.empty((0, 3), np.float32), np.empty((0, 3), np.int32)), tolerance_mm=1.0)
    assert len(empty.mesh.triangles) == 0


def test_progress_is_told():
    said = []
    reduce_mesh(
        mesh_of(trimesh.creation.icosphere(subdivisions=3)),
        tolerance_mm=TOLERANCE_MM,
        progress=lambda what, share: said.append((what, share)),
    )
    shares = [share for _, share in said]
    assert shares == sorted(shares)
    assert said[-1] == ("done", 1.0)


def test_what_can_not_be_proved_is_not_given(monkeypatch):
    """Collapses held to thrice the tolerance, and no round left to take back what fails."""
    monkeypatch.setattr(reducing, "SAMPLE_SHARE", 3.0)
    dense = noise_body(SEED + 3, size=40)
    assert_guaranteed(dense, reduce_mesh(dense, tolerance_mm=TOLERANCE_MM), parts=8)
    monkeypatch.setattr(reducing, "MOST_ROUNDS", 1)
    with pytest.raises(InputError, match="not proved after 1 rounds"):
        reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)


def test_refusals():
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=2))
    with pytest.raises(InputError, match="not above zero"):
        reduce_mesh(ball, tolerance_mm=0.0)
    with pytest.raises(InputError, match="3 edges are open"):
        reduce_mesh(Mesh(ball.points, ball.triangles[1:]), tolerance_mm=1.0)
    doubled = np.concatenate([ball.triangles, ball.triangles])
    with pytest.raises(InputError, match="more than two triangles"):
        reduce_mesh(Mesh(ball.points, doubled), tolerance_mm=1.0)
    with pytest.raises(InputError, match="256 mm"):
        reduce_mesh(Mesh(ball.points + 300, ball.triangles), tolerance_mm=1.0)
