"""Readings of a gauge that were never printed: what the forward formulas say, with errors drawn to order."""

from dataclasses import replace

import numpy as np

from firstcast.gauge_design import GaugeDesign, GaugeKind
from firstcast.process.gauge import Gauge, Light, Reading
from firstcast.process.light_fit import LightModel
from firstcast.process.size_fit import SIZE_KINDS

DESIGN = GaugeDesign("mono-35", "tough", (0.035, 0.035), 0.05, (1189, 646))
SCALES = {"x": 0.9945, "y": 0.9955, "z": 0.998}
OFFSETS_MM = {"x": 0.045, "y": 0.045, "z": 0.12}


def unread(design: GaugeDesign = DESIGN, *, grey_edges: bool = False) -> Gauge:
    """Every spot but the least ones, its measure its nominal."""
    readings = tuple(
        Reading(
            spot.id,
            spot.kind,
            spot.axis,
            int(spot.id.rpartition("-")[2]),
            spot.nominal_mm or 0.0,
            spot.nominal_mm or 0.0,
            0.5 * spot.error_mm,
        )
        for spot in design.spots()
        if spot.kind is not GaugeKind.LEAST
    )
    return Gauge(
        design.printer,
        design.resin,
        design.pixel_mm,
        design.layer_mm,
        design.relief_layers,
        grey_edges,
        readings,
    )


def printed(
    light: Light,
    rng: np.random.Generator | None = None,
    *,
    design: GaugeDesign = DESIGN,
    grey_edges: bool = False,
    heavy_tails: bool = False,
    noise: float = 1.0,
) -> Gauge:
    """The gauge as this light and `SCALES` would print it; what does not stand is left out."""
    gauge = unread(design, grey_edges=grey_edges)
    model = LightModel(gauge, SCALES, heavy_tails=heavy_tails)
    true = dict(zip((r.id for r in model.rows), model.predicted(model.logs(light)), strict=True))
    for reading in gauge.of(*SIZE_KINDS):
        side = -1.0 if reading.kind is GaugeKind.INNER else 1.0
        true[reading.id] = SCALES[reading.axis] * reading.nominal_mm + side * OFFSETS_MM[reading.axis]
    errors = {r.id: 0.0 if rng is None else noise * rng.normal(0.0, r.sd_mm) for r in gauge.readings}
    readings = tuple(
        replace(r, measured_mm=float(true[r.id] + errors[r.id])) for r in gauge.readings if true[r.id] > 0
    )
    return replace(gauge, readings=readings)


def without(gauge: Gauge, *kinds: GaugeKind, ids: tuple[str, ...] = ()) -> Gauge:
    """The gauge without the readings of some kinds and ids."""
    kept = tuple(r for r in gauge.readings if r.kind not in kinds and r.id not in ids)
    return replace(gauge, readings=kept)
