"""Computed values of props, necks and cups; tolerance half the last digit."""

import math

import pytest

from firstcast.process.strength import (
    RoundSection,
    euler_load_n,
    pull_load_n,
    root_stress_mpa,
    separation_load_n,
    suction_load_n,
    tip_deflection_mm,
)

PROP = RoundSection(0.8)


@pytest.mark.parametrize(
    ("effective", "load_n", "digits"), [(0.5, 2.9766, 4), (0.7, 1.5187, 4), (1, 0.74415, 5), (2, 0.18604, 5)]
)
def test_eulers_load(effective, load_n, digits):
    # E 1.5 GPa, Ø0.8 mm, 20 mm.
    assert euler_load_n(1500, PROP, 20, effective) == pytest.approx(load_n, abs=0.5 * 10.0**-digits)


def test_a_cantilever():
    # 0.1 N at 10 mm on Ø0.8 mm, E 1.5 GPa: 1.1052 mm, 19.894 MPa.
    assert tip_deflection_mm(0.1, 1500, PROP, 10) == pytest.approx(1.1052, abs=5e-5)
    assert root_stress_mpa(0.1, PROP, 10) == pytest.approx(19.894, abs=5e-4)


def test_a_neck_and_a_cup():
    # Ø0.3 mm at 30 MPa holds 2.1206 N; a cup Ø20 mm at 50 kPa pulls 15.708 N.
    assert pull_load_n(30, RoundSection(0.3)) == pytest.approx(2.1206, abs=5e-5)
    assert separation_load_n(50, math.pi * 10**2) == pytest.approx(15.708, abs=5e-4)


def test_stefans_suction():
    # F = 3πμvR⁴/(2h³): μ 0.2 Pa s, v 1 mm/s, R 10 mm, h 0.1 mm gives 9.425 N, 30.0 kPa in the mean.
    load = suction_load_n(0.2, 1.0, 10.0, 0.1)
    assert load == pytest.approx(9.425, abs=5e-4)
    assert 1000 * load / (math.pi * 10**2) == pytest.approx(30.0, abs=0.05)
    assert suction_load_n(0.2, 1.0, 20.0, 0.1) / load == pytest.approx(16)
    assert suction_load_n(0.2, 1.0, 10.0, 0.05) / load == pytest.approx(8)
