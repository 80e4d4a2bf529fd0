import numba
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from test_retention import EDGE, inner, sheet, sine

from firstcast.errors import InputError
from firstcast.forecast.carry import AMPLITUDE_SCALES_MM, carry
from firstcast.forecast.retention import averaged, retention, window_on, windows_on

GROWTH = (0.020, 0.030, 0.054)
"""What upright walls grow by in low, likely and high, decision 0008."""

SPREAD = (0.02, 0.03, 0.045)
BALL = (0.04, 0.06, 0.09)


def relief(x, y):
    """Waves of two directions and periods, with a narrow groove across."""
    waves = 0.02 * np.sin(2 * np.pi * x / 0.3) + 0.02 * np.sin(2 * np.pi * (x + y) / 0.5)
    return waves - 0.04 * np.exp(-(((y - 1.2) / 0.05) ** 2))


def closed(height, radius):
    """A height field closed by a ball: the ball's own heights as structure."""
    reach = int(radius / EDGE)
    grid = np.arange(-reach, reach + 1) * EDGE
    square = radius**2 - grid[:, None] ** 2 - grid[None] ** 2
    ball = np.sqrt(np.maximum(square, 0.0))
    return ndimage.grey_closing(height, footprint=square >= 0, structure=ball - radius, mode="nearest")


def forward_on(points, *, spread=SPREAD, growth=GROWTH, ball=BALL):
    """Height fields smoothed, grown and closed, one scenario each; lengths are along z."""
    side = round(np.sqrt(len(points)))
    own = points[:, 2].reshape(side, side)

    def forward(carried):
        found = []
        for sigma, grown, radius in zip(spread, growth, ball, strict=True):
            height = ndimage.gaussian_filter(own + carried.reshape(side, side), sigma / EDGE, mode="nearest")
            height = height + grown
            found.append(((closed(height, radius) if radius else height) - own).ravel())
        return np.array(found)

    return forward


def upright(points):
    return np.tile([0.0, 0.0, 1.0], (len(points), 1))


@pytest.fixture(scope="module")
def body():
    points, triangles, _ = sheet(relief)
    return points, triangles, upright(points)


@pytest.fixture(scope="module")
def carried(body):
    return carry(forward_on(body[0]), *body)


def rms(e):
    return np.sqrt((e**2).mean(axis=1))


def test_residuals_fall_in_every_scenario(carried):
    assert (rms(carried.after_mm) < 0.75 * rms(carried.before_mm)).all()
    assert rms(carried.after_mm)[1] < 0.4 * rms(carried.before_mm)[1]
    assert carried.best_step > 0


def worse_by(body, found):
    """How much greater the residual is than without carry, each as RMS over the finest window, in any scenario."""
    window = window_on(*body, 0.15)
    before, after = (np.sqrt(averaged(window, (e**2).T)) for e in (found.before_mm, found.after_mm))
    return (after - before).max(axis=1)


def test_no_place_ends_worse_than_before_or_it_is_told(body, carried):
    worse = worse_by(body, carried)
    assert carried.worse_count == (worse > 0.0005).sum()
    assert carried.worst_mm == pytest.approx(max(worse[worse > 0.0005], default=0.0), abs=1e-9)
    assert carried.worse_count == 0


def test_amplitude_stays_within_its_bound_in_every_scenario(body, carried):
    windows = windows_on(*body, (0.15, 0.3, 0.6))
    plain, finest = (retention(windows, e).finest for e in (carried.before_mm, carried.after_mm))
    known = ~np.isnan(finest)
    # what is deeper without carry is not its doing
    assert (finest[known] <= np.maximum(1.10, plain[known] + 0.005)).all()
    assert carried.over_count == 0


def test_without_the_bound_amplitude_would_be_greater(body):
    free = carry(forward_on(body[0]), *body, most_ratio=np.inf)
    assert free.amplitude_most > 1.10


