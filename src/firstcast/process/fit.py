"""The fit of the process to a measured gauge: every figure with its 90 % interval, or why the data don't tell it.

Lengths give scale and offset per axis; with those scales, bridges give Dp and cure depth, and ridges, grooves and
gratings the sideways spread. A figure that the readings leave open, or hardly bound, is refused with the rows to add.
If the readings scatter more than their errors allow (5 % level), intervals are widened by the ratio, as R. T. Birge
did (1932): errors that are put down too small must not make figures look sure.
"""

import math
from collections.abc import Iterable, Sequence

from scipy.stats import chi2 as chi2_law

from firstcast.gauge_design import BRIDGE_LAYERS, MEASURED_FROM_PX, RIDGE_PX, GaugeDesign, GaugeKind
from firstcast.process.fitted import Figure, Fitted, Refusal, Scatter
from firstcast.process.gauge import WIDTH_KINDS, Gauge, Reading, dose_inside
from firstcast.process.light import edge_growth_mm
from firstcast.process.light_fit import Ends, LightFit, LightModel, fit_light
from firstcast.process.size_fit import NORMAL_90, SIZE_KINDS, LineFit, fit_line, told_apart
from firstcast.process.spread import GaussianSpread
from firstcast.ranges import Range
from firstcast.vocabulary import Basis

WIDEST_RATIO = 3.0
"""A figure of light whose interval spans more is refused: chosen; published laboratories are 7 times apart in Dp."""
WIDEST_SCALE, WIDEST_OFFSET_MM = 0.005, 0.1
"""Half-width from which scale and offset are refused: chosen; resins are taken to shrink by 0.2 to 1 %."""
SCATTER_LEVEL = 0.05
FAR_OFF = 3.5
"""A reading so many standard deviations off is named: by chance one in 2,000 is."""
_DOUBT = 2.5
"""Ratio of an offset's distance from what light explains to its standard deviation, from which it is told."""


def fit_process(gauge: Gauge) -> Fitted:
    """Every figure that the readings of a gauge tell, with 90 % intervals."""
    sizes, size_scatter, refusals, notes = _fit_sizes(gauge)
    figures = [*_size_figures(gauge, sizes, size_scatter.widened, refusals)]
    scales = {axis: fit.scale for axis, fit in sizes.items() if f"scale_{axis}" in {f.name for f in figures}}
    scatters = [size_scatter] if size_scatter.spare > 0 else []
    light, told = _fit_light(gauge, scales, refusals)
    if light is not None:
        scatter = _scatter("light", light.chi2, light.spare)
        scatters.append(scatter)
        figures += _light_figures(light, scatter.widened, refusals)
        notes += [*_far_off(light.model.rows, light.model.misfits(light.logs)[0] * -1.0), *told]
        notes += _offset_notes(figures)
    figures += _least_figures(gauge)
    return Fitted(tuple(figures), tuple(refusals), tuple(scatters), tuple(notes))


def _scatter(kind: str, chi2: float, spare: int) -> Scatter:
    unlikely = spare > 0 and float(chi2_law.sf(chi2, spare)) < SCATTER_LEVEL
    return Scatter(kind, chi2, spare, math.sqrt(chi2 / spare) if unlikely else 1.0)


def _fit_sizes(gauge: Gauge) -> tuple[dict[str, LineFit], Scatter, list[Refusal], list[str]]:
    fits: dict[str, LineFit] = {}
    refusals, notes = [], []
    for axis in "xyz":
        rows = gauge.of(*SIZE_KINDS, axis=axis)
        if told_apart(rows):
            fits[axis] = fit_line(rows)
            notes += _far_off(rows, fits[axis].misfits)
        else:
            why = "no length is measured" if not rows else "one length can't tell scale from offset"
            refusals.append(Refusal(f"scale and offset along {axis}", why, _missing(gauge, SIZE_KINDS, axis)))
    chi2, spare = sum(f.chi2 for f in fits.values()), sum(f.spare for f in fits.values())
    return fits, _scatter("lengths", chi2, spare), refusals, notes


def _size_figures(
    gauge: Gauge, sizes: dict[str, LineFit], widened: float, refusals: list[Refusal]
) -> list[Figure]:
    figures = []
    for axis, fit in sizes.items():
        rows = len(fit.misfits)
        scale, offset = (NORMAL_90 * widened * sd for sd in (fit.scale_sd, fit.offset_sd_mm))
        if scale > WIDEST_SCALE or offset > WIDEST_OFFSET_MM:
            why = f"the lengths along {axis} leave the scale open by ±{100 * scale:.2g} %"
            better = _missing(gauge, SIZE_KINDS, axis) or ("longer lengths, or the same with smaller errors",)
            refusals.append(Refusal(f"scale and offset along {axis}", why, better))
            continue
        said = f"measured = scale · nominal + offset, along {axis}"
        figures.append(Figure("", f"scale_{axis}", _within(fit.scale, scale, "ratio"), rows, said))
        figures.append(Figure("", f"offset_{axis}_mm", _within(fit.offset_mm, offset, "mm"), rows, said))
    return [*figures, *_shrinkages(figures)]


