"""Light in photopolymer: how deep it cures, through how many layers, and where an edge ends up.

z points away from the build platform, so a layer's far side, where the light comes in, has the greater z.
Light from layer k, whose far side is at t_k, reaches what lies nearer the platform:

    D(z) = Σ_{t_k ≥ z} E_k exp(-(t_k - z) / Dp)                       (Beer-Lambert, layers added up)

and what has D ≥ Ec is solid. Working curve Cd = Dp ln(E0 / Ec): P. F. Jacobs, Rapid Prototyping &
Manufacturing (1992). Sideways spread: `firstcast.process.spread`.

Exposures are ratios to Ec here ("overdose" E0 / Ec) unless a name carries mJ/cm².
"""

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.process.spread import Spread, Values, half_plane


def cure_depth_mm(exposure_mj_cm2: float, critical_mj_cm2: float, depth_mm: float) -> float:
    """The working curve, Cd = Dp ln(E0 / Ec): how deep one exposure cures; 0 below critical."""
    return max(0.0, depth_mm * math.log(exposure_mj_cm2 / critical_mj_cm2))


def exposure_mj_cm2(cured_mm: float, critical_mj_cm2: float, depth_mm: float) -> float:
    """The working curve turned round, E0 = Ec exp(Cd / Dp): the least exposure that cures so deep."""
    return critical_mj_cm2 * math.exp(cured_mm / depth_mm)


def exposure_time_s(exposure_mj_cm2: float, irradiance_mw_cm2: float) -> float:
    """How long light of an irradiance must shine: 1 mW is 1 mJ per second."""
    return exposure_mj_cm2 / irradiance_mw_cm2


def overdose_ratio(cured_mm: float, depth_mm: float) -> float:
    """E0 / Ec of an exposure that is set to cure to a depth: exp(Cd / Dp)."""
    return math.exp(cured_mm / depth_mm)


def kept_per_layer(layer_mm: float, depth_mm: float) -> float:
    """Share of light that gets through one layer, exp(-h / Dp); a `depth_mm` of 0 lets none through."""
    return math.exp(-layer_mm / depth_mm) if depth_mm > 0 else 0.0


def stack_dose(exposure: npt.ArrayLike, *, layer_mm: float, depth_mm: float) -> Values:
    """Dose at the far side of every layer of a stack, later layers shining through included.

    Parameters
    ----------
    exposure : (n, ...) array
        Exposure of each layer at its far side, the first layer first.

    Returns
    -------
    (n, ...) float64
        D_k = E_k + exp(-h / Dp) D_(k+1), from the last layer back. Inside layer k, u below its far
        side, the dose is D_k exp(-u / Dp).
    """
    dose = np.array(exposure, dtype=np.float64)
    kept = kept_per_layer(layer_mm, depth_mm)
    for layer in range(len(dose) - 2, -1, -1):
        dose[layer] += kept * dose[layer + 1]
    return dose


def stacked_overdose(overdose: float, *, layer_mm: float, depth_mm: float, layers: float = math.inf) -> float:
    """Dose over critical at the far side of the first of many layers: r (1 - qⁿ) / (1 - q), q = exp(-h / Dp)."""
    kept = kept_per_layer(layer_mm, depth_mm)
    return overdose * (1.0 - kept**layers) / (1.0 - kept)


def mean_overdose(overdose: float, *, layer_mm: float, depth_mm: float) -> float:
    """Dose over critical deep in a body, averaged over a layer: r Dp / h; r where light does not decay through."""
    return overdose * depth_mm / layer_mm if depth_mm > 0 else overdose


def print_through_mm(overdose: float, *, layer_mm: float, depth_mm: float, layers: float = math.inf) -> float:
    """How far a flat underside grows toward the platform, away from all edges.

    Parameters
    ----------
    overdose : float
        E0 / Ec of one layer.
    layers : float
        How many layers lie over it; by default infinitely many.

    Returns
    -------
    float
        Dp ln(r (1 - qⁿ) / (1 - q)) - h. Negative: so much of the first layer stays liquid; -n h
        where nothing is cured. A `depth_mm` of 0 is the null process, whose layers cure to their own depth.
    """
    dose = stacked_overdose(overdose, layer_mm=layer_mm, depth_mm=depth_mm, layers=layers)
    if dose < 1:
        return -layers * layer_mm
    return depth_mm * math.log(dose) - layer_mm if depth_mm > 0 else 0.0


