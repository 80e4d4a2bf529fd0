"""What is measured on a printed gauge, and what the forward formulas say it should measure.

Bridges are cured by so many layers and no more, so their thickness is n h + `light.print_through_mm` of n layers:
one layer alone tells Cd = Dp ln(E0 / Ec), many tell besides how much of the light goes through a layer, which is Dp.
Ridges, grooves and gratings are lit lines: cured where the spread light of their edges, `spread.half_plane`, times
the dose deep inside, `light.mean_overdose`, reaches critical.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.gauge_design import GRATING_RIDGES, GaugeKind
from firstcast.process.light import kept_per_layer, mean_overdose, overdose_ratio, print_through_mm
from firstcast.process.spread import GaussianSpread, Spread, Values, half_plane, heavy_tailed_like

WIDTH_KINDS = (GaugeKind.RIDGE, GaugeKind.GROOVE, GaugeKind.GRATING)
_REACH_MM = 0.6
"""Edges are sought so far from where they are drawn."""
_HALVINGS = 24
"""Of the reach: to 4e-8 mm, from which one step of Newton's goes to rounding."""


@dataclass(frozen=True)
class Reading:
    """One measured row.

    Attributes
    ----------
    id : str
    kind : GaugeKind
    axis : str
        x, y, z, or "" where none is told.
    count : int
        Pixels of a width, layers of a bridge, else the row's number.
    nominal_mm : float
        0 for a `least`, whose nominal is what is measured.
    measured_mm : float
    sd_mm : float
        Standard deviation of the reading: half of what is given as plus or minus.
    row : str
        Of a `least`: which stepped row it is about.
    """

    id: str
    kind: GaugeKind
    axis: str
    count: int
    nominal_mm: float
    measured_mm: float
    sd_mm: float
    row: str = ""


@dataclass(frozen=True)
class Gauge:
    """How the gauge was printed, and what was read off it."""

    printer: str
    resin: str
    pixel_mm: tuple[float, float]
    layer_mm: float
    relief_layers: int
    grey_edges: bool
    readings: tuple[Reading, ...]

    def of(self, *kinds: GaugeKind, axis: str = "") -> tuple[Reading, ...]:
        """The readings of some kinds, along an axis if one is named."""
        return tuple(r for r in self.readings if r.kind in kinds and (not axis or r.axis == axis))


class Light(NamedTuple):
    """What the fit is after: Dp, the depth Cd that one layer's exposure cures, and the sideways spread σ, mm.

    With heavy tails σ names the Lorentzian of the same quartiles (`heavy_tailed_like`), as everywhere.
    """

    depth_mm: float
    cured_mm: float
    blur_mm: float


def bridge_mm(light: Light, layer_mm: float, layers: int) -> float:
    """Thickness of a bridge cured by so many layers; 0 where nothing is solid.

    >>> round(bridge_mm(Light(0.1, 0.12, 0.02), 0.05, 1), 6)  # one layer: the working curve
    0.12
    """
    overdose = overdose_ratio(light.cured_mm, light.depth_mm)
    through = print_through_mm(overdose, layer_mm=layer_mm, depth_mm=light.depth_mm, layers=layers)
    return layers * layer_mm + through


def dose_inside(light: Light, layer_mm: float, layers: int) -> float:
    """Dose over critical inside a body under so many layers, averaged over a layer."""
    overdose = overdose_ratio(light.cured_mm, light.depth_mm)
    kept = kept_per_layer(layer_mm, light.depth_mm)
    return mean_overdose(overdose, layer_mm=layer_mm, depth_mm=light.depth_mm) * (1.0 - kept**layers)


