"""Published and computed values of light in resin."""

import math

import pytest

from firstcast.process.light import (
    cure_depth_mm,
    exposure_mj_cm2,
    exposure_time_s,
    laser_line_width_mm,
    overdose_ratio,
)
from firstcast.process.spread import GaussianSpread

# Working curve Cd = Dp ln(E0 / Ec): P. F. Jacobs, Rapid Prototyping & Manufacturing (1992).
# Dp 100 µm, Ec 5 mJ/cm²: values computed from the formula by hand, tolerance half the last digit.
DP_MM, EC_MJ = 0.100, 5.0


@pytest.mark.parametrize(("exposure", "cured_um"), [(10, 69.3147), (20, 138.6294), (40, 207.9442)])
def test_the_working_curve(exposure, cured_um):
    assert 1000 * cure_depth_mm(exposure, EC_MJ, DP_MM) == pytest.approx(cured_um, abs=5e-5)


def test_the_working_curve_turned_round_and_the_time_it_takes():
    # Cd 75 µm: 10.5850 mJ/cm², at 2.5 mW/cm² 4.2340 s.
    exposure = exposure_mj_cm2(0.075, EC_MJ, DP_MM)
    assert exposure == pytest.approx(10.5850, abs=5e-5)
    assert exposure_time_s(exposure, 2.5) == pytest.approx(4.2340, abs=5e-5)


def test_a_laser_line_is_as_wide_as_jacobs_says():
    # Lw = B √(Cd / 2 Dp): B 250, Cd 150, Dp 150 µm gives 176.78 µm (Jacobs; high confidence).
    assert 1000 * laser_line_width_mm(0.250, 0.150, 0.150) == pytest.approx(176.78, abs=5e-3)


@pytest.mark.parametrize(
    ("beam", "cured", "depth"), [(0.25, 0.15, 0.15), (0.1, 0.3, 0.12), (0.07, 0.02, 0.28)]
)
def test_the_spread_model_gives_the_laser_line_by_its_own_path(beam, cured, depth):
    # A beam B wide at 1/e² of its peak has σ = B / 4; the line cures where l(y) / l(0) ≥ Ec / E0.
    spread, overdose = GaussianSpread(beam / 4), overdose_ratio(cured, depth)
    width = spread.line_width_mm(overdose)
    assert width == pytest.approx(laser_line_width_mm(beam, cured, depth), rel=1e-13)
    at_edge = spread.line_spread(width / 2) / spread.line_spread(0.0)
    assert at_edge == pytest.approx(1 / overdose, rel=1e-12)
    assert math.isclose(depth * math.log(overdose), cured, rel_tol=1e-12)
