"""Films: thickness, levelling radius, and closed forms of a closing against one done by brute force."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.process.films import (
    NO_FILM,
    paint_film,
    primer_film,
    sine_groove_left_mm,
    square_groove_left_mm,
    v_groove_left_mm,
    v_groove_size_ratio,
    v_groove_width_mm,
)
from firstcast.process.materials import choose, overridden
from firstcast.ranges import SCENARIOS
from firstcast.vocabulary import Basis

BRUSHED = choose("paint", "brushed")


def closed_depth(profile, step, radius):
    """Depth left of a profile, one period of heights, after discs of a radius have rolled over it.

    Dilation then erosion by a disc, each taken over all places within its reach. Independent of the formulas.
    """
    reach = int(radius / step)
    offsets = np.arange(-reach, reach + 1)
    disc = np.sqrt(np.maximum(radius**2 - (offsets * step) ** 2, 0))
    centre = np.max(
        [np.roll(profile, shift) + rise for shift, rise in zip(offsets, disc, strict=True)], axis=0
    )
    closed = np.min(
        [np.roll(centre, shift) - rise for shift, rise in zip(offsets, disc, strict=True)], axis=0
    )
    assert (closed >= profile - 1e-12).all()
    return closed.max() - closed.min()


def rolled(profile, step, radius, *, outside):
    """A profile grown by a disc, or eaten by one."""
    offsets = np.arange(-int(radius / step), int(radius / step) + 1)
    rises = np.sqrt(np.maximum(radius**2 - (offsets * step) ** 2, 0))
    moved = [
        np.roll(profile, shift) + (rise if outside else -rise)
        for shift, rise in zip(offsets, rises, strict=True)
    ]
    return np.max(moved, axis=0) if outside else np.min(moved, axis=0)


@pytest.mark.parametrize(("coat", "levels"), [(0.12, 0.0), (0.067, 0.067), (0.03, 0.09)])
def test_an_even_coat_that_levels_closes_by_one_ball(coat, levels):
    """Coated, levelled, the even thickness taken off: what the ratio 1 + levels / coat stands for."""
    period, width, depth, step = 0.6, 0.2, 0.1, 0.0005
    x = (np.arange(round(period / step)) + 0.5) * step - period / 2
    profile = np.where(np.abs(x) < width / 2, -depth, 0.0)
    outer = rolled(profile, step, coat, outside=True)
    outer = rolled(rolled(outer, step, levels, outside=True), step, levels, outside=False)
    seen = rolled(outer, step, coat, outside=False)
    # each disc is cut to the grid's step, which on its flank is a rise of up to √(2 R step)
    slack = np.sqrt(2 * (coat + levels) * step)
    expected = square_groove_left_mm(width, depth, coat + levels)
    assert expected < 0.7 * depth
    assert seen.max() - seen.min() == pytest.approx(expected, abs=slack)


@pytest.mark.parametrize("radius", [0.03, 0.05, 0.0501, 0.06, 0.1, 0.25])
def test_a_square_groove_as_discs_leave_it(radius):
    period, width, depth, step = 0.3, 0.1, 0.04, 0.0001
    x = (np.arange(round(period / step)) + 0.5) * step - period / 2
    profile = np.where(np.abs(x) < width / 2, -depth, 0.0)
    expected = square_groove_left_mm(width, depth, radius)
    # The grid widens the groove by up to a step, which moves a disc on its lips by w/4R steps, and by more where the
    # disc is just wider than the groove: √(2R step) there.
    slack = 2 * np.sqrt(2 * radius * step) if abs(2 * radius - width) < 2 * step else 2 * step
    assert closed_depth(profile, step, radius) == pytest.approx(expected, abs=slack)


@pytest.mark.parametrize("radius", [0.01, 0.02, 0.06, 0.1, 0.3])
@pytest.mark.parametrize(("period", "depth"), [(0.3, 0.1), (0.2, 0.06), (0.15, 0.2)])
def test_a_sine_as_discs_leave_it(period, depth, radius):
    step = period / 4000
    profile = -0.5 * depth * np.cos(2 * np.pi * np.arange(4000) / 4000)
    # Between samples a disc may sink by less than step²/8R or the sine's own slope times half a step.
    slack = step
    assert closed_depth(profile, step, radius) == pytest.approx(
        sine_groove_left_mm(period, depth, radius), abs=slack
    )


@given(st.floats(0.05, 2), st.floats(0.001, 0.5), st.floats(0.001, 1), st.floats(0.001, 1))
@settings(max_examples=200)
def test_a_larger_ball_leaves_less(width, depth, one, other):
    small, large = sorted((one, other))
    for left in (square_groove_left_mm, sine_groove_left_mm):
        assert 0 <= left(width, depth, large) <= left(width, depth, small) + 1e-12 <= depth + 2e-12


def v_profile(width, depth, bottom, step, period):
    """Heights of a V with a bottom rounded to a radius, its lands level; and the angle between its flanks."""
    x = np.arange(round(period / step)) * step - period / 2
    half = np.arctan2(width / 2, depth)
    flank = np.minimum(np.abs(x) / np.tan(half) - depth, 0.0)
    inside = np.abs(x) < bottom * np.cos(half)
    ball = bottom / np.sin(half) - depth - np.sqrt(np.maximum(bottom**2 - x**2, 0.0))
    return np.where(inside, ball, flank), np.degrees(2 * half)


@pytest.mark.parametrize("radius", [0.01, 0.04, 0.0670, 0.1, 0.2, 0.5])
@pytest.mark.parametrize(("width", "depth"), [(0.2, 0.2), (0.3, 0.1), (0.1, 0.15), (0.4, 0.4)])
@pytest.mark.parametrize("bottom", [0.0, 0.02])
def test_a_v_as_discs_leave_it(width, depth, bottom, radius):
    step = 0.0002
    profile, opening = v_profile(width, depth, bottom, step, width + 0.2)
    deep = float(np.ptp(profile))
    expected = v_groove_left_mm(width, deep, radius, opening_deg=opening)
    # between samples a disc sinks by up to the flank's slope times half a step
    assert closed_depth(profile, step, radius) == pytest.approx(
        expected, abs=step * max(1.0, 2 * depth / width)
    )
    if bottom == 0.0:
        assert v_groove_left_mm(width, deep, radius) == pytest.approx(expected, abs=1e-12)
        # the formula itself, where the disc lies between the flanks
        half = np.arctan2(width / 2, deep)
        if radius * np.cos(half) < width / 2:
            assert expected == pytest.approx(deep - radius * (1 / np.sin(half) - 1), abs=1e-12)


@given(st.floats(0.05, 1.0), st.floats(0.03, 1.0), st.floats(0.003, 1.0), st.floats(0.1, 0.9))
@settings(max_examples=300)
def test_how_much_larger_a_v_must_be_keeps_just_the_share(width, depth, radius, share):
    for opening in (None, 0.8 * np.degrees(2 * np.arctan2(width / 2, depth))):
        ratio = v_groove_size_ratio(width, depth, radius, share=share, opening_deg=opening)
        left = v_groove_left_mm(ratio * width, ratio * depth, radius, opening_deg=opening)
        assert left == pytest.approx(share * ratio * depth, rel=1e-9)
        smaller = v_groove_left_mm(0.9 * ratio * width, 0.9 * ratio * depth, radius, opening_deg=opening)
        assert smaller < share * 0.9 * ratio * depth


@given(st.floats(0.03, 1.0), st.floats(0.003, 1.0), st.floats(0.5, 0.95))
@settings(max_examples=200)
def test_how_wide_a_v_must_be_keeps_just_the_share(depth, radius, share):
    width = v_groove_width_mm(depth, radius, share=share)
    assert v_groove_left_mm(width, depth, radius) == pytest.approx(share * depth, rel=1e-6)


@given(st.floats(0.05, 1.0), st.floats(0.03, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
@settings(max_examples=200)
def test_a_larger_ball_leaves_less_of_a_v(width, depth, one, other):
    small, large = sorted((one, other))
    for opening in (None, 50.0, 120.0):
        less = v_groove_left_mm(width, depth, large, opening_deg=opening)
        assert 0 <= less <= v_groove_left_mm(width, depth, small, opening_deg=opening) + 1e-9
    assert v_groove_left_mm(width, depth, 0.0) == depth


def test_what_a_small_ball_reaches_stays():
    assert square_groove_left_mm(0.1, 0.04, 0.05) == 0.04
    assert square_groove_left_mm(0.1, 0.04, 0.0) == 0.04
    # A k² = 0.05 (2π/0.3)² = 21.93 per mm: a ball up to 0.0456 mm fits the trough.
    assert sine_groove_left_mm(0.3, 0.1, 0.0455) == 0.1
    assert sine_groove_left_mm(0.3, 0.1, 0.047) < 0.1
    assert sine_groove_left_mm(0.3, 0.0, 0.1) == 0.0
    assert sine_groove_left_mm(0.3, 0.1, 1 / (0.05 * (2 * np.pi / 0.3) ** 2) * (1 + 1e-15)) == pytest.approx(
        0.1
    )


def test_a_large_ball_hangs_like_a_parabola():
    # R - √(R² - w²/4) tends to w²/8R; so does a sine's, whose crests are a period apart.
    assert square_groove_left_mm(0.1, 1.0, 100.0) == pytest.approx(0.1**2 / 800, rel=1e-6)
    # Crests are round, so the ball touches a little short of them: less than 1 %.
    assert sine_groove_left_mm(0.1, 0.2, 20.0) == pytest.approx(0.1**2 / 160, rel=0.01)


def test_films_of_paint_by_scenario():
    for scenario in SCENARIOS:
        film = paint_film(BRUSHED, scenario)
        assert film.thickness_mm == BRUSHED.film_mm.scenario(scenario)
        assert film.radius_mm == film.thickness_mm * BRUSHED.level_ratio.scenario(scenario)
        assert not film.calibrated
        barrier = primer_film(BRUSHED, scenario)
        assert barrier.thickness_mm == BRUSHED.primer_mm.scenario(scenario)
        assert barrier.radius_mm < film.radius_mm
    none = paint_film(choose("paint", "none"), "high")
    assert (none.thickness_mm, none.radius_mm) == (NO_FILM.thickness_mm, NO_FILM.radius_mm)


def test_the_levelling_ratio_is_owned_up_to_as_an_assumption():
    for key in ("brushed", "airbrushed", "primer"):
        assert choose("paint", key).level_ratio.basis is Basis.DEFAULT


def test_a_film_is_calibrated_when_all_its_figures_are():
    mine = overridden(BRUSHED, {"primer_mm": 0.02, "coat_mm": 0.01, "coats": 3}, where="paint")
    assert not paint_film(mine, "likely").calibrated
    mine = overridden(mine, {"level_ratio": 1.2}, where="paint")
    film = paint_film(mine, "high")
    assert film.calibrated
    assert film.radius_mm == pytest.approx(0.05 * 1.2)
    assert primer_film(mine, "high").calibrated
    assert not primer_film(replace(mine, primer_mm=BRUSHED.primer_mm), "high").calibrated
