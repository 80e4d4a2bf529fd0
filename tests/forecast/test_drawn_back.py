"""Drawing back: only what makes a place worse, only about it, until no place ends worse than without carry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from test_carry import forward_on, upright, worse_by
from test_retention import EDGE, sheet

from firstcast.forecast.carry import carry
from firstcast.forecast.carry_bounds import EASING_RINGS, Narrow, spared
from firstcast.forecast.drawn_back import GIVEN_UP, SAFE_SHARE, Bounds, broken_by, drawn
from firstcast.forecast.retention import retention, windows_on
from firstcast.forecast.rings import eased, rings_of

SIDE = 1.2
CAP_MM = 0.08


@pytest.fixture(scope="module")
def flat():
    points, triangles, _ = sheet(lambda x, y: 0 * x, side=0.6)
    return points, triangles, rings_of(triangles, len(points))


def rings_from(rings, start, count):
    """Rings between each vertex and the start, by flooding; inf beyond `count`."""
    away = np.full(len(rings.starts) - 1, np.inf)
    away[start] = 0
    for ring in range(1, count + 1):
        for i in np.flatnonzero(away == ring - 1):
            near = rings.near[rings.starts[i] : rings.starts[i + 1]]
            away[near] = np.minimum(away[near], ring)
    return away


def test_a_bound_rises_evenly_from_where_nothing_can_be_spared(flat):
    points, _, rings = flat
    middle = int(np.argmin(np.linalg.norm(points[:, :2] - 0.3, axis=1)))
    wall = np.full(len(points), np.inf)
    wall[middle] = 0.0
    before = np.full((3, len(points)), 0.01)
    low, high = spared(
        rings, Narrow(wall, np.full(len(points), np.inf)), before, np.full(len(points), -CAP_MM),
        np.full(len(points), CAP_MM), CAP_MM,
    )  # fmt: skip
    away = rings_from(rings, middle, EASING_RINGS + 1)
    # the place itself may give what even the mildest scenario puts on it; each ring a quarter of the cap more
    expected = np.minimum(CAP_MM, 0.01 + CAP_MM / EASING_RINGS * away)
    assert np.allclose(-low, expected, atol=1e-12)
    assert (high == CAP_MM).all()


@given(seed=st.integers(0, 10**6))
@settings(max_examples=10, deadline=None)
def test_eased_values_are_the_greatest_that_nowhere_rise_faster(flat, seed):
    rings = flat[2]
    values = np.random.default_rng(seed).uniform(0, 1, len(rings.starts) - 1)
    found = eased(
        rings, values, 0.3, 4
    )  # 4 rings of 0.3 are more than the range: none is left that a fifth would lower
    ends = np.repeat(np.arange(len(values)), np.diff(rings.starts))
    assert (found <= values).all()
    assert (found[ends] <= found[rings.near] + 0.3 + 1e-12).all()
    # what is lower than it was is so for a neighbour's sake
    held = np.minimum.reduceat(
        found[rings.near] + np.where(ends == rings.near, np.inf, 0.3), rings.starts[:-1]
    )
    assert np.allclose(found, np.minimum(values, held), atol=1e-12)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_only_lengths_that_way_are_drawn_back_and_only_near(side):
    points, triangles, _ = sheet(lambda x, y: 0 * x, side=SIDE)
    windows = windows_on(points, triangles, upright(points), (0.15, 0.3))
    place = np.linalg.norm(points[:, :2] - 0.6, axis=1) < 0.1
    before = np.full((3, len(points)), 0.01 * side)
    after = before.copy()
    after[2, place] = 0.03 * side
    broken = broken_by(windows, before, after, np.full(before.shape, np.nan), Bounds(1.1, 0.0, 0.001))
    assert broken.worse[2].any()
    assert not broken.worse[:2].any()
    rings = rings_of(triangles, len(points))
    outward, inward = drawn(rings, broken, broken.worse.astype(int), np.zeros_like(broken.worse, int), 4)
    asked, left = (outward, inward) if side > 0 else (inward, outward)
    assert (left == 1.0).all()
    # every window that reaches the place, and a ring more
    far = np.linalg.norm(points[:, :2] - 0.6, axis=1) > 0.1 + 0.075 + 0.15 / 6 + 2 * EDGE
    assert (asked[far] == 1.0).all()
    # e0·e1 > e0·e0: any share ends worse, but for the micrometre
    assert asked[place].max() < SAFE_SHARE * 0.2
    given = drawn(rings, broken, GIVEN_UP * broken.worse, np.zeros_like(broken.worse, int), 4)
    assert (np.minimum(*given)[broken.worse[2]] == 0.0).all()


def test_the_share_that_is_kept_ends_no_worse():
    """Residuals that move in proportion to what is kept: at the share told, the window's RMS is where it may be."""
    points, triangles, _ = sheet(lambda x, y: 0 * x, side=SIDE)
    windows = windows_on(points, triangles, upright(points), (0.15, 0.3))
    rng = np.random.default_rng(5)
    before = ndimage.gaussian_filter(rng.normal(0, 1, (3, 61, 61)), (0, 6, 6)).reshape(3, -1) * 0.2 + 0.01
    moved = ndimage.gaussian_filter(rng.normal(0, 1, (3, 61, 61)), (0, 6, 6)).reshape(3, -1) * 0.3 - 0.01
    none = np.full(before.shape, np.nan)
    broken = broken_by(windows, before, before + moved, none, Bounds(1.1, 0.0, 0.001))
    row = 1
    some = np.flatnonzero(broken.worse[row] & (broken.share[row] > 0))[::97]
    assert len(some) > 5
    for vertex in some:
        part = before + broken.share[row, vertex] * moved
        again = broken_by(windows, before, part, none, Bounds(1.1, 0.0, 0.001))
        # e² + 2 e t is a little less than (e + t)²
        assert 0.0 <= again.worse_by[row, vertex] <= 0.001 + 1e-9


@given(seed=st.integers(0, 10**6))
@settings(max_examples=8, deadline=None)
def test_on_random_heaps_no_place_ends_worse_or_too_deep_in_any_scenario(seed):
    """Heaps of 0.1 to 0.4 mm, up to 0.2 mm high, in a process whose figures lie as wide apart as those of decision 0008."""
    rng = np.random.default_rng(seed)
    wide = rng.uniform(0.1, 0.4)
    noise = ndimage.gaussian_filter(rng.normal(0, 1, (61, 61)), wide / 2 / EDGE)
    noise *= rng.uniform(0.02, 0.2) / np.ptp(noise)
    points, triangles, _ = sheet(lambda x, y: noise, side=SIDE)
    body = points, triangles, upright(points)
    found = carry(forward_on(points), *body, steps=2, gain=0.7, worse_mm=0.001, rounds=20)
    assert (worse_by(body, found) <= 0.001).all()
    assert found.worse_count == found.over_count == 0
    plain, after = (
        retention(windows_on(*body, (0.15, 0.3, 0.6)), e).finest for e in (found.before_mm, found.after_mm)
    )
    known = ~np.isnan(after)
    assert (after[known] <= np.maximum(1.10, plain[known] + 0.005)).all()
    assert np.abs(found.length_mm).max() <= CAP_MM