def test_what_is_reported_after_is_what_the_forward_model_says_of_the_lengths(body, carried):
    assert np.array_equal(forward_on(body[0])(carried.length_mm), carried.after_mm)
    assert np.array_equal(forward_on(body[0])(np.zeros(len(body[0]))), carried.before_mm)


def test_cap_bounds_and_frozen_places_hold(body):
    points = body[0]
    low = np.where(points[:, 0] < 0.8, 0.0, -0.01)
    high = np.where(points[:, 0] < 0.8, 0.0, 0.004)
    found = carry(forward_on(points), *body, allowed_low_mm=low, allowed_high_mm=high)
    assert (found.length_mm[points[:, 0] < 0.8] == 0.0).all()
    assert found.length_mm.min() >= -0.01
    assert found.length_mm.max() <= 0.004
    assert np.abs(found.length_mm).max() > 0.005
    assert np.abs(carry(forward_on(points), *body, cap_mm=0.012).length_mm).max() <= 0.012


def test_no_relief_is_carried_where_none_may_be(body, carried):
    points = body[0]
    found = carry(forward_on(points), *body, even=points[:, 0] > 1.0)
    window = window_on(*body, 0.6)
    # away from the border, where relief of the other side shows in the average
    place = inner(points) & (points[:, 0] > 1.35)

    def rough(d):
        return np.std((d - averaged(window, d))[place])

    assert rough(found.length_mm) < 0.06 * rough(carried.length_mm)
    assert found.length_mm[place].mean() < -0.01  # growth is still taken off


def test_a_null_process_carries_nothing(body):
    found = carry(lambda d: np.tile(d, (3, 1)), *body)
    assert np.abs(found.length_mm).max() <= 1e-9
    assert found.undone_share == 0.0


def test_a_process_that_runs_away_ends_with_nothing_carried(body):
    # every movement makes every place worse
    found = carry(lambda d: 0.01 + np.tile(np.abs(d), (3, 1)), *body)
    assert (found.length_mm == 0.0).all()
    assert found.best_step == 0


def test_what_only_some_scenarios_want_is_drawn_back_there_alone(body):
    points = body[0]
    place = points[:, 0] > 1.6
    plain = forward_on(points)

    def forward(d):
        found = plain(d)
        # there the mildest scenario has next to nothing to mend: any carry ends worse
        found[0, place] -= found[0, place] - 0.0005 - d[place]
        return found

    # amplitude is drawn back elsewhere too
    found = carry(forward, *body, most_ratio=np.inf)
    free = carry(forward, *body, most_ratio=np.inf, rounds=0)
    assert free.worse_count > 1000
    assert free.worst_mm > 0.001
    assert found.worse_count == 0
    # a place is drawn back as many rings about it as it was worse in rounds, six at most, and its window is 0.15 mm wide
    far = points[:, 0] < 1.6 - 6 * 7 * EDGE
    assert (found.kept[far] == 1.0).all()
    assert 0.3 < found.undone_share < 0.8
    assert np.abs(found.length_mm[points[:, 0] > 1.7]).max() < 0.0015


def test_a_ball_that_grows_evenly_comes_back_to_its_size():
    ball = trimesh.creation.icosphere(subdivisions=5, radius=2.0)
    normals = ball.vertices / 2.0

    def forward(d):
        return np.array(GROWTH)[:, None] + d

    found = carry(forward, np.array(ball.vertices), ball.faces.astype(np.int32), normals)
    # five steps of 0.6 leave 0.4**5 of the growth, 0.3 µm of 30
    assert np.allclose(found.length_mm, -0.030 * (1 - 0.4**5), atol=1e-9)
    assert np.allclose(found.after_mm[1], 0.030 * 0.4**5, atol=1e-9)
    assert found.worse_count == found.over_count == 0


def test_the_same_bytes_for_any_number_of_threads(body, carried):
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        alone = carry(forward_on(body[0]), *body)
    finally:
        numba.set_num_threads(before)
    assert np.array_equal(alone.length_mm, carried.length_mm)
    assert np.array_equal(alone.after_mm, carried.after_mm)


