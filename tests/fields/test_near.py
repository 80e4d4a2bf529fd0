import igl
import numba
import numpy as np
import pytest
from solids import ball, moved, relief_ball, shells_of

from firstcast.errors import InputError, SizeError
from firstcast.fields import memory
from firstcast.fields.build import build_near, redistance
from firstcast.fields.contour import contour
from firstcast.fields.near import NearField, near_from_dense, sample
from firstcast.geometry.mesh import Mesh, measure_solid


def lattice_points(field: NearField):
    steps = np.stack(np.meshgrid(*[np.arange(8)] * 3, indexing="ij"), axis=-1)
    return field.origin_mm + field.pitch_mm * (8 * field.places[:, None, None, None, :] + steps)


def two_balls(places):
    """Signed distance to the union of unit balls about (0, 0, 0) and (1, 0, 0), exact on both sides."""
    left, right = (np.linalg.norm(places - np.array([x, 0.0, 0.0]), axis=-1) for x in (0, 1))
    signed = np.minimum(left, right) - 1
    # a ball's surface shows only on its side of the plane x = 1/2; else the rim where they meet is nearest
    x = places[..., 0]
    shows_left, shows_right = x / left <= 0.5, 1 + (x - 1) / right >= 0.5
    rim = np.hypot(x - 0.5, np.hypot(places[..., 1], places[..., 2]) - np.sqrt(0.75))
    gap = np.minimum(
        np.where(shows_left, np.abs(left - 1), np.inf), np.where(shows_right, np.abs(right - 1), np.inf)
    )
    return np.sign(signed) * np.minimum(gap, rim)


@pytest.mark.parametrize("pitch", [(0.05, 0.05, 0.05), (0.04, 0.05, 0.06)])
def test_distances_are_those_of_the_union_also_within_where_buried_surfaces_are_near(pitch):
    field = build_near(shells_of(ball(subdivisions=6), ball(centre=(1, 0, 0), subdivisions=6)), pitch)
    band, coarsest = 3 * max(pitch), max(pitch)
    exact = np.clip(two_balls(lattice_points(field)), -band, band)
    error = np.abs(field.pool - exact) / coarsest
    assert error.max() < 0.2, "cut at the crease and by the flat facets"
    assert np.quantile(error, 0.98) < 0.03
    assert np.abs(field.pool).max() <= np.float32(band)


def test_distances_are_exact_to_the_surface_drawn():
    rng = np.random.default_rng(4471)
    shells = shells_of(
        relief_ball(rng, (1, 0.7, 1.2), (0, 0, 0)), relief_ball(rng, (0.5, 0.5, 0.8), (0.7, 0.2, 0.5))
    )
    field = build_near(shells, 0.06)
    again = redistance(field)
    drawn = contour(field)
    squares = igl.point_mesh_squared_distance(
        lattice_points(again).reshape(-1, 3), drawn.points.astype(float), drawn.triangles.astype(np.int64)
    )[0]
    twin = np.minimum(np.sqrt(squares), 0.18).reshape(again.pool.shape)
    assert np.abs(np.abs(again.pool) - twin).max() < 1e-6
    assert np.array_equal(again.pool < 0, field.pool < 0)


def test_every_brick_near_the_surface_is_held_and_the_rest_is_told_inside_or_outside():
    field = build_near(shells_of(ball(2.0)), 0.05)
    steps = np.stack(np.meshgrid(*[np.arange(n) for n in field.index.shape], indexing="ij"), axis=-1)
    middle = field.origin_mm + field.pitch_mm * (8 * steps + 3.5)
    gap = np.linalg.norm(middle, axis=-1) - 2
    absent = field.index < 0
    assert (np.abs(gap[absent]) > 0.15).all()
    assert (field.index[absent & (gap < 0)] == -2).all()
    assert (field.index[absent & (gap > 0)] == -1).all()
    assert absent.mean() > 0.4


