"""What peels and what bears it: published values, closed forms, a wedge integrated."""

import numpy as np
import pytest

from firstcast.errors import InputError
from firstcast.process.peel import (
    bearing_slope_deg,
    bending_reach_mm,
    neck_bears_n,
    sagging_reach_mm,
)
from firstcast.process.strength import BladeSection, breaking_load_n, separation_load_n, tip_deflection_mm


def test_a_neck_of_0_3_mm_at_30_mpa_holds_2_1206_n():
    # π 0.3² / 4 · 30
    assert neck_bears_n(30.0, 0.3, 1.0) == pytest.approx(2.1206, abs=5e-5)
    assert neck_bears_n(30.0, 0.3, 2.0) == pytest.approx(1.0603, abs=5e-5)


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


def test_figures_that_make_no_sense_are_refused():
    with pytest.raises(InputError, match="above zero"):
        bending_reach_mm(0.0, 5.0, 0.1)
    with pytest.raises(InputError, match="above zero"):
        neck_bears_n(5.0, 0.3, 0.0)
