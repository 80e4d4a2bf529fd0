"""Least radii: which liquids have one, what pushes, and what a corner keeps empty."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.process.filling import (
    PIN,
    SLIT,
    Shot,
    capillary_pressure_pa,
    cast_fill,
    corner_gap_mm,
    fills_from_mm,
    head_mm,
    head_pressure_pa,
    least_radius_mm,
    mould_fill,
    shot_of,
    shot_pressure_pa,
    spin_pressure_pa,
)
from firstcast.process.materials import catalogue, choose, overridden
from firstcast.ranges import Range
from firstcast.vocabulary import Basis

TENSIONS = st.floats(0.01, 0.9)
PRESSURES = st.floats(10, 1e6)


def given_range(low, likely, high, unit):
    return Range(low, likely, high, unit, Basis.MAKER)


@given(TENSIONS, st.floats(91, 180), PRESSURES, st.sampled_from([PIN, SLIT]))
def test_least_radius_and_pressure_are_inverse(tension, angle, pressure, form):
    radius = least_radius_mm(tension, angle, pressure, form)
    assert capillary_pressure_pa(tension, angle, 2 * radius, form) == pytest.approx(pressure, rel=1e-9)


@given(TENSIONS, st.floats(0, 90), PRESSURES)
def test_what_wets_has_no_least_radius(tension, angle, pressure):
    assert least_radius_mm(tension, angle, pressure) == 0.0
    assert capillary_pressure_pa(tension, angle, 0.3) <= 1e-9
    assert least_radius_mm(tension, angle, 0.0) == 0.0


@given(TENSIONS, st.floats(91, 180), PRESSURES, PRESSURES)
def test_more_pressure_fills_finer(tension, angle, one, other):
    less, more = sorted((one, other))
    assert least_radius_mm(tension, angle, more) <= least_radius_mm(tension, angle, less)
    assert least_radius_mm(tension, angle, less, SLIT) == pytest.approx(
        least_radius_mm(tension, angle, less) / 2
    )
    assert least_radius_mm(tension, angle, 0.0) == math.inf


@given(TENSIONS, st.floats(0, 180), PRESSURES, st.floats(10, 170))
def test_a_corner_keeps_less_empty_than_a_ball_does(tension, angle, pressure, corner):
    gap = corner_gap_mm(tension, angle, pressure, corner)
    radius = 1000 * tension / pressure
    ball = radius / math.sin(math.radians(corner / 2)) - radius
    assert 0 <= gap <= ball + 1e-12
    # Concus and Finn: the corner fills up to an angle of 90° and half the corner.
    if angle <= 90 + corner / 2 - 1e-6:
        assert gap == 0
    if angle >= 90 + corner / 2 + 1e-3:
        assert gap > 0


def test_a_right_corner_by_geometry():
    # r = 0.1 mm, 150°: the arc's centre is r cos 30° from both walls, so √2 r cos 30° - r from the edge to the arc.
    gap = corner_gap_mm(0.5, 150.0, 5000.0, 90.0)
    assert gap == pytest.approx(0.1 * (math.sqrt(2) * math.cos(math.pi / 6) - 1))
    assert corner_gap_mm(0.5, 150.0, 0.0, 90.0) == math.inf


@given(st.floats(1, 200), st.floats(0.9, 12))
def test_head_goes_both_ways(head, density):
    assert head_mm(head_pressure_pa(head, density), density) == pytest.approx(head)


@given(st.floats(0.9, 12), st.floats(100, 900), st.floats(0, 60), st.floats(1, 200))
def test_spin_goes_both_ways(density, rpm, surface, further):
    at = surface + further
    pressure = spin_pressure_pa(density, rpm, surface, at)
    assert fills_from_mm(pressure, density, rpm, surface) == pytest.approx(at)
    assert spin_pressure_pa(density, rpm, at, surface) == 0.0


def test_the_shots_pressure_pairs_what_pushes_least():
    shot = Shot(
        "mine",
        "mine",
        head_mm=given_range(10, 20, 30, "mm"),
        gauge_kpa=given_range(0, 1, 2, "kPa"),
        speed_rpm=given_range(300, 400, 500, "rpm"),
        surface_radius_mm=given_range(20, 25, 30, "mm"),
        detail_radius_mm=given_range(40, 60, 80, "mm"),
    )
    density = given_range(7.2, 7.3, 7.4, "g/cm3")
    pressure = shot_pressure_pa(shot, density)
    assert pressure.low == pytest.approx(head_pressure_pa(10, 7.2) + spin_pressure_pa(7.2, 300, 30, 40))
    assert pressure.high == pytest.approx(
        head_pressure_pa(30, 7.4) + 2000 + spin_pressure_pa(7.4, 500, 20, 80)
    )
    assert pressure.calibrated
    assert not shot_pressure_pa(shot_of("spin"), density).calibrated


def test_poured_silicone_wets_and_says_so():
    for key in ("addition-silicone-15a", "addition-silicone-30a", "tin-silicone-30a"):
        fill = mould_fill(choose("mould", key))
        assert fill.wets
        assert (fill.slit_mm.high, fill.pin_mm.high) == (0.0, 0.0)
        assert "no least radius" in fill.says


def test_silicone_on_what_repels_it_has_a_least_radius():
    mould = overridden(choose("mould", "addition-silicone-30a"), {"contact_angle_deg": 100}, where="mould")
    fill = mould_fill(mould)
    assert not fill.wets
    head = head_pressure_pa(mould.wall_mm.likely, mould.density_g_cm3.likely)
    assert fill.pin_mm.likely == pytest.approx(
        1000 * 2 * mould.surface_tension_n_m.likely * math.sin(math.radians(10)) / head
    )
    assert fill.slit_mm.likely == pytest.approx(fill.pin_mm.likely / 2)
    assert "fills slits from" in fill.says


def test_pressed_rubber_takes_everything():
    # 1 MPa and more against 0.035 N/m: well below a micrometre.
    for key in ("vulcanised-rubber", "vulcanised-silicone"):
        assert mould_fill(choose("mould", key)).pin_mm.high < 1e-3


def test_what_is_cut_or_not_there_has_nothing_to_fill():
    for fill in (
        mould_fill(choose("mould", "steel-tool")),
        mould_fill(choose("mould", "none")),
        cast_fill(choose("cast", "none"), shot_of("gravity")),
    ):
        assert fill.wets
        assert fill.pin_mm.high == 0


def test_metal_wants_spin_and_resin_may_want_a_pot():
    tin, resin = choose("cast", "tin-lead-free"), choose("cast", "polyurethane")
    spun, poured = cast_fill(tin, shot_of("spin")), cast_fill(tin, shot_of("gravity"))
    assert spun.pin_mm.high < poured.pin_mm.high
    assert spun.pin_mm.likely < poured.pin_mm.likely
    likely = cast_fill(resin, shot_of("gravity"))
    assert likely.pin_mm.likely == 0 < likely.pin_mm.high
    assert "likely wets" in likely.says
    # Shut-in air pushes back as hard as the pot pushes: the far end is that of gravity alone.
    assert cast_fill(resin, shot_of("pressure-pot")).pin_mm.high == likely.pin_mm.high


def test_spun_tin_fills_what_the_trade_says():
    # Hot spin casting fills about 0.5 mm (trade, from memory): between the likely slit and the strongest pin.
    fill = cast_fill(choose("cast", "tin-lead-free"), shot_of("spin"))
    assert 2 * fill.slit_mm.likely < 0.5 < 2 * fill.pin_mm.high


def test_every_casting_has_a_least_fill_at_every_shot():
    for casting in catalogue("cast").values():
        for key in ("gravity", "pressure-pot", "spin", "injection"):
            fill = cast_fill(casting, shot_of(key))
            assert not fill.pin_mm.calibrated or casting.family == "none"
            assert fill.slit_mm.high <= fill.pin_mm.high < math.inf


def test_the_figures_of_shots_say_where_they_come_from():
    units = {"_mm": "mm", "_kpa": "kPa", "_rpm": "rpm"}
    for key in ("gravity", "pressure-pot", "spin", "injection"):
        for name, figure in vars(shot_of(key)).items():
            if isinstance(figure, Range):
                assert figure.source
                assert not figure.calibrated
                assert figure.unit == next(u for suffix, u in units.items() if name.endswith(suffix))


def test_a_shot_that_is_none_is_refused():
    with pytest.raises(InputError, match=r"there is no shot 'spinn'. Did you mean 'spin'"):
        shot_of("spinn")


def test_a_fill_is_calibrated_when_all_its_figures_are():
    resin = overridden(
        choose("cast", "polyurethane"),
        {"density_g_cm3": 1.06, "surface_tension_n_m": 0.03, "contact_angle_deg": 95},
        where="cast",
    )
    still = given_range(0, 0, 0, "mm")
    mine = replace(
        shot_of("gravity"),
        head_mm=given_range(30, 30, 30, "mm"),
        gauge_kpa=still,
        speed_rpm=still,
        surface_radius_mm=still,
        detail_radius_mm=still,
    )
    assert cast_fill(resin, mine).pin_mm.calibrated
    assert not cast_fill(resin, shot_of("gravity")).pin_mm.calibrated