def _within(likely: float, half: float, unit: str) -> Range:
    return Range(likely - half, likely, likely + half, unit, Basis.GAUGE)


def _shrinkages(figures: Sequence[Figure]) -> list[Figure]:
    """1 - scale as the materials have it: x and y in one figure, which holds both intervals where they differ."""
    by_name = {figure.name: figure for figure in figures}
    found = []
    for name, axes in (("shrink_xy_ratio", "xy"), ("shrink_z_ratio", "z")):
        scales = [by_name[f"scale_{axis}"] for axis in axes if f"scale_{axis}" in by_name]
        if len(scales) < len(axes):
            continue
        ranges = [scale.range for scale in scales]
        likely = sum(r.likely for r in ranges) / len(ranges)
        low, high = min(r.low for r in ranges), max(r.high for r in ranges)
        joint = Range(1.0 - high, 1.0 - likely, 1.0 - low, "ratio", Basis.GAUGE)
        found.append(
            Figure("resin", name, joint, sum(s.rows for s in scales), f"1 - scale along {' and '.join(axes)}")
        )
    return found


def _fit_light(
    gauge: Gauge, scales: dict[str, float], refusals: list[Refusal]
) -> tuple[LightFit | None, list[str]]:
    bridges, lines = gauge.of(GaugeKind.BRIDGE), gauge.of(*WIDTH_KINDS)
    if len({reading.count for reading in bridges}) < 2:
        why = f"{len(bridges) or 'no'} bridge is measured; one layer and many tell depth from exposure"
        refusals.append(Refusal("depth_mm, cure_depth_mm", why, _bridges_missing(gauge)))
        why = "lines tell the spread only where bridges tell the dose"
        refusals.append(Refusal("blur_mm", why, _bridges_missing(gauge)))
        return None, []
    model = LightModel(gauge, scales)
    found = fit_light(model)
    if not lines:
        rows = _missing(gauge, (GaugeKind.RIDGE, GaugeKind.GROOVE), "")
        refusals.append(Refusal("blur_mm", "no ridge, groove or grating is measured", rows[:6]))
        return found, []
    heavy = fit_light(LightModel(gauge, scales, heavy_tails=True))
    better = found.chi2 - heavy.chi2
    if abs(better) < 4.0:
        said = f"the readings can't tell heavy tails from a Gaussian (chi² {heavy.chi2:.1f} and {found.chi2:.1f})"
    else:
        said = (
            f"a {'heavy-tailed' if better > 0 else 'Gaussian'} spread fits better (chi² {heavy.chi2:.1f} heavy-tailed, "
            f"{found.chi2:.1f} Gaussian){'; [process] light = heavy-tailed takes it' if better > 0 else ''}"
        )
    return found, [f"{said}; blur_mm is the Gaussian's σ"]


_LIGHT_FIGURES = (
    ("resin", "depth_mm", (1.0, 0.0, 0.0), "Dp: light falls to 1/e over it"),
    ("resin", "cure_depth_mm", (0.0, 1.0, 0.0), "Cd: how deep one layer's exposure cures"),
    ("printer", "blur_mm", (0.0, 0.0, 1.0), "σ of the light's sideways spread"),
)


def _light_figures(fit: LightFit, widened: float, refusals: list[Refusal]) -> list[Figure]:
    gauge, figures = fit.model.gauge, []
    bridges, lines = len(fit.model.bridges), len(fit.model.rows) - len(fit.model.bridges)
    for table, name, direction, says in _LIGHT_FIGURES[: fit.model.unknowns]:
        ends = fit.interval(direction[: fit.model.unknowns], widened=widened)
        told = "depth_mm" in {figure.name for figure in figures}
        add = _lines_missing(gauge) if name == "blur_mm" and told else _bridges_missing(gauge)
        span = _span(ends)
        if span is None:
            refusals.append(Refusal(name, _open_says(name, ends), add))
            continue
        figures.append(Figure(table, name, span, lines if name == "blur_mm" else bridges, says))
    if {"depth_mm", "cure_depth_mm"} <= {figure.name for figure in figures}:
        ends = fit.interval((-1.0, 1.0, 0.0)[: fit.model.unknowns], widened=widened)
        low, best, high = (math.exp(math.exp(end)) if end < 2.5 else math.inf for end in ends)
        if math.isfinite(high):
            span = Range(low, best, high, "ratio", Basis.GAUGE)
            figures.append(Figure("", "overdose_ratio", span, bridges, "E0 / Ec of one layer"))
    if "blur_mm" in {figure.name for figure in figures}:
        figures.append(_edge_figure(fit, widened))
    return figures


def _span(ends: Ends) -> Range | None:
    """The interval as a range; None where it is open, or too wide to be of use."""
    if not ends.high - ends.low <= math.log(WIDEST_RATIO):
        return None
    low, best, high = (math.exp(end) for end in ends)
    return Range(low, best, high, "mm", Basis.GAUGE)


