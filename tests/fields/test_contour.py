import igl.predicates
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.fields.contour import contour, contour_dense
from firstcast.fields.near import near_from_dense
from firstcast.geometry.mesh import Mesh, measure_solid


def assert_closed_manifold(points, triangles):
    """Every directed edge once, its reverse once; every vertex one fan; no two vertices in one place."""
    ends = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).astype(np.int64)
    there, back = ends @ [len(points), 1], ends @ [1, len(points)]
    assert len(np.unique(there)) == len(there)
    assert np.array_equal(np.sort(there), np.sort(back))
    assert len(np.unique(points, axis=0)) == len(points)
    following = {
        (int(a), int(b)): int(c)
        for a, b, c in np.concatenate([triangles, np.roll(triangles, 1, 1), np.roll(triangles, 2, 1)])
    }
    degree = np.bincount(triangles.ravel(), minlength=len(points))
    for vertex, start in dict(following.keys()).items():
        at, steps = following[vertex, start], 1
        while at != start:
            at, steps = following[vertex, at], steps + 1
        assert steps == degree[vertex], "a vertex with two fans"


def crossings(points, triangles):
    """Pairs of triangles that meet beyond what they share, by exact predicates."""
    return len(
        igl.predicates.find_self_intersections(points.astype(np.float64), triangles.astype(np.int64))[1]
    )


def ball(radius, spread, count):
    at = np.linspace(-spread, spread, count)
    x, y, z = np.meshgrid(at, at, at, indexing="ij")
    return np.sqrt(x**2 + y**2 + z**2) - radius, -spread, at[1] - at[0]


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    shape=st.tuples(*[st.integers(1, 18)] * 3),
    nasty=st.sampled_from(["normal", "signs", "tiny", "zeros", "steep"]),
)
def test_any_noise_gives_a_closed_manifold_without_crossings_after_rounding(seed, shape, nasty):
    rng = np.random.default_rng(seed)
    values = rng.normal(size=shape).astype(np.float32) * 0.03
    if nasty == "signs":
        values = np.sign(values)
    if nasty == "tiny":
        values *= 1e-30
    if nasty == "zeros":
        values[rng.random(shape) < 0.4] = 0
    if nasty == "steep":
        values *= 10.0 ** rng.integers(-6, 6, size=shape)
    found = contour_dense(values, (120.0, -120.0, 120.0), (0.025, 0.02, 0.03))
    if not (values < 0).any():
        assert len(found.triangles) == 0
        return
    assert found.points.dtype == np.float32
    assert_closed_manifold(found.points, found.triangles)
    assert crossings(found.points, found.triangles) == 0
    assert measure_solid(Mesh(found.points, found.triangles)).volume > 0


def test_crossings_are_noticed_where_there_are_some():
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.2, -1], [0.3, 0.2, 1], [0.2, 0.3, 1]], float)
    assert crossings(points, np.array([[0, 1, 2], [3, 4, 5]])) > 0


def test_volume_of_a_ball_converges_at_second_order():
    errors, pitches = [], []
    for count in (24, 48, 96):
        values, origin, pitch = ball(1.7, 2.0, count)
        found = contour_dense(values, origin, pitch)
        errors.append(abs(measure_solid(Mesh(found.points, found.triangles)).volume - 4 / 3 * np.pi * 1.7**3))
        pitches.append(pitch)
    slope = np.polyfit(np.log(pitches), np.log(errors), 1)[0]
    assert abs(slope - 2) < 0.2, f"observed order {slope:.2f}"


def test_vertices_lie_where_a_linear_field_is_zero():
    at = np.arange(12) * 0.5
    x, y, z = np.meshgrid(at, at, at, indexing="ij")
    found = contour_dense(0.31 * x + 0.22 * y - 0.4 * z + 0.017, 0.0, 0.5)
    inner = ((found.points > 0.01) & (found.points < 5.49)).all(axis=1)
    assert inner.sum() > 100
    assert np.abs(found.points[inner] @ [0.31, 0.22, -0.4] + 0.017).max() < 3e-6


def test_sampled_zeros_move_a_thousandth_of_a_pitch_at_most():
    values = np.full((9, 9, 9), 1.0)
    values[2:6, 2:6, 2:6] = -1
    values[2:6, 2:6, 6] = 0
    found = contour_dense(values, 0.0, 1.0)
    assert np.isclose(found.points[:, 2].max(), 6 - 1e-3, atol=1e-5)
    assert_closed_manifold(found.points, found.triangles)


def test_a_body_at_the_border_is_closed():
    found = contour_dense(np.full((5, 4, 3), -1.0), 0.0, 1.0)
    assert_closed_manifold(found.points, found.triangles)
    assert found.points.min() < 0
    assert measure_solid(Mesh(found.points, found.triangles)).volume > 4 * 3 * 2


def test_bricks_give_the_part_that_is_nearest():
    values, origin, pitch = ball(1.0, 1.5, 40)
    field = near_from_dense(values.astype(np.float32), origin, pitch)
    part = np.zeros(field.pool.shape, np.uint16)
    for row, place in enumerate(field.places):
        z = field.origin_mm[2] + field.pitch_mm[2] * (8 * place[2] + np.arange(8))
        part[row] = np.where(z > 0.2, 7, 3)
    found = contour(field.__class__(field.origin_mm, field.pitch_mm, field.index, field.pool, part))
    height = found.points[found.triangles].mean(axis=1)[:, 2]
    assert set(np.unique(found.part_of_triangle)) == {3, 7}
    assert (found.part_of_triangle[height > 0.2 + pitch] == 7).all()
    assert (found.part_of_triangle[height < 0.2 - pitch] == 3).all()


def test_a_field_whose_zero_set_leaves_its_bricks_is_refused():
    values, origin, pitch = ball(1.0, 1.5, 40)
    field = near_from_dense(values.astype(np.float32), origin, pitch)
    corner = field.index.copy()
    corner[-1, -1, -1] = -2
    crossed = int(np.flatnonzero((field.pool < 0).any(axis=(1, 2, 3)))[0])
    hollow = np.where(field.index == crossed, -1, field.index)
    filled = np.where(field.index == crossed, -2, field.index)
    for index in (corner, hollow, filled):
        rows = np.unique(index[index >= 0])
        renamed = np.where(index >= 0, np.searchsorted(rows, index), index).astype(np.int32)
        broken = field.__class__(field.origin_mm, field.pitch_mm, renamed, field.pool[rows], field.part)
        with pytest.raises(InputError, match="leaves the bricks"):
            contour(broken)


@pytest.mark.parametrize(
    ("values", "pitch", "words"),
    [
        (np.zeros((3, 3)), 1.0, "three-dimensional"),
        (np.full((3, 3, 3), np.nan), 1.0, "finite"),
        (np.zeros((3, 3, 3)), 0.0, "above zero"),
        (np.zeros((3, 3, 3)), 1e-5, "finer than float32"),
    ],
)
def test_what_cannot_be_contoured_is_refused(values, pitch, words):
    with pytest.raises(InputError, match=words):
        contour_dense(values, 100.0, pitch)
