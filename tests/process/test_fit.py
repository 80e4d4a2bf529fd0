"""The fit of the process: true values within the stated intervals as often as stated; what isn't told is refused."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from firstcast.gauge_design import GaugeKind
from firstcast.process.fit import fit_process
from firstcast.process.gauge import WIDTH_KINDS, Gauge, Light, Reading
from firstcast.process.light_fit import LightModel, fit_light
from firstcast.process.size_fit import SIZE_KINDS
from firstcast.vocabulary import Basis
from process.gauge_readings import DESIGN, OFFSETS_MM, SCALES, printed, without

LIGHT = Light(0.1, 0.12, 0.022)
DIRECTIONS = {"depth": (1, 0, 0), "cured": (0, 1, 0), "blur": (0, 0, 1), "overdose": (-1, 1, 0)}


def named(gauge: Gauge) -> dict:
    return {figure.name: figure for figure in fit_process(gauge).figures}


def test_what_was_put_in_comes_out():
    figures = named(printed(LIGHT))
    got = [figures[name].range.likely for name in ("depth_mm", "cure_depth_mm", "blur_mm")]
    assert got == pytest.approx(list(LIGHT), rel=1e-4)
    assert figures["overdose_ratio"].range.likely == pytest.approx(np.exp(1.2), rel=1e-3)
    for axis in "xyz":
        assert figures[f"scale_{axis}"].range.likely == pytest.approx(SCALES[axis])
        assert figures[f"offset_{axis}_mm"].range.likely == pytest.approx(OFFSETS_MM[axis])
    assert figures["shrink_xy_ratio"].range.likely == pytest.approx(0.005)
    assert figures["shrink_z_ratio"].range.likely == pytest.approx(0.002)
    assert all(figure.range.basis is Basis.GAUGE and figure.range.calibrated for figure in figures.values())


@pytest.mark.parametrize(
    "light", [Light(0.05, 0.09, 0.012), Light(0.25, 0.2, 0.03), Light(0.15, 0.3, 0.04)], ids=str
)
@pytest.mark.parametrize("grey_edges", [False, True])
def test_other_resins_come_out_too(light, grey_edges):
    fit = fit_light(LightModel(printed(light, grey_edges=grey_edges), SCALES))
    assert list(fit.light) == pytest.approx(list(light), rel=1e-4)


def test_the_slopes_are_those_of_the_lengths():
    model = LightModel(printed(LIGHT), SCALES)
    logs = model.logs(Light(0.11, 0.13, 0.035))
    numeric = np.column_stack(
        [(model.misfits(logs + s)[0] - model.misfits(logs - s)[0]) / 2e-5 for s in 1e-5 * np.eye(3)]
    )
    assert model.misfits(logs)[1] == pytest.approx(numeric, rel=1e-4, abs=1e-3)


@pytest.mark.slow
def test_90_per_cent_of_intervals_hold_the_truth():
    """200 draws of all bridges and of the x rows.

    Binomial with p = 0.9 and n = 200: standard deviation 2.1 %, so 84 to 95 % is about -2.8 and +2.4 of them.
    """
    rng = np.random.default_rng(40617)
    draws, held = 200, dict.fromkeys(DIRECTIONS, 0)
    for _ in range(draws):
        gauge = printed(LIGHT, rng)
        gauge = replace(gauge, readings=(*gauge.of(GaugeKind.BRIDGE), *gauge.of(*WIDTH_KINDS, axis="x")))
        fit = fit_light(LightModel(gauge, SCALES))
        for name, direction in DIRECTIONS.items():
            ends = fit.interval(direction)
            held[name] += ends.low <= float(np.dot(direction, np.log(LIGHT))) <= ends.high
    shares = {name: count / draws for name, count in held.items()}
    assert all(0.84 <= share <= 0.95 for share in shares.values()), shares


@pytest.mark.parametrize("name", DIRECTIONS)
def test_an_interval_ends_where_the_best_chi2_has_risen_by_its_point(name):
    # Held by scipy: the sum of squares with one more row that pins the direction a millionth tight.
    fit = fit_light(LightModel(printed(LIGHT, np.random.default_rng(771)), SCALES))
    direction = np.array(DIRECTIONS[name], dtype=float)
    ends = fit.interval(DIRECTIONS[name])
    for end in (ends.low, ends.high):

        def pinned(logs, end=end):
            return np.append(fit.model.misfits(logs)[0], 1e6 * (direction @ logs - end))

        best = least_squares(pinned, fit.logs, xtol=1e-14, ftol=1e-14)
        # The search for the end stops within 1 % of the rise, its own minimum within a thousandth of chi².
        assert 2.0 * best.cost - fit.chi2 == pytest.approx(2.7055, rel=0.03)


def test_larger_errors_make_wider_intervals():
    gauge = printed(LIGHT)
    rough = named(replace(gauge, readings=tuple(replace(r, sd_mm=1.5 * r.sd_mm) for r in gauge.readings)))
    for name, figure in named(gauge).items():
        wide, narrow = rough[name].range, figure.range
        assert wide.high - wide.low > 1.2 * (narrow.high - narrow.low)


def test_readings_that_scatter_more_than_they_say_widen_the_intervals():
    fitted = fit_process(printed(LIGHT, np.random.default_rng(5521), noise=3.0))
    (light,) = [scatter for scatter in fitted.scatters if scatter.kind == "light"]
    # chi² of so many rows drawn three times too wide: nine times its expectation, within its own spread.
    assert 2.0 < light.widened < 4.0


def refused(gauge: Gauge) -> dict:
    return {refusal.name: refusal for refusal in fit_process(gauge).refusals}


def test_many_layers_alone_do_not_tell_depth_from_exposure():
    few = ("bridge-z-1", "bridge-z-2", "bridge-z-3", "bridge-z-5")
    found = refused(without(printed(LIGHT), ids=few))
    assert {"depth_mm", "cure_depth_mm", "blur_mm"} <= set(found)
    assert found["depth_mm"].rows == few[:3]
    assert "bridge-z-1" in found["blur_mm"].says


def test_without_bridges_nothing_is_told_of_light():
    found = refused(without(printed(LIGHT), GaugeKind.BRIDGE))
    assert set(found) == {"depth_mm, cure_depth_mm", "blur_mm"}
    assert "no bridge is measured" in found["depth_mm, cure_depth_mm"].says


def test_without_lines_there_is_no_spread_but_depth_is_told():
    gauge = without(printed(LIGHT), *WIDTH_KINDS)
    assert set(refused(gauge)) == {"blur_mm"}
    assert {"depth_mm", "cure_depth_mm", "overdose_ratio"} <= set(named(gauge))


def test_one_length_does_not_tell_scale():
    gauge = without(printed(LIGHT), ids=("length-x-1", "inner-x-1"))
    assert refused(gauge)["scale and offset along x"].rows == ("length-x-1", "inner-x-1")
    assert "shrink_xy_ratio" not in named(gauge)
    assert "scale_y" in named(gauge)


def test_lengths_that_are_read_badly_do_not_tell_scale():
    gauge = printed(LIGHT)
    rough = tuple(replace(r, sd_mm=0.5) if r.kind in SIZE_KINDS else r for r in gauge.readings)
    found = refused(replace(gauge, readings=rough))
    assert {f"scale and offset along {axis}" for axis in "xyz"} <= set(found)
    assert "smaller errors" in found["scale and offset along x"].says


def test_lines_that_are_read_badly_do_not_tell_the_spread():
    gauge = printed(LIGHT)
    rough = tuple(replace(r, sd_mm=0.3) if r.kind in WIDTH_KINDS else r for r in gauge.readings)
    assert set(refused(replace(gauge, readings=rough))) == {"blur_mm"}


def test_a_slip_is_named():
    gauge = printed(LIGHT, np.random.default_rng(919))
    slipped = tuple(
        replace(r, measured_mm=r.measured_mm + 0.15) if r.id == "groove-y-12" else r for r in gauge.readings
    )
    notes = fit_process(replace(gauge, readings=slipped)).notes
    assert any(note.startswith("groove-y-12 is ") for note in notes)


def test_heavy_tails_are_told_where_the_readings_are_good_enough():
    gauge = printed(Light(0.1, 0.12, 0.035), heavy_tails=True)
    sharp = tuple(replace(r, sd_mm=0.002) for r in gauge.readings)
    assert any(
        "a heavy-tailed spread fits better" in n for n in fit_process(replace(gauge, readings=sharp)).notes
    )
    assert any("can't tell heavy tails" in n for n in fit_process(printed(LIGHT)).notes)


def test_an_offset_that_light_does_not_explain_is_told():
    gauge = printed(LIGHT)
    longer = tuple(
        replace(r, measured_mm=r.measured_mm + (0.1 if r.kind is GaugeKind.LENGTH else -0.1))
        if r.kind in (GaugeKind.LENGTH, GaugeKind.INNER) and r.axis == "x"
        else r
        for r in gauge.readings
    )
    notes = fit_process(replace(gauge, readings=longer)).notes
    assert [note[:14] for note in notes if "something else moves edges" in note] == ["lengths along "]


def test_the_least_lies_between_two_steps():
    steps = DESIGN.least_steps_mm("pin")
    least = Reading("least-pin", GaugeKind.LEAST, "", 4, 0.0, steps[2], steps[2], "pin")
    first = Reading("least-hole", GaugeKind.LEAST, "", 3, 0.0, 0.105, 0.105, "hole")
    figures = named(replace(printed(LIGHT), readings=(least, first)))
    assert (figures["least_pin_mm"].range.low, figures["least_pin_mm"].range.high) == (steps[1], steps[2])
    assert figures["least_hole_mm"].range.low == 0.0


def test_readings_that_make_no_sense_are_fitted_or_refused_but_never_raise():
    rng = np.random.default_rng(60311)
    for spread in (0.02, 0.1, 0.3):
        gauge = printed(LIGHT)
        kept = [r for r in gauge.readings if rng.random() < 0.6]
        wild = [replace(r, measured_mm=max(0.001, r.measured_mm + rng.normal(0.0, spread))) for r in kept]
        fitted = fit_process(replace(gauge, readings=tuple(wild)))
        for figure in fitted.figures:
            span = figure.range
            assert np.isfinite([span.low, span.likely, span.high]).all()
            assert figure.told
        assert all(refusal.rows for refusal in fitted.refusals)
