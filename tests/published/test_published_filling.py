"""Published and computed values of surface tension against head, spin and pressure."""

import pytest

from firstcast.process.filling import (
    PIN,
    SLIT,
    boyle_ratio,
    bubble_ratio,
    capillary_pressure_pa,
    fills_from_mm,
    head_mm,
    least_radius_mm,
    spin_pressure_pa,
)

# Young and Laplace with σ 0.5 N/m and θ 150°, computed by hand; tolerance half the last digit.
TENSION, ANGLE = 0.5, 150.0


@pytest.mark.parametrize(
    ("diameter_mm", "pressure_pa"),
    [(0.1, 17320.5), (0.2, 8660.3), (0.3, 5773.5), (0.5, 3464.1), (1.0, 1732.1)],
)
def test_metal_enters_a_pin_or_half_as_hard_a_slit(diameter_mm, pressure_pa):
    assert capillary_pressure_pa(TENSION, ANGLE, diameter_mm, PIN) == pytest.approx(pressure_pa, abs=0.05)
    assert capillary_pressure_pa(TENSION, ANGLE, diameter_mm, SLIT) == pytest.approx(
        pressure_pa / 2, abs=0.05
    )
    # The printed pressure is good to 0.05 Pa.
    found = 2 * least_radius_mm(TENSION, ANGLE, pressure_pa, PIN)
    assert found == pytest.approx(diameter_mm, rel=0.05 / pressure_pa)


def test_the_head_that_a_pin_needs():
    # 7300 kg/m³, Ø0.3 mm: 80.6 mm of head. Computed with g = 9.81; ours is standard gravity.
    assert head_mm(5773.5, 7.3) == pytest.approx(80.6, abs=0.05)


@pytest.mark.parametrize(
    ("rpm", "from_mm", "to_mm", "pressure_pa"), [(400, 20, 100, 61481), (500, 30, 110, 112075)]
)
def test_a_rotating_liquid(rpm, from_mm, to_mm, pressure_pa):
    # ΔP = ρ ω² (r2² - r1²) / 2 at 7300 kg/m³.
    assert spin_pressure_pa(7.3, rpm, from_mm, to_mm) == pytest.approx(pressure_pa, abs=0.5)


def test_where_a_spun_pin_begins_to_fill():
    # Ø0.3 mm fills from r = 36.08 mm on: r1 20 mm, 400 rpm, 7300 kg/m³.
    assert fills_from_mm(5773.5, 7.3, 400, 20) == pytest.approx(36.08, abs=5e-3)


def test_boyle_in_pot_and_vacuum():
    # 29 of 29.92 inHg of vacuum swells air 32.5 times; 60 psi above an atmosphere shrinks a bubble to 0.5816.
    assert boyle_ratio(29.92, 29.92 - 29) == pytest.approx(32.5, abs=0.05)
    assert bubble_ratio(60 * 6.894757) == pytest.approx(0.5816, abs=5e-5)
