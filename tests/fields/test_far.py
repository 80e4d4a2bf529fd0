"""The far field: exact shapes, errors in shares of a pitch, order of accuracy, signs, refusals."""

import numba
import numpy as np
import pytest
import trimesh

from firstcast.errors import InputError, SizeError
from firstcast.fields.far import build_far, gradient, sample
from firstcast.fields.union import Shells
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.tree import build_tree, closest_points

SEED = 661904


def mesh_of(solid) -> Mesh:
    return Mesh(np.asarray(solid.vertices), np.asarray(solid.faces, dtype=np.int32))


def far_of(mesh: Mesh, **chosen):
    tree = build_tree(mesh) if len(mesh.triangles) else None
    shells = Shells(mesh.points, mesh.triangles, np.zeros(len(mesh.triangles), np.uint16))
    return build_far(shells, lambda places: closest_points(tree, places), **chosen)


def lattice_points(field):
    axes = [
        o + p * np.arange(n)
        for o, p, n in zip(field.origin_mm, field.pitch_mm, field.values.shape, strict=True)
    ]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def box_distance(points, half):
    """Signed distance from a box about the origin: exact, inside and out."""
    q = np.abs(points) - half
    return np.linalg.norm(np.maximum(q, 0.0), axis=1) + np.minimum(q.max(axis=1), 0.0)


def torus_distance(points, ring, tube):
    return np.hypot(np.hypot(points[:, 0], points[:, 1]) - ring, points[:, 2]) - tube


def torus(ring, tube, count):
    return mesh_of(trimesh.creation.torus(ring, tube, major_sections=4 * count, minor_sections=count))


def test_box_is_exact_everywhere():
    """Large triangles are measured as they are: no error beyond float32, near and far, inside and out."""
    half = np.array([4.0, 2.5, 1.5])
    field = far_of(mesh_of(trimesh.creation.box(extents=2 * half)), pitch_mm=0.31, margin_mm=4.0)
    exact = box_distance(lattice_points(field), half)
    np.testing.assert_allclose(field.values.reshape(-1), exact, atol=2e-6)


def test_turned_box_with_uneven_pitch():
    half = np.array([4.0, 2.5, 1.5])
    solid = trimesh.creation.box(extents=2 * half)
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])[:3, :3]
    mesh = Mesh(solid.vertices @ turn.T + 0.123, np.asarray(solid.faces, dtype=np.int32))
    field = far_of(mesh, pitch_mm=(0.3, 0.4, 0.25), margin_mm=2.0)
    exact = box_distance((lattice_points(field) - 0.123) @ turn, half)
    error = np.abs(field.values.reshape(-1)) - np.abs(exact)
    np.testing.assert_array_equal(np.sign(field.values.reshape(-1)), np.sign(exact))
    assert error.min() > -2e-6
    assert error.max() < 0.08 * 0.25
    np.testing.assert_array_equal(field.pitch_mm, [0.3, 0.4, 0.25])


def test_every_point_against_the_search_tree():
    """Fine triangles with relief: never too small, exact in the band, and elsewhere within a share of a pitch."""
    solid = trimesh.creation.icosphere(subdivisions=5)
    x, y, z = solid.vertices.T
    radius = 6.0 * (1.0 + 0.1 * np.sin(9 * x) * np.cos(7 * y + 1.0) + 0.03 * np.sin(23 * z))
    mesh = Mesh(solid.vertices * radius[:, None], np.asarray(solid.faces, dtype=np.int32))
    pitch = 0.3
    field = far_of(mesh, pitch_mm=pitch, margin_mm=3.0)
    exact = closest_points(build_tree(mesh), lattice_points(field)).distance_mm
    error = (np.abs(field.values.reshape(-1)) - exact) / pitch
    assert error.min() > -1e-5
    assert np.abs(error[exact < 2.0 * pitch]).max() < 1e-5
    assert error.max() < 0.1, f"greatest error {error.max():.3f} pitches"
    assert np.quantile(error, 0.999) < 0.05


def test_torus_reads_with_second_order():
    """Trilinear reading of the exact distance: error falls with pitch² near a smooth surface."""
    rng = np.random.default_rng(SEED)
    angle, around = rng.uniform(0, 2 * np.pi, (2, 3000))
    depth = rng.uniform(-0.4, 0.4, 3000)
    out = 5.0 + (2.0 + depth) * np.cos(around)
    places = np.column_stack([out * np.cos(angle), out * np.sin(angle), (2.0 + depth) * np.sin(around)])
    errors = []
    for pitch in (0.8, 0.4, 0.2):
        # facets shrink with the pitch, so that their error is of second order too
        field = far_of(torus(5.0, 2.0, int(24 / pitch)), pitch_mm=pitch, margin_mm=0.5)
        errors.append(np.abs(sample(field, places) - torus_distance(places, 5.0, 2.0)).mean())
    slope = -np.polyfit(np.arange(3), np.log2(errors), 1)[0]
    assert slope == pytest.approx(2.0, abs=0.2), f"observed order {slope:.2f}, errors {errors}"


