import numpy as np
import pytest
import trimesh

from firstcast.forecast.retention import averaged, by_part, retention, vertex_areas, window_on, windows_on

EDGE = 0.02


def sheet(height, side=2.4, edge=EDGE):
    """An open height field, its normals up; analytic relief on a plane."""
    count = round(side / edge) + 1
    grid = np.arange(count) * edge
    x, y = np.meshgrid(grid, grid, indexing="ij")
    points = np.column_stack([x.ravel(), y.ravel(), height(x, y).ravel()])
    at = np.arange(count**2, dtype=np.int32).reshape(count, count)
    a, b, c, d = (q.ravel() for q in (at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]))
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return points, triangles, np.array(trimesh.Trimesh(points, triangles, process=False).vertex_normals)


def inner(points, rim=0.65):
    """Away from the rim by more than half the widest window."""
    low, high = points[:, :2].min(0) + rim, points[:, :2].max(0) - rim
    return ((points[:, :2] >= low) & (points[:, :2] <= high)).all(1)


def sine(period, amplitude):
    return lambda x, y: amplitude * np.sin(2 * np.pi * x / period) + 0 * y


@pytest.mark.parametrize("period", [0.3, 0.6])
@pytest.mark.parametrize("left", [0.0, 0.4, 0.85, 1.2])
def test_a_wave_of_known_attenuation_reads_it(period, left):
    points, triangles, normals = sheet(sine(period, 0.02))
    # normal distance between two heights at the same place, to first order in what is lost
    e = (left - 1.0) * points[:, 2] * normals[:, 2]
    found = retention(windows_on(points, triangles, normals), e[None] + 0.037)
    for scale, size in enumerate((0.15, 0.3, 0.6, 1.2)):
        if size >= period:
            got = found.share[0, scale, inner(points)]
            assert np.abs(got - left).max() <= 0.01  # one point, as asked of windows of a period or more


def test_even_growth_is_no_loss_on_waves_or_balls():
    points, triangles, normals = sheet(sine(0.3, 0.03))
    found = retention(
        windows_on(points, triangles, normals), np.full((3, len(points)), [[0.02], [0.03], [0.05]])
    )
    read = found.share[:, 1:, inner(points)]
    assert np.allclose(read[~np.isnan(read)], 1.0, atol=1e-9)  # rounding alone


def test_a_plane_and_a_wide_ball_have_no_relief():
    points, triangles, normals = sheet(lambda x, y: np.sqrt(20.0**2 - (x - 1.2) ** 2 - (y - 1.2) ** 2))
    found = retention(windows_on(points, triangles, normals), np.zeros((1, len(points))))
    assert np.isnan(found.share[0][:, inner(points)]).all()
    assert np.isnan(found.finest[0, inner(points)]).all()


def test_the_back_of_a_thin_wall_has_no_say():
    points, triangles, normals = sheet(lambda x, y: 0 * x)
    both = np.vstack([points, points - [0, 0, 0.05]])
    turned = np.vstack([triangles, triangles[:, ::-1] + len(points)]).astype(np.int32)
    value = np.repeat([1.0, 5.0], len(points))
    window = window_on(both, turned, np.vstack([normals, -normals]), 0.3)
    assert np.allclose(averaged(window, value), value, atol=1e-12)


def test_an_average_is_that_of_every_vertex_weighed_in_turn():
    points, triangles, normals = sheet(sine(0.4, 0.02), side=0.8)
    areas = vertex_areas(points, triangles)
    value = np.cos(5 * points[:, 0]) * np.sin(7 * points[:, 1])
    got = averaged(window_on(points, triangles, normals, 0.4), value)
    gap = ((points[:, None] - points[None]) ** 2).sum(2)
    weight = np.maximum(1 - gap / 0.2**2, 0) * np.maximum(normals @ normals.T, 0) * areas
    plain = weight @ value / weight.sum(1)
    # clumps are a sixth of the window: their means stand for places up to 0.03 off, where the value's slope is 7
    assert np.abs(got - plain).max() <= 0.02


def test_parts_are_weighed_by_area_and_relief_and_the_worst_is_named():
    points, triangles, normals = sheet(sine(0.3, 0.03))
    part = (points[:, 0] > 1.2).astype(np.int64)
    left = np.where(part == 1, 0.5, 0.9)
    e = (left - 1.0) * points[:, 2] * normals[:, 2]
    found = retention(windows_on(points, triangles, normals, (0.3,)), e[None])
    means = by_part(found, part, vertex_areas(points, triangles))
    # windows across the boundary, 0.15 of 1.2 mm each way, see both halves; rims see half a window
    assert means.share[0, 0] == pytest.approx([0.9, 0.5], abs=0.03)
    assert means.worst[0, 0] == 1
    assert (means.overshoot_share == 0).all()


def test_more_than_all_is_overshoot():
    points, triangles, normals = sheet(sine(0.3, 0.03))
    e = 0.2 * points[:, 2] * normals[:, 2]
    found = retention(windows_on(points, triangles, normals, (0.3,)), e[None])
    means = by_part(found, np.zeros(len(points), np.int64), vertex_areas(points, triangles))
    assert means.overshoot_share[0, 0, 0] > 0.99
