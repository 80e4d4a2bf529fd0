"""What peels and what bears it: published values, closed forms, a wedge integrated, bolts by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.process.peel import (
    bearing_slope_deg,
    bending_reach_mm,
    moment_left,
    neck_bears_n,
    neck_for_mm,
    sagging_reach_mm,
    share_load,
)
from firstcast.process.strength import BladeSection, breaking_load_n, separation_load_n, tip_deflection_mm


def test_a_neck_of_0_3_mm_at_30_mpa_holds_2_1206_n():
    # π 0.3² / 4 · 30
    assert neck_bears_n(30.0, 0.3, 1.0) == pytest.approx(2.1206, abs=5e-5)
    assert neck_bears_n(30.0, 0.3, 2.0) == pytest.approx(1.0603, abs=5e-5)
    assert neck_for_mm(2.1206, 30.0, 1.0) == pytest.approx(0.3, abs=1e-5)
    assert neck_for_mm(0.0, 30.0, 2.0) == 0.0


def test_a_cup_of_20_mm_at_50_kpa_pulls_15_708_n():
    assert separation_load_n(50.0, np.pi * 100.0) == pytest.approx(15.708, abs=5e-4)


def test_a_plate_at_its_reach_is_at_its_strength():
    stress, strength, thick = 15.0, 2.5, 0.12
    reach = bending_reach_mm(stress, strength, thick)
    # a strip 1 mm wide: the whole load at half its length has the root moment of the even load
    load = stress * 1e-3 * reach
    assert load == pytest.approx(breaking_load_n(strength, BladeSection(1.0, thick), reach / 2.0))


def test_a_plate_at_its_sag_bends_as_three_eighths_of_a_load_at_its_end():
    stress, modulus, thick, sag = 15.0, 150.0, 0.12, 0.025
    reach = sagging_reach_mm(stress, modulus, thick, sag)
    # w = q L⁴ / 8 E I is 3/8 of F L³ / 3 E I with F = q L
    end = tip_deflection_mm(stress * 1e-3 * reach, modulus, BladeSection(1.0, thick), reach)
    assert 3.0 / 8.0 * end == pytest.approx(sag)


def test_a_wedge_at_its_slope_has_the_strength_everywhere():
    stress, strength = 50.0, 5.0
    slope = np.tan(np.radians(bearing_slope_deg(stress, strength)))
    x = np.linspace(0.1, 9.0, 2001)
    even = np.full_like(x, stress * 1e-3)
    # moment by summing the load twice, from the edge: at 0.1 mm from it, q x² / 2
    step = x[1] - x[0]
    shear = even[0] * x[0] + np.concatenate([[0.0], np.cumsum(0.5 * step * (even[1:] + even[:-1]))])
    moment = 0.5 * even[0] * x[0] ** 2 + np.concatenate(
        [[0.0], np.cumsum(0.5 * step * (shear[1:] + shear[:-1]))]
    )
    bending = moment / ((x * slope) ** 2 / 6.0)
    assert bending == pytest.approx(strength, rel=1e-6)


def test_two_bolts_share_as_a_lever_does():
    places = np.array([[0.0, 0.0], [10.0, 0.0]])
    shared = share_load(places, np.ones(2), 1.0, np.array([2.5, 0.0]))
    assert shared == pytest.approx([0.75, 0.25])
    outside = share_load(places, np.array([1.0, 3.0]), 1.0, np.array([12.0, 0.0]))
    assert outside == pytest.approx([-0.2, 1.2])
    # across the row it holds nothing
    aside = share_load(places, np.ones(2), 1.0, np.array([5.0, 3.0]))
    assert aside == pytest.approx([0.5, 0.5])
    assert moment_left(places, aside, 1.0, np.array([5.0, 3.0])) == pytest.approx(3.0)


def test_four_bolts_in_a_square_by_the_textbook():
    """F / n + F e r / Σ r², with the load off the middle along x (any textbook of machine parts)."""
    half, away, load = 3.0, 5.0, 8.0
    places = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float64)
    shared = share_load(places, np.ones(4), load, np.array([away, 0.0]))
    wanted = load / 4 + load * away * places[:, 0] / (4 * half**2)
    assert shared == pytest.approx(wanted)


@given(
    st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20), st.floats(0.05, 3)), min_size=3, max_size=12),
    st.tuples(st.floats(-20, 20), st.floats(-20, 20)),
)
@settings(max_examples=150, deadline=None)
def test_shares_make_up_the_load_and_its_moment(bolts, at):
    table = np.array(bolts)
    places, weights = table[:, :2], table[:, 2]
    spread = np.linalg.svd(places - weights @ places / weights.sum(), compute_uv=False)
    shared = share_load(places, weights, 2.0, np.array(at))
    assert shared.sum() == pytest.approx(2.0, abs=1e-9)
    if spread[1] > 0.5:
        # wide enough both ways that nothing of the moment is left out
        assert moment_left(places, shared, 2.0, np.array(at)) == pytest.approx(0.0, abs=1e-7)


def test_figures_that_make_no_sense_are_refused():
    with pytest.raises(InputError, match="above zero"):
        bending_reach_mm(0.0, 5.0, 0.1)
    with pytest.raises(InputError, match="above zero"):
        neck_bears_n(5.0, 0.3, 0.0)