@dataclass(frozen=True)
class Lines:
    """Ridges, grooves and gratings along one axis, as arrays (n,)."""

    width_mm: Values
    is_groove: npt.NDArray[np.bool_]
    lit_lines: npt.NDArray[np.float64]
    """(n, m): middles of the lit lines beside a row's own, in periods of twice the width; NaN for none."""

    @classmethod
    def of(cls, readings: tuple[Reading, ...]) -> "Lines":
        """The lines that some readings are about."""
        beside = [k for k in range(-(GRATING_RIDGES // 2), GRATING_RIDGES // 2 + 1) if k]
        gratings = np.array([r.kind is GaugeKind.GRATING for r in readings], dtype=bool)
        return cls(
            np.array([r.nominal_mm for r in readings], dtype=np.float64),
            np.array([r.kind is GaugeKind.GROOVE for r in readings], dtype=bool),
            np.where(gratings[:, None], np.array(beside, dtype=np.float64), np.nan),
        )

    def response(self, spread: Spread, x_mm: Values, pixel_mm: float, boxes: int) -> Values:
        """(n,) share of full light at x from a row's middle, on it if the row is lit, off it for a groove."""
        middles = np.concatenate([np.zeros((len(x_mm), 1)), self.lit_lines], axis=1)
        from_middle = x_mm[:, None] - 2.0 * self.width_mm[:, None] * middles
        half = 0.5 * self.width_mm[:, None]
        edges = np.stack([from_middle + half, from_middle - half])
        lit = half_plane(spread, np.nan_to_num(edges), pixel_mm=pixel_mm, boxes=boxes)
        return np.where(np.isnan(from_middle), 0.0, lit[0] - lit[1]).sum(axis=1)


def spread_of(blur_mm: float, heavy_tails: bool) -> Spread:
    """The spread that a blur names."""
    gaussian = GaussianSpread(blur_mm)
    return heavy_tailed_like(gaussian) if heavy_tails else gaussian


def line_widths(
    lines: Lines, spread: Spread, dose: float, *, pixel_mm: float, grey_edges: bool
) -> tuple[Values, Values]:
    """Width of what is cured of each ridge, of what stays open of each groove, and how it follows the response.

    Parameters
    ----------
    dose : float
        Over critical, deep inside.
    grey_edges : bool
        Whether pixels at edges shine by the share covered. The plaque's edges lie on whole pixels, so without grey
        edges they fall on pixels wherever it is placed; with them, the place of the grid is averaged over.

    Returns
    -------
    widths : (n,) float64
        mm; 0 where nothing stands or stays open. A grating whose grooves have closed is as wide as its period.
    slopes : (n,) float64
        Change of the width with the response less its threshold, mm; 0 where nothing stands.
    """
    boxes = 2 if grey_edges else 0
    threshold = np.where(lines.is_groove, 1.0 - 1.0 / dose, 1.0 / dose) if dose > 0 else np.full(1, math.inf)

    def excess(x: Values) -> Values:
        return lines.response(spread, x, pixel_mm, boxes) - threshold

    count = len(lines.width_mm)
    low = np.zeros(count)
    is_grating = ~np.isnan(lines.lit_lines[:, 0])
    high = np.where(is_grating, lines.width_mm, 0.5 * lines.width_mm + _REACH_MM)
    stands, joined = excess(low) > 0, excess(high) >= 0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        inside = excess(middle) > 0
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    x = 0.5 * (low + high)
    step = 1e-6
    steep = (excess(x + step) - excess(x - step)) / (2.0 * step)
    moves = stands & ~joined & (steep < 0)
    slope = np.divide(-2.0, steep, out=np.zeros(count), where=moves)
    widths = np.where(stands, 2.0 * x + slope * excess(x), 0.0)
    return np.where(stands & joined & is_grating, 2.0 * lines.width_mm, widths), slope


def line_response(
    lines: Lines, spread: Spread, dose: float, widths_mm: Values, *, pixel_mm: float, grey_edges: bool
) -> Values:
    """(n,) response less its threshold at an edge held where it is: what moves it when the light changes."""
    threshold = np.where(lines.is_groove, 1.0 - 1.0 / dose, 1.0 / dose)
    boxes = 2 if grey_edges else 0
    return lines.response(spread, 0.5 * widths_mm, pixel_mm, boxes) - threshold