def _open_says(name: str, ends: Ends) -> str:
    low = "0" if math.isinf(ends.low) else f"{math.exp(ends.low):.3g}"
    high = "anything" if math.isinf(ends.high) else f"{math.exp(ends.high):.3g}"
    return f"the readings leave {name} anywhere from {low} to {high}"


def _edge_figure(fit: LightFit, widened: float) -> Figure:
    """How far upright walls grow by the fitted light; its interval by the covariance, straight about the best."""

    def growth(logs) -> float:
        light, gauge = fit.model.light(logs), fit.model.gauge
        dose = dose_inside(light, gauge.layer_mm, gauge.relief_layers)
        return edge_growth_mm(GaussianSpread(light.blur_mm), min(1.0 / dose, 1.0 - 1e-9))

    best, step = growth(fit.logs), 1e-4
    slope = []
    for k in range(len(fit.logs)):
        moved = [fit.logs.copy(), fit.logs.copy()]
        moved[0][k] -= step
        moved[1][k] += step
        slope.append((growth(moved[1]) - growth(moved[0])) / (2 * step))
    assert fit.covariance is not None
    half = NORMAL_90 * widened * math.sqrt(sum(a * b * c for a, row in zip(slope, fit.covariance, strict=True) for b, c in zip(slope, row, strict=True)))  # fmt: skip
    return Figure(
        "",
        "edge_growth_mm",
        _within(best, half, "mm"),
        len(fit.model.rows),
        "how far light moves an upright wall",
    )


def _offset_notes(figures: Iterable[Figure]) -> list[str]:
    """Where an offset is not what the light explains: two faces that each grow."""
    by_name = {figure.name: figure.range for figure in figures}
    edge = by_name.get("edge_growth_mm")
    notes = []
    for axis in "xy":
        offset = by_name.get(f"offset_{axis}_mm")
        if edge is None or offset is None:
            continue
        sd = math.hypot(offset.high - offset.low, 2.0 * (edge.high - edge.low)) / (2.0 * NORMAL_90)
        if abs(offset.likely - 2.0 * edge.likely) > _DOUBT * sd:
            notes.append(
                f"lengths along {axis} are {1000 * offset.likely:.0f} µm too long whatever their size, of which light "
                f"explains {2000 * edge.likely:.0f}: something else moves edges too"
            )
    return notes


def _least_figures(gauge: Gauge) -> list[Figure]:
    """The least that cures or stays open: between the last step that fails and the first that does not.

    The steps bound it as long as they were told right, so the interval holds more than 90 %.
    """
    design = _design(gauge)
    figures = []
    for reading in gauge.of(GaugeKind.LEAST):
        steps = design.least_steps_mm(reading.row)
        below = max((step for step in steps if step < reading.measured_mm - 1e-6), default=0.0)
        span = Range(below, reading.measured_mm, reading.measured_mm, "mm", Basis.GAUGE)
        says = f"the least {reading.row} that comes out; the one before it does not"
        figures.append(Figure("", f"least_{reading.row.replace('-', '_')}_mm", span, 1, says))
    return figures


def _far_off(rows: Sequence[Reading], misfits: Iterable[float]) -> list[str]:
    return [
        f"{row.id} is {abs(miss):.1f} times its error away from the fit: measure it again"
        for row, miss in zip(rows, misfits, strict=True)
        if abs(miss) > FAR_OFF
    ]


def _design(gauge: Gauge) -> GaugeDesign:
    return GaugeDesign(gauge.printer, gauge.resin, gauge.pixel_mm, gauge.layer_mm)


def _missing(gauge: Gauge, kinds: Sequence[GaugeKind], axis: str) -> tuple[str, ...]:
    """Rows of some kinds that the table leaves empty."""
    there = {reading.id for reading in gauge.readings}
    spots = _design(gauge).spots()
    return tuple(
        s.id for s in spots if s.kind in kinds and (not axis or s.axis == axis) and s.id not in there
    )


def _bridges_missing(gauge: Gauge) -> tuple[str, ...]:
    rows = _missing(gauge, (GaugeKind.BRIDGE,), "z")
    wanted = [f"bridge-z-{n}" for n in (BRIDGE_LAYERS[0], *BRIDGE_LAYERS[-2:], *BRIDGE_LAYERS[1:3])]
    return tuple(row for row in wanted if row in rows) or ("the bridges again, with smaller errors",)


def _lines_missing(gauge: Gauge) -> tuple[str, ...]:
    rows = _missing(gauge, (GaugeKind.RIDGE, GaugeKind.GROOVE), "")
    counts = [n for n in RIDGE_PX if n >= MEASURED_FROM_PX][::-1]
    wanted = [f"{kind}-{axis}-{n}" for n in counts for kind in ("ridge", "groove") for axis in "xy"]
    found = tuple(row for row in wanted if row in rows)[:6]
    return found or ("the ridges and grooves again, with smaller errors",)