class DepthKernel(NamedTuple):
    """Phase-averaged decay on a grid along z.

    The dose at grid place i is Σ_j weights[j] · exposure[i + first + j]. `beyond` is what lies further
    out than the last weight, by formula: the weights and it add up to Dp / h.
    """

    first: int
    weights: Values
    beyond: float


def depth_kernel(*, step_mm: float, layer_mm: float, depth_mm: float, reach_mm: float) -> DepthKernel:
    """Decay along z when the place of the layers is not known: averaged over it, exact over each cell.

    Notes
    -----
    A layer whose far side is u beyond z shows the section at z + u - h/2 (its middle), and far sides are
    spread evenly, one per h: weight exp(-u / Dp) / h at v = u - h/2 for u ≥ 0, integrated over cells of
    `step_mm` round v. Down-facing faces come out right to h² / 24 Dp (`underside_growth_mm`);
    up-facing ones move by `topside_growth_mm`, though in truth they stay.
    """
    if depth_mm <= 0:
        raise InputError("no depth", where="depth_kernel", mend="Leave the decay out.")
    first = math.floor(-0.5 * layer_mm / step_mm + 0.5)
    last = max(first, math.ceil(reach_mm / step_mm - 0.5))
    edges = (np.arange(first, last + 2) - 0.5) * step_mm + 0.5 * layer_mm
    decayed = depth_mm / layer_mm * np.exp(-np.maximum(edges, 0.0) / depth_mm)
    return DepthKernel(first, -np.diff(decayed), float(decayed[-1]))


def underside_growth_mm(overdose: float, *, layer_mm: float, depth_mm: float) -> float:
    """How far the phase-averaged dose moves a flat underside of a thick body: Dp ln(r Dp / h) - h / 2."""
    return depth_mm * math.log(overdose * depth_mm / layer_mm) - 0.5 * layer_mm


def topside_growth_mm(overdose: float, *, layer_mm: float, depth_mm: float) -> float:
    """How far the phase-averaged dose moves a flat top of a thick body: h / 2 + Dp ln(1 - h / (r Dp)).

    Layer by layer a top stays where its last layer ends, wherever E0 ≥ Ec: this is what averaging the dose
    errs by. -inf where the averaged dose never reaches critical.
    """
    missing = layer_mm / (overdose * depth_mm)
    return 0.5 * layer_mm + depth_mm * math.log1p(-missing) if missing < 1 else -math.inf


def edge_growth_mm(spread: Spread, threshold: float, *, pixel_mm: float = 0.0, boxes: int = 0) -> float:
    """How far beyond a lit half-plane the dose still reaches critical.

    Parameters
    ----------
    threshold : float
        Ec over the dose deep inside, above 0 and below 1: 1 / `mean_overdose`. 1/2 leaves the edge alone.
    pixel_mm, boxes
        Smearing by pixels, as in `half_plane`; without it the closed forms -σ Φ⁻¹(threshold) and
        γ cot(π threshold) hold.
    """
    alone = spread.edge_growth_mm(threshold)
    if boxes == 0 or pixel_mm == 0:
        return alone
    # Boxes are even and end after half a pixel each, so they move an edge by no more than that.
    margin = 0.5 * boxes * pixel_mm * (1.0 + 1e-9)

    def excess(outside_mm: float) -> float:
        return float(half_plane(spread, -outside_mm, pixel_mm=pixel_mm, boxes=boxes)) - threshold

    # Imported where it is used: opening a job must not wait for it.
    from scipy.optimize import root_scalar

    return float(root_scalar(excess, bracket=(alone - margin, alone + margin), xtol=1e-12).root)


def least_overdose(spread: Spread, line_mm: float, *, pixel_mm: float = 0.0, boxes: int = 0) -> float:
    """Dose over critical deep inside that it takes for a lit line so wide to cure at its middle.

    The line's peak is the response to its two edges, P(w/2) - P(-w/2); below 1 / peak nothing stands.
    """
    near, far = half_plane(spread, np.array([0.5 * line_mm, -0.5 * line_mm]), pixel_mm=pixel_mm, boxes=boxes)
    return 1.0 / float(near - far)


def laser_line_width_mm(beam_mm: float, cured_mm: float, depth_mm: float) -> float:
    """Width that one pass of a Gaussian laser beam cures, Lw = B √(Cd / 2 Dp), B to 1/e² of the peak (Jacobs).

    It is `GaussianSpread(B / 4).line_width_mm(overdose_ratio(Cd, Dp))`: kept as a check on both.
    """
    return beam_mm * math.sqrt(cured_mm / (2.0 * depth_mm))