def test_sampling_is_of_second_order_and_clamped_beyond_the_band():
    rng = np.random.default_rng(7719)
    direction = rng.normal(size=(4000, 3))
    direction /= np.linalg.norm(direction, axis=1)[:, None]
    # a ball so fine that its facets don't count
    shells = shells_of(ball(1.0, subdivisions=7))
    errors, pitches = [], (0.12, 0.06, 0.03)
    for pitch in pitches:
        field = build_near(shells, pitch)
        reach = rng.uniform(-1.5 * pitch, 1.5 * pitch, (4000, 1))
        errors.append(np.sqrt(np.mean((sample(field, direction * (1 + reach)) - reach[:, 0]) ** 2)))
    slope = np.polyfit(np.log(pitches), np.log(errors), 1)[0]
    assert abs(slope - 2) < 0.25, f"observed order {slope:.2f}"
    far = sample(field, np.array([[0, 0, 0], [0, 0, 0.5], [3, 0, 0], [-90, 40, 7]]))
    assert np.allclose(far, [-0.09, -0.09, 0.09, 0.09])
    with pytest.raises(InputError, match="not finite"):
        sample(field, np.array([[0, np.nan, 0]]))


def test_volume_of_the_contour_of_the_field_converges_at_second_order():
    shells = shells_of(ball(1.0, subdivisions=7))
    errors, pitches = [], (0.1, 0.05, 0.025)
    for pitch in pitches:
        found = contour(build_near(shells, pitch))
        errors.append(4 / 3 * np.pi - measure_solid(Mesh(found.points, found.triangles)).volume)
    slope = np.polyfit(np.log(pitches), np.log(errors), 1)[0]
    assert abs(slope - 2) < 0.2, f"observed order {slope:.2f}"


def test_the_nearest_part_is_kept_per_voxel():
    field = build_near(shells_of(ball(1.0), ball(1.0, (1, 0, 0))), 0.05)
    x = lattice_points(field)[..., 0]
    near = np.abs(field.pool) < 0.14
    assert (field.part[near & (x < 0.4)] == 0).all()
    assert (field.part[near & (x > 0.6)] == 1).all()


def test_a_wider_band_is_true_as_well():
    field = build_near(shells_of(ball(1.0, subdivisions=6)), 0.05, band_mm=0.5)
    exact = np.clip(np.linalg.norm(lattice_points(field), axis=-1) - 1, -0.5, 0.5)
    assert np.abs(field.pool - exact).max() < 0.05 * 0.05
    assert field.far_mm == 0.5


def test_the_same_bytes_on_one_and_two_threads():
    rng = np.random.default_rng(9917)
    shells = shells_of(*[relief_ball(rng, (1, 0.7, 1.2), rng.normal(size=3) * 0.4) for _ in range(3)])
    before = numba.get_num_threads()
    results = []
    for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
        numba.set_num_threads(threads)
        field = build_near(shells, 0.04)
        results.append([a.tobytes() for a in (field.pool, field.part, field.index, *contour(field))])
    numba.set_num_threads(before)
    assert results[0] == results[1]


def test_rigid_moves_by_whole_pitches_move_the_field():
    solid = ball(1.0)
    here = build_near(shells_of(solid), 0.0625)
    there = build_near(shells_of(moved(solid, (0.5, -1.0, 2.0))), 0.0625)
    assert np.array_equal(here.index, there.index)
    assert np.allclose(there.origin_mm - here.origin_mm, [0.5, -1.0, 2.0])
    assert np.abs(here.pool - there.pool).max() < 1e-3 * 0.0625


def test_work_that_does_not_fit_is_refused_before_it_is_begun(monkeypatch):
    monkeypatch.setattr(memory, "free_bytes", lambda: 50_000_000)
    with pytest.raises(SizeError, match="GB are free"):
        build_near(shells_of(ball(10.0)), 0.02, where="body")


def test_this_machine_tells_its_free_memory():
    assert 10_000_000 < memory.free_bytes() < 1e14


def test_dense_values_become_bricks_where_they_cross_zero():
    at = np.arange(40) * 0.1
    x = np.meshgrid(at, at, at, indexing="ij")[0]
    field = near_from_dense((x - 2.03).astype(np.float32), 0.0, 0.1)
    assert 0 < (field.index >= 0).sum() < field.index.size
    assert np.isclose(sample(field, np.array([[1.95, 2.0, 2.0]]))[0], -0.08, atol=1e-6)