def test_gradient_points_away_from_the_surface():
    field = far_of(
        mesh_of(trimesh.creation.icosphere(subdivisions=4, radius=5.0)), pitch_mm=0.2, margin_mm=2.0
    )
    rng = np.random.default_rng(SEED)
    unit = rng.normal(size=(500, 3))
    unit /= np.linalg.norm(unit, axis=1)[:, None]
    places = unit * rng.uniform(2.0, 6.8, size=(500, 1))
    slope = gradient(field, places)
    length = np.linalg.norm(slope, axis=1)
    # values err by up to 0.06 of a pitch, so differences over a pitch by as much
    assert (np.einsum("ij,ij->i", slope, unit) / length).min() > 0.99
    np.testing.assert_allclose(length, 1.0, atol=0.08)
    # and is the derivative of what is read
    step = 1e-5
    for axis in range(3):
        ahead = places.copy()
        ahead[:, axis] += step
        numeric = (sample(field, ahead) - sample(field, places)) / step
        assert np.median(np.abs(numeric - slope[:, axis])) < 1e-5


def test_outside_the_grid():
    field = far_of(
        mesh_of(trimesh.creation.icosphere(subdivisions=3, radius=2.0)), pitch_mm=0.2, margin_mm=0.5
    )
    far = np.array([[9.0, 0.0, 0.0], [0.0, -50.0, 0.0], [6.0, 6.0, 6.0]])
    read, true = sample(field, far), np.linalg.norm(far, axis=1) - 2.0
    assert (read >= true - 0.05).all()
    np.testing.assert_allclose(read[:2], true[:2], atol=0.05)
    np.testing.assert_allclose(gradient(field, far[:2]), [[1, 0, 0], [0, -1, 0]], atol=1e-9)


def test_overlapping_shells_are_inside_together():
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=4, radius=3.0))
    both = Mesh(
        np.concatenate([ball.points, ball.points + np.array([3.0, 0, 0])]),
        np.concatenate([ball.triangles, ball.triangles + np.int32(len(ball.points))]),
    )
    field = far_of(both, pitch_mm=0.25, margin_mm=1.0)
    points = lattice_points(field)
    to_balls = [np.linalg.norm(points - [x, 0, 0], axis=1) - 3.0 for x in (0.0, 3.0)]
    nearest = np.minimum(*to_balls)
    clear = np.abs(nearest) > 0.02
    # the sign bit: on a buried surface the value is -0
    np.testing.assert_array_equal(np.signbit(field.values.reshape(-1))[clear], (nearest < 0)[clear])
    outside = nearest > 0.02
    np.testing.assert_allclose(field.values.reshape(-1)[outside], nearest[outside], atol=0.03)


def test_same_for_any_number_of_threads():
    mesh = torus(4.0, 1.5, 40)
    before = numba.get_num_threads()
    results = []
    try:
        for threads in (1, before):
            numba.set_num_threads(threads)
            results.append(far_of(mesh, pitch_mm=0.3, margin_mm=1.0).values.tobytes())
    finally:
        numba.set_num_threads(before)
    assert results[0] == results[1]


def test_grid_reaches_beyond_the_mesh():
    mesh = torus(4.0, 1.5, 30)
    field = far_of(mesh, pitch_mm=0.3, margin_mm=1.0)
    low, high = field.bounds
    assert (low <= mesh.bounds[0] - 1.0).all()
    assert (high >= mesh.bounds[1] + 1.0).all()
    assert (field.values[0] > 0).all()
    assert (field.values[-1] > 0).all()


def test_refused():
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=3, radius=2.0))
    with pytest.raises(SizeError, match="the work needs about"):
        far_of(ball, pitch_mm=0.0004)
    with pytest.raises(InputError, match="not closed"):
        far_of(Mesh(ball.points, ball.triangles[:-200]), pitch_mm=0.1)
    with pytest.raises(InputError, match="no triangles"):
        far_of(Mesh(ball.points, ball.triangles[:0]), pitch_mm=0.1)
    for pitch, margin in ((0.0, 1.0), (-0.1, 1.0), (0.1, -1.0)):
        with pytest.raises(InputError, match="Give positive lengths"):
            far_of(ball, pitch_mm=pitch, margin_mm=margin)
