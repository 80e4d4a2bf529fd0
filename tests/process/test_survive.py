"""Heat, pressure and cure inhibition while the mould is made."""

from dataclasses import replace

import pytest

from firstcast.process.materials import choose
from firstcast.process.survive import heat_margin_degC, inhibits, pressing_stress_mpa, warm_growth_ratio
from firstcast.ranges import Range
from firstcast.vocabulary import Basis

TOUGH = choose("resin", "tough")
VULCANISED = choose("mould", "vulcanised-rubber")
POURED = choose("mould", "addition-silicone-30a")


def degrees(low, likely, high, basis=Basis.MAKER):
    return Range(low, likely, high, "degC", basis)


def test_the_heat_margin_pairs_the_far_ends():
    resin = replace(TOUGH, heat_deflection_degC=degrees(50, 60, 70))
    mould = replace(VULCANISED, cure_degC=degrees(40, 55, 65))
    margin = heat_margin_degC(resin, mould)
    assert (margin.low, margin.likely, margin.high) == (-15, 5, 30)
    assert margin.calibrated


def test_the_margin_is_no_surer_than_the_less_sure_figure():
    resin = replace(TOUGH, heat_deflection_degC=degrees(50, 60, 70))
    assert not heat_margin_degC(resin, VULCANISED).calibrated
    assert not heat_margin_degC(TOUGH, replace(VULCANISED, cure_degC=degrees(150, 150, 150))).calibrated


def test_vulcanising_is_too_hot_for_common_resins_and_poured_silicone_is_not():
    assert heat_margin_degC(TOUGH, VULCANISED).high < 0
    assert heat_margin_degC(TOUGH, POURED).low > 0


def test_pressing_bends_like_a_cantilever():
    mould = replace(
        VULCANISED,
        cure_pressure_mpa=Range.exactly(2.0, "MPa"),
        uneven_pressure_ratio=Range.exactly(0.05, "ratio"),
    )
    # p 0.1 MPa on a blade 10 mm long and 1 mm thick: M = 0.1 * 100 / 2 = 5 N per mm, W = 1/6 mm2: 30 MPa.
    assert pressing_stress_mpa(mould, 10.0, 1.0).likely == pytest.approx(30.0)
    assert pressing_stress_mpa(mould, 20.0, 1.0).likely == pytest.approx(120.0)
    assert pressing_stress_mpa(mould, 10.0, 2.0).likely == pytest.approx(7.5)
    assert pressing_stress_mpa(POURED, 10.0, 1.0).high == 0.0


def test_only_addition_cure_silicone_is_inhibited():
    assert inhibits(TOUGH, POURED)
    assert not inhibits(TOUGH, choose("mould", "tin-silicone-30a"))
    assert not inhibits(TOUGH, VULCANISED)
    assert not inhibits(replace(TOUGH, inhibits_addition_cure=False), POURED)


def test_warmth_grows_the_cavity():
    mould = replace(
        POURED, expansion_per_degC=Range.exactly(0.0003, "1/degC"), running_degC=degrees(23, 73, 93)
    )
    growth = warm_growth_ratio(mould)
    # 50 degrees warmer at 0.03 % per degree: 1.5 % larger.
    assert growth.likely == pytest.approx(-0.015)
    assert growth.low == pytest.approx(-0.021)
    assert growth.high == pytest.approx(0.0)
