"""What a gauge should measure, against the same physics worked out place by place."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from firstcast.gauge_design import GaugeKind
from firstcast.process.gauge import Light, Lines, Reading, bridge_mm, dose_inside, line_widths, spread_of
from firstcast.process.light import mean_overdose, stack_dose
from firstcast.process.spread import GaussianSpread, LorentzianSpread

LIGHT = Light(0.1, 0.12, 0.022)


def lines_of(kind, widths_mm):
    return Lines.of(tuple(Reading("", kind, "x", 0, width, width, 0.01) for width in widths_mm))


@pytest.mark.parametrize("layers", [1, 2, 5, 20])
@pytest.mark.parametrize(("depth", "cured"), [(0.1, 0.12), (0.04, 0.08), (0.28, 0.2)])
def test_a_bridge_is_as_thick_as_what_has_dose_enough(depth, cured, layers):
    # Added up place by place along z; the grid's step bounds the difference.
    layer, step = 0.05, 0.0005
    dose = stack_dose(np.full(layers, np.exp(cured / depth)), layer_mm=layer, depth_mm=depth)
    z = np.arange(-1.5, layers * layer, step) + 0.5 * step
    # Below the first layer and in layer k alike, light decays from the far side of the layer it is in or above.
    k = np.clip(np.floor(z / layer + 1e-9).astype(int), 0, layers - 1)
    solid = dose[k] * np.exp(-((k + 1) * layer - z) / depth) >= 1.0
    assert bridge_mm(Light(depth, cured, 0.0), layer, layers) == pytest.approx(
        solid.sum() * step, abs=2 * step
    )


def test_one_layer_alone_is_the_working_curve():
    # Jacobs: Dp 0.1 mm and E0 four times Ec cure 0.138629 mm (computed).
    assert bridge_mm(Light(0.1, 0.1 * np.log(4.0), 0.0), 0.03, 1) == pytest.approx(0.138629, abs=1e-6)


def test_a_bridge_that_does_not_cure_has_no_thickness():
    assert bridge_mm(Light(0.001, 0.0, 0.0), 0.05, 1) <= 0.05
    assert bridge_mm(Light(0.1, -0.2, 0.0), 0.05, 3) == 0.0


@pytest.mark.parametrize("kind", [GaugeKind.RIDGE, GaugeKind.GROOVE, GaugeKind.GRATING])
@pytest.mark.parametrize("blur", [0.01, 0.022, 0.045])
def test_widths_are_those_of_light_that_is_spread_on_a_fine_grid(kind, blur):
    # scipy's filter on a grid of 0.5 µm, far wider than any light; a crossing is read to a hundredth of a step, and the
    # sampled Gaussian, cut at eight σ, is right to 1e-9.
    step, dose = 0.0005, 4.0
    x = (np.arange(8001) - 4000) * step
    for width in (0.07, 0.14, 0.28, 0.56):
        # Places on an edge itself are half lit.
        lit = np.clip((0.5 * width - np.abs(x)) / step + 0.5, 0.0, 1.0)
        if kind is GaugeKind.GRATING:
            lit = sum(
                np.clip((0.5 * width - np.abs(x - 2 * width * k)) / step + 0.5, 0.0, 1.0)
                for k in range(-2, 3)
            )
        light = gaussian_filter1d(lit, blur / step, truncate=8.0, mode="constant")
        cured = dose * (1.0 - light if kind is GaugeKind.GROOVE else light) - 1.0
        wanted = cured < 0 if kind is GaugeKind.GROOVE else cured > 0
        middle = len(x) // 2
        expected = 0.0
        if wanted[middle]:
            stop = middle + int(np.argmin(wanted[middle:]))
            crossing = x[stop - 1] + step * cured[stop - 1] / (cured[stop - 1] - cured[stop])
            expected = 2.0 * crossing
            if kind is GaugeKind.GRATING and crossing > width:
                expected = 2.0 * width
        got, _ = line_widths(
            lines_of(kind, [width]), GaussianSpread(blur), dose, pixel_mm=0.035, grey_edges=False
        )
        assert got[0] == pytest.approx(expected, abs=2e-5), width


def test_a_wide_line_grows_by_two_edges():
    dose = 5.0
    for spread in (GaussianSpread(0.02), LorentzianSpread(0.001)):
        growth = spread.edge_growth_mm(1 / dose)
        ridge, groove = (
            line_widths(lines_of(kind, [3.0]), spread, dose, pixel_mm=0.035, grey_edges=False)[0][0]
            for kind in (GaugeKind.RIDGE, GaugeKind.GROOVE)
        )
        # A Lorentzian's other edge, 3 mm away, still takes γ / (π · 3 mm) = 1e-4 of the light.
        assert ridge == pytest.approx(3.0 + 2 * growth, abs=2e-5)
        assert groove == pytest.approx(3.0 - 2 * growth, abs=2e-5)


def test_what_is_too_narrow_neither_stands_nor_stays_open():
    spread, dose = GaussianSpread(0.05), 2.5
    assert (
        line_widths(lines_of(GaugeKind.RIDGE, [0.035]), spread, dose, pixel_mm=0.035, grey_edges=False)[0]
        == 0
    )
    assert (
        line_widths(lines_of(GaugeKind.GROOVE, [0.07]), spread, dose, pixel_mm=0.035, grey_edges=False)[0]
        == 0
    )
    joined = line_widths(lines_of(GaugeKind.GRATING, [0.035]), spread, dose, pixel_mm=0.035, grey_edges=False)
    assert joined[0] == pytest.approx(0.07)


def test_grey_edges_smear_by_two_boxes():
    # Two boxes of a pixel have the variance p² / 6; a Gaussian that much wider has nearly the same edge.
    p, sigma, dose = 0.035, 0.03, 4.0
    grey, _ = line_widths(
        lines_of(GaugeKind.RIDGE, [0.56]), GaussianSpread(sigma), dose, pixel_mm=p, grey_edges=True
    )
    wide = GaussianSpread(np.hypot(sigma, p / np.sqrt(6)))
    alike, _ = line_widths(lines_of(GaugeKind.RIDGE, [0.56]), wide, dose, pixel_mm=p, grey_edges=False)
    assert grey[0] == pytest.approx(alike[0], abs=5e-4)


def test_the_dose_inside_is_that_of_a_thick_body_when_layers_are_many():
    thick = mean_overdose(np.exp(1.2), layer_mm=0.05, depth_mm=0.1)
    assert dose_inside(LIGHT, 0.05, 400) == pytest.approx(thick)
    assert dose_inside(LIGHT, 0.05, 1) == pytest.approx(thick * (1 - np.exp(-0.5)))


def test_a_heavy_tail_is_named_by_the_gaussian_of_the_same_quartiles():
    assert isinstance(spread_of(0.02, False), GaussianSpread)
    heavy = spread_of(0.02, True)
    assert heavy.edge_response(0.6744898 * 0.02) == pytest.approx(0.75)