def test_relief_too_fine_for_the_spread_is_given_up_rather_than_made_worse():
    points, triangles, _ = sheet(sine(0.15, 0.06), side=1.2)
    free = carry(forward_on(points), points, triangles, upright(points), rounds=0)
    found = carry(forward_on(points), points, triangles, upright(points))
    assert free.worse_count > 100  # ridges that neighbours pull down with them
    assert found.worse_count == 0


def test_fine_waves_are_not_dug_under_paint_that_fills_them():
    points, triangles, _ = sheet(sine(0.12, 0.03))
    forward = forward_on(points, ball=(0.12, 0.2, 0.3), growth=(0.0, 0.0, 0.0))
    found = carry(forward, points, triangles, upright(points))
    assert np.percentile(np.abs(found.length_mm), 95) < 0.06
    assert found.worse_count == 0


def test_what_excludes_zero_or_is_not_finite_is_refused(body):
    with pytest.raises(InputError, match="exclude 0"):
        carry(forward_on(body[0]), *body, allowed_low_mm=0.01)
    with pytest.raises(InputError, match="three rows"):
        carry(lambda d: np.full((3, len(d)), np.nan), *body)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=15, deadline=None)
def test_any_smooth_linear_process_leaves_bounds_whole(seed):
    rng = np.random.default_rng(seed)
    a, b = rng.uniform(0.2, 0.8, 2)
    u, v = rng.uniform(0, 2 * np.pi, 2)
    points, triangles, _ = sheet(
        lambda x, y: 0.03 * np.sin(2 * np.pi * x / a + u) * np.cos(2 * np.pi * y / b + v), side=1.0
    )
    spread = np.sort(rng.uniform(0.005, 0.06, 3))
    growth = np.sort(rng.uniform(0, 0.06, 3))
    forward = forward_on(points, spread=spread, growth=growth, ball=(0, 0, 0))
    found = carry(forward, points, triangles, upright(points))
    worse = worse_by((points, triangles, upright(points)), found)
    assert np.abs(found.length_mm).max() <= 0.08
    assert found.worse_count == (worse > 0.0005).sum()
    assert rms(found.after_mm).sum() <= rms(found.before_mm).sum() * (1 + 1e-9)


@pytest.mark.parametrize("rounds", [0, 1, 3])
def test_the_last_lengths_are_settled_thoroughly_and_what_is_told_is_true_of_them(body, rounds):
    """Places that may not be moved at all are seen to at last alone; what is read then is of the lengths without them."""
    points, triangles, normals = body
    still, asked = np.arange(len(points)) % 7 == 0, []

    def settle(length):
        asked.append(np.count_nonzero(length[still]))
        return np.where(still, 0.0, length)

    forward = forward_on(points)
    found = carry(forward, *body, rounds=rounds, settle=settle, settle_for_now=lambda length: length)
    assert len(asked) == 1
    assert asked[0] > 0
    assert not found.length_mm[still].any()
    np.testing.assert_array_equal(found.after_mm, forward(found.length_mm))
    windows = windows_on(points, triangles, normals, AMPLITUDE_SCALES_MM)
    np.testing.assert_array_equal(found.left_before.share, retention(windows, found.before_mm).share)
    np.testing.assert_array_equal(found.left_after.share, retention(windows, found.after_mm).share)


def test_scales_read_apart_are_as_those_read_together(body):
    points, triangles, normals = body
    windows = windows_on(points, triangles, normals, (0.15, 0.3, 0.6))
    residual = forward_on(points)(np.zeros(len(points)))
    whole = retention(windows, residual)
    parted = retention(windows[:1], residual).beyond(retention(windows[1:], residual))
    for name in ("share", "relief_mm", "finest"):
        np.testing.assert_array_equal(getattr(parted, name), getattr(whole, name))
