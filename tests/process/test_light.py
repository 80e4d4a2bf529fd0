"""Depth of cure, stacks of layers, and edges: sums, closed forms and what averaging leaves out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.process.light import (
    cure_depth_mm,
    depth_kernel,
    edge_growth_mm,
    exposure_mj_cm2,
    kept_per_layer,
    least_overdose,
    mean_overdose,
    overdose_ratio,
    print_through_mm,
    stack_dose,
    stacked_overdose,
    topside_growth_mm,
    underside_growth_mm,
)
from firstcast.process.spread import GaussianSpread, LorentzianSpread, half_plane

DEPTHS = st.floats(0.03, 0.3)
LAYERS = st.floats(0.01, 0.1)
OVERDOSES = st.floats(1.05, 20)
SPREADS = st.one_of(st.floats(0.005, 0.08).map(GaussianSpread), st.floats(0.005, 0.08).map(LorentzianSpread))


@given(st.floats(0, 1), st.floats(0.5, 50), DEPTHS)
def test_the_working_curve_goes_both_ways(cured, critical, depth):
    assert cure_depth_mm(exposure_mj_cm2(cured, critical, depth), critical, depth) == pytest.approx(
        cured, abs=1e-12
    )
    assert exposure_mj_cm2(cured, critical, depth) / critical == pytest.approx(overdose_ratio(cured, depth))


def test_nothing_cures_below_critical():
    assert cure_depth_mm(4.9, 5.0, 0.1) == 0.0


@given(st.lists(st.floats(0, 5), min_size=1, max_size=12), LAYERS, DEPTHS)
def test_the_recursion_is_the_double_sum(exposure, layer, depth):
    far = layer * np.arange(1, len(exposure) + 1)
    summed = [
        sum(e * math.exp(-(t - z) / depth) for e, t in zip(exposure, far, strict=True) if t >= z) for z in far
    ]
    assert stack_dose(exposure, layer_mm=layer, depth_mm=depth) == pytest.approx(summed, rel=1e-12, abs=1e-15)


def test_a_stack_of_images_is_one_stack_per_pixel_and_is_left_as_it_is():
    rng = np.random.default_rng(20260612)
    images = rng.random((7, 3, 4)).astype(np.float32)
    kept = images.copy()
    dose = stack_dose(images, layer_mm=0.05, depth_mm=0.1)
    for row, column in np.ndindex(3, 4):
        one = stack_dose(images[:, row, column], layer_mm=0.05, depth_mm=0.1)
        assert np.array_equal(dose[:, row, column], one)
    assert np.array_equal(images, kept)
    assert len(stack_dose([], layer_mm=0.05, depth_mm=0.1)) == 0


@given(OVERDOSES, LAYERS, DEPTHS, st.integers(1, 60))
def test_print_through_is_where_the_stacks_dose_is_critical(overdose, layer, depth, layers):
    grown = print_through_mm(overdose, layer_mm=layer, depth_mm=depth, layers=layers)
    first = stack_dose(np.full(layers, overdose), layer_mm=layer, depth_mm=depth)[0]
    # The first layer's far side is one layer above the nominal underside.
    assert first * math.exp(-(layer + grown) / depth) == pytest.approx(1, rel=1e-9)
    more = print_through_mm(overdose, layer_mm=layer, depth_mm=depth, layers=layers + 1)
    assert grown <= more <= print_through_mm(overdose, layer_mm=layer, depth_mm=depth) + 1e-12


def test_print_through_of_one_layer_is_cure_depth_less_the_layer():
    assert print_through_mm(
        overdose_ratio(0.12, 0.1), layer_mm=0.05, depth_mm=0.1, layers=1
    ) == pytest.approx(0.07)
    # Too little light for one layer; what is not there grows by minus itself.
    assert print_through_mm(0.9, layer_mm=0.05, depth_mm=0.1, layers=1) == -0.05
    # No decay at all: the null process.
    assert print_through_mm(2.0, layer_mm=0.05, depth_mm=0.0) == 0.0
    assert kept_per_layer(0.05, 0.0) == 0.0


@given(OVERDOSES, LAYERS, DEPTHS)
def test_infinitely_many_layers_are_the_limit_of_many(overdose, layer, depth):
    many = stacked_overdose(overdose, layer_mm=layer, depth_mm=depth, layers=math.ceil(40 * depth / layer))
    assert many == pytest.approx(stacked_overdose(overdose, layer_mm=layer, depth_mm=depth), rel=1e-12)


@given(OVERDOSES, LAYERS, DEPTHS)
def test_the_mean_dose_is_that_of_a_layer_averaged(overdose, layer, depth):
    u = (np.arange(2000) + 0.5) / 2000 * layer
    whole = stacked_overdose(overdose, layer_mm=layer, depth_mm=depth)
    # Midpoints of an exponential: an error of (h / Dp)² / 24 / 2000² of it.
    averaged = (whole * np.exp(-u / depth)).mean()
    assert mean_overdose(overdose, layer_mm=layer, depth_mm=depth) == pytest.approx(averaged, rel=1e-6)


@given(OVERDOSES, LAYERS, DEPTHS)
def test_averaging_over_the_layers_place_keeps_undersides_to_second_order(overdose, layer, depth):
    exact = print_through_mm(overdose, layer_mm=layer, depth_mm=depth)
    averaged = underside_growth_mm(overdose, layer_mm=layer, depth_mm=depth)
    # ln((1 - e^-s) / s) + s/2 = s²/24 - s⁴/2880 + ..., s = h / Dp.
    assert averaged - exact >= -1e-12
    assert averaged - exact <= layer**2 / (24 * depth) + 1e-12


def test_averaging_moves_tops_though_they_stay_layer_by_layer():
    # The averaged dose of a body whose top is at 0, summed on a fine grid, is critical where the formula says.
    overdose, layer, depth, step = 3.3, 0.05, 0.1, 0.0005
    kernel = depth_kernel(step_mm=step, layer_mm=layer, depth_mm=depth, reach_mm=1.5)
    z = np.arange(-400, 400) * step
    reached = np.array(
        [
            kernel.weights[z_at + step * (kernel.first + np.arange(len(kernel.weights))) < 0].sum()
            for z_at in z
        ]
    )
    solid = z[overdose * reached >= 1]
    top = topside_growth_mm(overdose, layer_mm=layer, depth_mm=depth)
    # The body's last cell ends half a step short of 0, and the last solid place lies up to a step before the edge.
    assert solid.max() == pytest.approx(top, abs=1.5 * step)
    assert topside_growth_mm(1.0, layer_mm=0.1, depth_mm=0.05) == -math.inf


@given(st.floats(0.002, 0.06), LAYERS, DEPTHS, st.floats(0.05, 2))
def test_the_depth_kernel_and_what_lies_beyond_add_up(step, layer, depth, reach):
    kernel = depth_kernel(step_mm=step, layer_mm=layer, depth_mm=depth, reach_mm=reach)
    assert kernel.weights.sum() + kernel.beyond == pytest.approx(depth / layer, rel=1e-12)
    assert (kernel.weights > 0).all()
    # It reaches back half a layer and no further, and forward as far as asked.
    assert (kernel.first - 0.5) * step <= -layer / 2 + 1e-12 <= (kernel.first + 0.5) * step + 2e-12
    assert (kernel.first + len(kernel.weights) - 0.5) * step >= reach - 1e-12


def test_the_depth_kernel_is_what_a_stack_gives_on_average_over_its_place():
    # 200 places of the layers' grid under a body with its underside at 0.213: mean dose at z.
    layer, depth, step = 0.05, 0.1, 0.001
    kernel = depth_kernel(step_mm=step, layer_mm=layer, depth_mm=depth, reach_mm=2.0)
    for z in (-0.1, 0.1, 0.2, 0.3):
        doses = []
        for phase in (np.arange(200) + 0.5) / 200:
            far = (np.arange(0, 60) + phase) * layer + z
            lit = far - layer / 2 > 0.213
            doses.append((lit * np.exp(-(far - z) / depth)).sum())
        at = z + step * (kernel.first + np.arange(len(kernel.weights)))
        # Half a step of the grid at the underside; the stack ends after 3 mm.
        assert (kernel.weights * (at > 0.213)).sum() == pytest.approx(np.mean(doses), rel=0.01)


def test_no_depth_has_no_kernel():
    with pytest.raises(InputError, match="Leave the decay out"):
        depth_kernel(step_mm=0.01, layer_mm=0.05, depth_mm=0.0, reach_mm=1)


@given(SPREADS, st.floats(0.03, 0.97), st.sampled_from([0.018, 0.035, 0.065]), st.integers(0, 2))
def test_an_edge_ends_up_where_the_dose_is_critical(spread, threshold, pixel, boxes):
    grown = edge_growth_mm(spread, threshold, pixel_mm=pixel, boxes=boxes)
    dose = half_plane(spread, -grown, pixel_mm=pixel, boxes=boxes)
    assert float(dose) == pytest.approx(threshold, abs=1e-8)
    opposite = edge_growth_mm(spread, 1 - threshold, pixel_mm=pixel, boxes=boxes)
    assert opposite == pytest.approx(-grown, abs=1e-7)


@given(SPREADS, st.floats(0.03, 0.5), st.floats(0.03, 0.5))
def test_more_light_grows_edges_further(spread, one, other):
    low, high = sorted((one, other))
    more, less = (edge_growth_mm(spread, level, pixel_mm=0.035, boxes=2) for level in (low, high))
    assert more >= less - 1e-11  # roots are found to 1e-12
    assert edge_growth_mm(spread, 0.5, pixel_mm=0.035, boxes=2) == pytest.approx(0, abs=1e-9)


def test_pixels_move_an_edge_without_any_spread():
    # Two boxes make a triangle of two pixels: critical at 1/8 is half a pixel out, (1 - 1/2)² / 2.
    assert edge_growth_mm(GaussianSpread(0.0), 1 / 8, pixel_mm=0.04, boxes=2) == pytest.approx(0.02)
    assert edge_growth_mm(GaussianSpread(0.0), 1 / 4, pixel_mm=0.04, boxes=1) == pytest.approx(0.01)


@given(SPREADS, st.floats(0.02, 0.5), st.floats(0.02, 0.5))
def test_thinner_lines_take_more_light(spread, one, other):
    thin, wide = sorted((one, other))
    assert least_overdose(spread, thin) >= least_overdose(spread, wide) >= 1
    assert least_overdose(spread, 1e4) == pytest.approx(1, abs=1e-4)


def test_the_least_light_for_a_line_in_closed_form():
    # erf(w / (2√2 σ)) and (2/π) arctan(w / 2γ).
    assert least_overdose(GaussianSpread(0.02), 0.05) == pytest.approx(
        1 / math.erf(0.05 / (2 * math.sqrt(2) * 0.02)), rel=1e-12
    )
    assert least_overdose(LorentzianSpread(0.02), 0.05) == pytest.approx(
        math.pi / 2 / math.atan(0.05 / 0.04), rel=1e-12
    )
