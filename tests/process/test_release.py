"""Rubber that lets a casting go: published formulas by value, energy as the integral of stress, ranges in order."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from firstcast.errors import InputError
from firstcast.process.materials import catalogue, choose
from firstcast.process.release import (
    flex_strain,
    gent_modulus_mpa,
    neo_hookean_energy_mj_m3,
    neo_hookean_stress_mpa,
    plug_strain,
    ring_strain,
    strained,
    tearing_energy_j_m2,
    tearing_stretch,
)

SHORE_30 = 1.1424


@pytest.mark.parametrize(
    ("shore", "modulus"),
    [(10, 0.4127), (20, 0.7319), (30, 1.1424), (40, 1.6896), (50, 2.4558), (60, 3.6051), (70, 5.5205)],
)
def test_modulus_from_hardness(shore, modulus):
    # A. N. Gent, Rubber Chemistry and Technology 31 (1958) 896; the formula from memory, values reckoned apart from this code
    assert gent_modulus_mpa(shore) == pytest.approx(modulus, abs=5e-5)


@pytest.mark.parametrize(("stretch", "stress", "energy"), [(2.0, 0.6664, 0.3808), (2.5, 0.8911, 0.7711)])
def test_neo_hookean_values(stretch, stress, energy):
    # any textbook of rubber elasticity, from memory; values reckoned apart from this code
    assert neo_hookean_stress_mpa(SHORE_30, stretch) == pytest.approx(stress, abs=5e-5)
    assert neo_hookean_energy_mj_m3(SHORE_30, stretch) == pytest.approx(energy, abs=5e-5)


@given(st.floats(0.1, 10.0), st.floats(1.001, 6.0))
def test_energy_is_the_integral_of_stress(modulus, stretch):
    work, _ = quad(lambda at: neo_hookean_stress_mpa(modulus, at), 1.0, stretch)
    assert neo_hookean_energy_mj_m3(modulus, stretch) == pytest.approx(work, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("stretch", "energy"), [(2.0, 807.8), (2.5, 1463.1), (3.0, 2198.5)])
def test_tearing_energy_of_a_nick(stretch, energy):
    # H. W. Greensmith, J. Applied Polymer Science 7 (1963) 993: K = 3 / √λ; from memory, values reckoned apart from this code
    assert tearing_energy_j_m2(SHORE_30, stretch, 0.5) == pytest.approx(energy, abs=0.06)


@given(st.floats(0.2, 6.0), st.floats(1.0, 40.0), st.floats(0.1, 2.0))
def test_a_nick_runs_on_where_its_energy_reaches_the_strength(modulus, tear, nick):
    stretch = tearing_stretch(modulus, tear, nick)
    assert tearing_energy_j_m2(modulus, stretch, nick) == pytest.approx(1e3 * tear, rel=1e-9)


def test_a_ball_of_10_through_a_neck_of_4_stretches_it_by_150_per_cent():
    strain = ring_strain(10.0, 4.0)
    assert strain.likely == pytest.approx(1.5)
    assert (strain.low, strain.high) == pytest.approx((0.75, 1.5))
    assert ring_strain(4.0, 10.0).high == 0.0


def test_a_plug_lengthens_by_its_sections():
    assert plug_strain(100.0, 16.0).likely == pytest.approx(5.25)
    assert plug_strain(100.0, 16.0).low == pytest.approx(1.5)
    assert plug_strain(10.0, 16.0).high == 0.0


def test_rubber_under_a_ledge_gives_way_or_folds():
    # shallow and thick: the wall gives by 1 in 9; thin and deep: it folds, π/4 · 0.5/5
    assert flex_strain(1.0, 5.0, 9.0).likely == pytest.approx(1.0 / 9.0)
    assert flex_strain(5.0, 0.5, 9.0).likely == pytest.approx(math.pi / 40.0)


lengths = st.floats(0.01, 100.0)


@given(lengths, lengths, st.floats(0.0, 2.0))
def test_ranges_widen_with_what_is_not_known(one, two, slack):
    for strain, sharp in (
        (ring_strain(one, two, slack), ring_strain(one, two)),
        (plug_strain(one, two, slack), plug_strain(one, two)),
    ):
        assert 0.0 <= strain.low <= strain.likely <= strain.high
        assert strain.likely == sharp.likely
        assert strain.high >= sharp.high
        assert not strain.calibrated


def test_held_against_a_rubber():
    rubber = choose("mould", "addition-silicone-30a")
    asks = strained(ring_strain(10.0, 4.0), rubber)
    assert asks.of_break.likely == pytest.approx(1.5 / 3.4)
    assert asks.of_break.low == pytest.approx(0.75 / 4.5)
    assert asks.of_break.high == pytest.approx(1.5 / 2.5)
    assert asks.first == "break"
    assert asks.share == asks.of_break.likely


def test_every_rubber_of_ours_can_be_asked():
    for mould in catalogue("mould").values():
        if mould.chemistry in ("metal", "none"):
            with pytest.raises(InputError, match="neither stretches nor tears"):
                strained(ring_strain(2.0, 1.0), mould)
        else:
            shares = [strained(ring_strain(bulb, 1.0), mould).share for bulb in np.linspace(1.0, 5.0, 9)]
            assert shares == sorted(shares)


def test_what_can_not_be_is_refused():
    for call in (
        lambda: gent_modulus_mpa(100.0),
        lambda: ring_strain(1.0, 0.0),
        lambda: plug_strain(0.0, 1.0),
        lambda: flex_strain(1.0, math.nan, 1.0),
    ):
        with pytest.raises(InputError):
            call()
