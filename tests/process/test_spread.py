"""Spread of light: edges, transfer and cells against quadrature and against each other."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad, quad

from firstcast.errors import InputError
from firstcast.process.spread import (
    GaussianSpread,
    LorentzianSpread,
    cell_weight,
    half_plane,
    heavy_tailed_like,
)

WIDTHS = st.floats(0.002, 0.1)
PLACES = st.floats(-1.0, 1.0)
SPREADS = st.one_of(WIDTHS.map(GaussianSpread), WIDTHS.map(LorentzianSpread))
BOTH = pytest.mark.parametrize(
    "spread", [GaussianSpread(0.022), LorentzianSpread(0.022)], ids=["bell", "heavy"]
)


@BOTH
@pytest.mark.parametrize("place", [-0.3, -0.01, 0.0, 0.004, 0.05])
def test_an_edge_is_the_integral_of_the_line(spread, place):
    # quad is adaptive, to 1e-10; the integral is split at the peak so that it isn't missed.
    left = quad(spread.line_spread, -np.inf, -1.0)[0] + quad(spread.line_spread, -1.0, min(place, 0.0))[0]
    right = quad(spread.line_spread, 0.0, place)[0] if place > 0 else 0.0
    assert float(spread.edge_response(place)) == pytest.approx(left + right, abs=1e-8)


@BOTH
@pytest.mark.parametrize("per_mm", [0.0, 1.0, 3.3, 10.0])
def test_transfer_is_the_lines_transform(spread, per_mm):
    if per_mm == 0:
        whole = 2 * quad(spread.line_spread, 0, np.inf)[0]
    else:
        # QUADPACK's routine for Fourier integrals on a half-line.
        whole = 2 * quad(spread.line_spread, 0, np.inf, weight="cos", wvar=2 * math.pi * per_mm)[0]
    assert float(spread.transfer(per_mm)) == pytest.approx(whole, abs=1e-7)


@BOTH
def test_light_in_the_plane_adds_up_to_the_line(spread):
    # A point's light within r, by formula, against the point's own density integrated over the disc.
    width = spread.width_mm
    if isinstance(spread, GaussianSpread):
        density = lambda r: math.exp(-0.5 * (r / width) ** 2) / (2 * math.pi * width**2)  # noqa: E731
    else:
        density = lambda r: (1 + (r / width) ** 2) ** -1.5 / (2 * math.pi * width**2)  # noqa: E731
    for radius in (0.01, 0.05, 0.3):
        inside = quad(lambda r: 2 * math.pi * r * density(r), 0, radius, points=[width])[0]
        assert 1 - spread.tail_ratio(radius) == pytest.approx(inside, abs=1e-9)
    # ... and integrated along a line it is the line spread.
    for x in (0.0, 0.03):
        along = 2 * quad(lambda y, x=x: density(math.hypot(x, y)), 0, np.inf)[0]
        assert float(spread.line_spread(x)) == pytest.approx(along, rel=1e-6)


@BOTH
@pytest.mark.parametrize("boxes", [1, 2])
@pytest.mark.parametrize("place", [-0.08, -0.01, 0.0, 0.03, 0.2])
def test_boxes_smear_an_edge_as_integration_says(spread, boxes, place):
    pixel = 0.035
    if boxes == 1:
        mean = quad(spread.edge_response, place - pixel / 2, place + pixel / 2, epsabs=1e-12)[0] / pixel
    else:
        mean = (
            dblquad(
                lambda a, b: float(spread.edge_response(place + a + b)),
                *(-pixel / 2, pixel / 2, -pixel / 2, pixel / 2),
                epsabs=1e-12,
            )[0]
            / pixel**2
        )
    got = float(half_plane(spread, place, pixel_mm=pixel, boxes=boxes))
    assert got == pytest.approx(mean, abs=1e-9)


@given(SPREADS, PLACES, PLACES, st.integers(0, 2))
def test_an_edge_rises_from_dark_to_light_and_mirrors(spread, one, other, boxes):
    low, high = sorted((one, other))
    at = half_plane(spread, np.array([low, high, -low, 0.0]), pixel_mm=0.035, boxes=boxes)
    assert at[0] <= at[1] + 1e-11  # rounding of second differences, a thousandth of a pixel's share
    assert (at >= -1e-11).all()
    assert (at <= 1 + 1e-11).all()
    assert at[0] + at[2] == pytest.approx(1, abs=1e-11)
    assert at[3] == pytest.approx(0.5, abs=1e-11)


@given(SPREADS, st.floats(0, 40), st.floats(0, 40))
def test_transfer_is_one_for_the_mean_and_falls(spread, one, other):
    assert float(spread.transfer(0.0)) == 1.0
    slow, fast = sorted((one, other))
    assert 0 <= spread.transfer(fast) <= spread.transfer(slow) <= 1
    assert spread.transfer(-fast) == spread.transfer(fast)


@given(SPREADS, st.floats(0.01, 0.99))
def test_where_an_edge_ends_up_is_where_the_dose_is_critical(spread, threshold):
    outside = spread.edge_growth_mm(threshold)
    assert float(spread.edge_response(-outside)) == pytest.approx(threshold, abs=1e-9)
    assert spread.edge_growth_mm(1 - threshold) == pytest.approx(-outside, abs=1e-9)


@given(SPREADS, st.floats(1.01, 50))
def test_a_line_is_as_wide_as_where_its_dose_is_critical(spread, overdose):
    half = spread.line_width_mm(overdose) / 2
    assert spread.line_spread(half) * overdose == pytest.approx(float(spread.line_spread(0.0)), rel=1e-9)
    assert spread.line_width_mm(1.0) == 0.0


@given(SPREADS, st.floats(0.005, 0.2), st.integers(1, 50))
def test_cells_share_out_all_the_light_between_their_ends(spread, cell, half):
    weights = cell_weight(spread, cell * np.arange(-half, half + 1), cell)
    beyond = 2 * float(spread.edge_response(-(half + 0.5) * cell))
    assert weights.sum() + beyond == pytest.approx(1, abs=1e-12)
    assert (weights >= 0).all()


@pytest.mark.parametrize("kind", [GaussianSpread, LorentzianSpread])
def test_no_spread_leaves_an_edge_and_is_the_limit_of_little(kind):
    none, little = kind(0.0), kind(1e-9)
    places = np.array([-0.1, -0.01, 0.01, 0.1])
    assert none.edge_response(0.0) == 0.5
    for boxes in (0, 1, 2):
        exact = half_plane(none, places, pixel_mm=0.035, boxes=boxes)
        # Heavy tails of 1e-9 mm put 3e-8 of the light beyond 0.01 mm.
        assert half_plane(little, places, pixel_mm=0.035, boxes=boxes) == pytest.approx(exact, abs=1e-7)
    assert none.tail_ratio(0.001) == 0.0
    assert none.edge_growth_mm(0.1) == 0.0
    assert float(none.transfer(1000.0)) == 1.0


def test_the_heavy_tailed_edge_shares_the_bells_quartiles_and_only_its_tails_are_heavier():
    bell = GaussianSpread(0.02)
    heavy = heavy_tailed_like(bell)
    for share in (0.25, 0.75):
        assert heavy.edge_growth_mm(share) == pytest.approx(bell.edge_growth_mm(share), rel=1e-12)
    assert heavy.tail_ratio(0.2) > 1000 * bell.tail_ratio(0.2)


@pytest.mark.parametrize("width", [-0.01, math.nan, math.inf])
def test_a_spread_that_is_none_is_refused(width):
    for kind in (GaussianSpread, LorentzianSpread):
        with pytest.raises(InputError, match="a spread of"):
            kind(width)


def test_thresholds_and_boxes_that_are_none_are_refused():
    for spread in (GaussianSpread(0.02), LorentzianSpread(0.02)):
        for threshold in (0.0, 1.0, 1.5):
            with pytest.raises(InputError, match="of the full dose"):
                spread.edge_growth_mm(threshold)
    with pytest.raises(InputError, match="3 pixel boxes"):
        half_plane(GaussianSpread(0.02), 0.0, pixel_mm=0.035, boxes=3)
