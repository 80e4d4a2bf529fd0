"""Gratings and kernels against sums of edges, quadrature and convolution on a fine grid."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad
from scipy.ndimage import convolve1d

from firstcast.errors import InputError
from firstcast.process.spread import GaussianSpread, LorentzianSpread, half_plane
from firstcast.process.spread_patterns import (
    gaussians_like,
    line_kernel,
    plane_kernel,
    sine_response,
    square_grating,
)

PIXEL = 0.035


@pytest.mark.parametrize("boxes", [0, 1, 2])
@pytest.mark.parametrize("sigma", [0.0, 0.02, 0.05])
def test_a_grating_is_its_lines_one_beside_the_other(sigma, boxes):
    # Independent of the series: 40 lines, of which those far off add nothing for a Gaussian.
    spread, period, line = GaussianSpread(sigma), 0.3, 0.11
    x = np.linspace(-0.17, 0.4, 23)
    middles = period * np.arange(-20, 21)[:, None]
    added = sum(
        half_plane(spread, x - m + line / 2, pixel_mm=PIXEL, boxes=boxes)
        - half_plane(spread, x - m - line / 2, pixel_mm=PIXEL, boxes=boxes)
        for m in middles
    )
    got = square_grating(spread, x, period, line, pixel_mm=PIXEL, boxes=boxes)
    assert got == pytest.approx(added, abs=1e-9)


def test_a_heavy_tailed_grating_against_the_periodic_poisson_kernel():
    # Lines of a Lorentzian, one per period, add up to sinh(a) / (P (cosh a - cos 2πx/P)), a = 2πγ/P
    # (Poisson's kernel): integrated over a lit line by 4,000 midpoints, whose error is below 1e-6.
    gamma, period, line = 0.015, 0.25, 0.1
    a = 2 * np.pi * gamma / period
    x = np.linspace(0, period, 17)
    fine = (np.arange(4000) + 0.5) / 4000 * line - line / 2
    away = x[:, None] - fine
    density = np.sinh(a) / (np.cosh(a) - np.cos(2 * np.pi * away / period)) / period
    got = square_grating(LorentzianSpread(gamma), x, period, line)
    assert got == pytest.approx(density.mean(axis=1) * line, abs=1e-6)


@given(
    st.floats(0.03, 0.06),
    st.sampled_from([GaussianSpread, LorentzianSpread]),
    st.floats(0.1, 0.6),
    st.floats(0.1, 0.9),
    st.integers(0, 2),
)
@settings(max_examples=60)
def test_lines_and_gaps_of_a_grating_make_full_light(width, kind, period, share, boxes):
    # Babinet: the grating of the gaps, half a period on, is what is missing to 1.
    spread, line = kind(width), share * period
    x = np.linspace(0, period, 9)
    lines = square_grating(spread, x, period, line, pixel_mm=PIXEL, boxes=boxes)
    gaps = square_grating(spread, x + period / 2, period, period - line, pixel_mm=PIXEL, boxes=boxes)
    assert lines + gaps == pytest.approx(1, abs=1e-10)


def test_a_sine_is_left_by_transfer_and_a_sinc_per_box():
    # Against convolution on a grid of 1 µm, whose boxes and bell are sampled: 1e-4.
    spread, period, step = GaussianSpread(0.02), 0.2, 0.001
    x = np.arange(0, 2 * period, step)
    wave = np.cos(2 * np.pi * x / period)
    reach = np.arange(-150, 151) * step
    bell = spread.line_spread(reach) * step
    box = np.full(35, 1 / 35)
    for boxes in (0, 1, 2):
        smeared = convolve1d(wave, bell, mode="wrap")
        for _ in range(boxes):
            smeared = convolve1d(smeared, box, mode="wrap")
        expected = smeared.max()
        assert sine_response(spread, period, pixel_mm=PIXEL, boxes=boxes) == pytest.approx(expected, abs=1e-4)


def test_a_fine_grating_is_left_as_its_first_sine():
    # What is left of a square wave far below the spread's reach is 2/π sin(πw/P) of the sine's response.
    spread, period = LorentzianSpread(0.05), 0.1
    light = square_grating(spread, np.array([0.0, period / 2]), period, period / 2)
    first = 2 / np.pi * sine_response(spread, period)
    # The third harmonic is exp(-2π γ 2/P) = 0.002 of the first.
    assert (light[0] - light[1]) / 2 == pytest.approx(first, rel=2e-3)


@pytest.mark.parametrize("spread", [GaussianSpread(0.02), LorentzianSpread(0.02), GaussianSpread(0.0)])
@pytest.mark.parametrize("reach", [0.05, 0.2, 1.0])
def test_kernels_and_what_lies_beyond_add_up_to_one(spread, reach):
    row = line_kernel(spread, PIXEL, reach)
    plane = plane_kernel(spread, (PIXEL, 0.022), reach)
    for kernel in (row, plane):
        assert kernel.weights.sum() + kernel.beyond == pytest.approx(1, abs=1e-12)
        assert (kernel.weights >= 0).all()
        assert kernel.weights == pytest.approx(np.flip(kernel.weights), abs=1e-15)
    assert all(size % 2 == 1 for size in plane.weights.shape)
    assert all(half >= reach for half in np.array(plane.weights.shape) / 2 * (PIXEL, 0.022))


@pytest.mark.parametrize("cell", [(0, 0), (1, 0), (3, 2)])
def test_a_heavy_tailed_cell_is_what_quadrature_finds(cell):
    gamma, pitch = 0.018, (0.035, 0.022)
    kernel = plane_kernel(LorentzianSpread(gamma), pitch, 0.15)
    middle = np.array(kernel.weights.shape) // 2
    x, y = cell[0] * pitch[0], cell[1] * pitch[1]
    found = dblquad(
        lambda v, u: (1 + (u * u + v * v) / gamma**2) ** -1.5 / (2 * np.pi * gamma**2),
        *(x - pitch[0] / 2, x + pitch[0] / 2, y - pitch[1] / 2, y + pitch[1] / 2),
        epsabs=1e-12,
    )[0]
    assert kernel.weights[middle[0] + cell[0], middle[1] + cell[1]] == pytest.approx(found, abs=1e-10)


def test_what_lies_beyond_the_heavy_tailed_kernel_lies_between_its_discs():
    spread, reach = LorentzianSpread(0.018), 0.3
    kernel = plane_kernel(spread, (PIXEL, PIXEL), reach)
    half = kernel.weights.shape[0] / 2 * PIXEL
    assert spread.tail_ratio(half * np.sqrt(2)) < kernel.beyond < spread.tail_ratio(half)


def test_the_plane_of_a_bell_comes_apart_into_rows_and_columns_and_the_heavy_one_does_not():
    bell = plane_kernel(GaussianSpread(0.03), (PIXEL, PIXEL), 0.2).weights
    heavy = plane_kernel(LorentzianSpread(0.03), (PIXEL, PIXEL), 0.2).weights
    assert np.linalg.svd(bell, compute_uv=False)[1] < 1e-15
    assert np.linalg.svd(heavy, compute_uv=False)[1] > 1e-3


@pytest.mark.parametrize(
    ("count", "edge", "disc"), [(4, 0.004, 0.009), (6, 0.001, 0.0025), (7, 0.0005, 0.0012)]
)
def test_a_few_bells_stand_for_heavy_tails_within_what_is_said(count, edge, disc):
    # The bounds are what the fit was found to reach, rounded up.
    spread = LorentzianSpread(0.018)
    fit = gaussians_like(spread, count)
    assert fit.edge_error < edge
    assert fit.disc_error < disc
    assert (fit.weights > 0).all()
    assert fit.weights.sum() == pytest.approx(1, abs=1e-12)
    # At places of our own, between those the fit looked at.
    places = 0.018 * np.geomspace(3e-4, 3e4, 1777)
    bells = [GaussianSpread(sigma) for sigma in fit.sigma_mm]
    edges = sum(w * b.edge_response(places) for w, b in zip(fit.weights, bells, strict=True))
    assert np.abs(edges - spread.edge_response(places)).max() <= fit.edge_error * 1.001
    discs = [sum(w * b.tail_ratio(r) for w, b in zip(fit.weights, bells, strict=True)) for r in places]
    tails = np.array([spread.tail_ratio(r) for r in places])
    assert np.abs(discs - tails).max() <= fit.disc_error * 1.001


def test_the_bells_kernels_add_up_to_the_heavy_kernel():
    spread = LorentzianSpread(0.018)
    fit = gaussians_like(spread)
    heavy = plane_kernel(spread, (PIXEL, PIXEL), 0.5)
    added = sum(
        w * plane_kernel(GaussianSpread(s), (PIXEL, PIXEL), 0.5).weights
        for s, w in zip(fit.sigma_mm, fit.weights, strict=True)
    )
    # No cell was found to err by more than discs do: by 0.0009 here.
    assert np.abs(added - heavy.weights).max() < fit.disc_error


def test_gratings_that_are_none_are_refused():
    with pytest.raises(InputError, match="Leave a gap"):
        square_grating(GaussianSpread(0.02), 0.0, 0.2, 0.2)
    with pytest.raises(InputError, match="Take it for no spread"):
        square_grating(LorentzianSpread(1e-8), 0.0, 0.2, 0.1)
