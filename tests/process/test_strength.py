"""Beams: sections by quadrature, bending by integrating the beam's equation, and ranges by material."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from firstcast.errors import InputError
from firstcast.process.materials import catalogue, choose, overridden
from firstcast.process.strength import (
    FIXED_FREE,
    PINNED_PINNED,
    BladeSection,
    RoundSection,
    bears,
    breaking_load_n,
    cast,
    cured,
    deflecting_load_n,
    euler_load_n,
    green,
    pull_load_n,
    root_stress_mpa,
    tip_deflection_mm,
)

SIZES = st.floats(0.1, 5)
SECTIONS = st.one_of(SIZES.map(RoundSection), st.builds(BladeSection, SIZES, SIZES))


@given(SIZES)
def test_a_round_section_by_quadrature(diameter):
    radius = diameter / 2
    moment = quad(lambda y: 2 * y * y * math.sqrt(max(radius**2 - y * y, 0)), -radius, radius, epsabs=0)[0]
    section = RoundSection(diameter)
    assert section.second_moment_mm4 == pytest.approx(moment, rel=1e-6)
    assert section.modulus_mm3 == pytest.approx(section.second_moment_mm4 / radius)
    assert section.area_mm2 == pytest.approx(math.pi * radius**2)


@given(SIZES, SIZES)
def test_a_blade_by_quadrature(width, thickness):
    section = BladeSection(width, thickness)
    moment = quad(lambda y: width * y * y, -thickness / 2, thickness / 2, epsabs=0)[0]
    assert section.second_moment_mm4 == pytest.approx(moment, rel=1e-9)
    assert section.modulus_mm3 == pytest.approx(section.second_moment_mm4 / (thickness / 2))


def test_a_cantilever_by_integrating_its_curvature():
    # y'' = F (L - x) / E I from the fixed root, by Runge and Kutta to 1e-9.
    load, modulus, length, section = 0.05, 1800.0, 7.0, BladeSection(2.0, 0.6)
    stiff = modulus * section.second_moment_mm4
    bent = solve_ivp(lambda x, y: [y[1], load * (length - x) / stiff], (0, length), [0, 0], rtol=1e-9)
    assert tip_deflection_mm(load, modulus, section, length) == pytest.approx(bent.y[0, -1], rel=1e-6)


def test_eulers_load_is_the_least_eigenvalue_of_the_beam():
    # -E I y'' = P y, pinned at both ends, on 400 intervals: second order, so to 1e-5.
    modulus, length, section, count = 1500.0, 12.0, RoundSection(0.7), 400
    step = length / count
    second = (np.diag(np.full(count - 1, 2.0)) - np.eye(count - 1, k=1) - np.eye(count - 1, k=-1)) / step**2
    least = modulus * section.second_moment_mm4 * np.linalg.eigvalsh(second)[0]
    assert euler_load_n(modulus, section, length, PINNED_PINNED) == pytest.approx(least, rel=1e-5)
    # A pin fixed at one end is half of one twice as long, pinned at both.
    assert euler_load_n(modulus, section, length, FIXED_FREE) == pytest.approx(
        euler_load_n(modulus, section, 2 * length, PINNED_PINNED)
    )


@given(SECTIONS, st.floats(1, 30), st.floats(1, 100), st.floats(10, 1e5))
def test_loads_go_both_ways(section, length, strength, modulus):
    load = breaking_load_n(strength, section, length)
    assert root_stress_mpa(load, section, length) == pytest.approx(strength)
    bend = tip_deflection_mm(load, modulus, section, length)
    assert deflecting_load_n(bend, modulus, section, length) == pytest.approx(load)


@given(SECTIONS, st.floats(1, 30), st.floats(1.01, 3))
def test_longer_bears_less_and_thicker_more(section, length, times):
    assert breaking_load_n(30, section, length * times) < breaking_load_n(30, section, length)
    assert euler_load_n(1500, section, length * times) < euler_load_n(1500, section, length)
    thicker = (
        RoundSection(section.diameter_mm * times)
        if isinstance(section, RoundSection)
        else BladeSection(section.width_mm, section.thickness_mm * times)
    )
    assert breaking_load_n(30, thicker, length) > breaking_load_n(30, section, length)
    assert euler_load_n(1500, thicker, length) > euler_load_n(1500, section, length)
    assert pull_load_n(30, thicker) > pull_load_n(30, section)


def test_what_a_pin_bears_by_material():
    resin = choose("resin", "tough")
    pin = RoundSection(0.8)
    raw, hard = bears(green(resin), pin, 10.0), bears(cured(resin), pin, 10.0)
    for figure in ("buckles_n", "breaks_n"):
        assert getattr(raw, figure).likely < getattr(hard, figure).likely
    assert hard.breaks_n.likely == pytest.approx(breaking_load_n(resin.strength_mpa.likely, pin, 10.0))
    assert hard.buckles_n.high == pytest.approx(euler_load_n(resin.modulus_mpa.high, pin, 10.0))
    assert hard.gives_mm.low == pytest.approx(
        tip_deflection_mm(hard.breaks_n.low, resin.modulus_mpa.high, pin, 10.0)
    )
    assert hard.gives_mm.low < hard.gives_mm.likely < hard.gives_mm.high


def test_every_material_that_is_made_of_something_bears_something():
    stuffs = [state(resin) for resin in catalogue("resin").values() for state in (green, cured)]
    stuffs += [cast(casting) for casting in catalogue("cast").values() if casting.family != "none"]
    for stuff in stuffs:
        found = bears(stuff, BladeSection(2.0, 0.6), 6.0)
        assert 0 < found.breaks_n.low <= found.breaks_n.high
        assert not found.breaks_n.calibrated
        assert not found.gives_mm.calibrated


def test_bearing_is_calibrated_by_the_makers_figures():
    mine = overridden(choose("resin", "tough"), {"modulus_mpa": 1500, "strength_mpa": 40}, where="resin")
    found = bears(cured(mine), RoundSection(1.0), 10.0)
    assert found.breaks_n.calibrated
    assert found.buckles_n.calibrated
    assert found.gives_mm.calibrated
    half = overridden(choose("resin", "tough"), {"modulus_mpa": 1500}, where="resin")
    assert not bears(cured(half), RoundSection(1.0), 10.0).gives_mm.calibrated


def test_nothing_bears_nothing():
    with pytest.raises(InputError, match="no modulus"):
        bears(cast(choose("cast", "none")), RoundSection(1.0), 5.0)
    for make in (lambda: RoundSection(0.0), lambda: BladeSection(1.0, math.nan)):
        with pytest.raises(InputError, match="a section of"):
            make()
