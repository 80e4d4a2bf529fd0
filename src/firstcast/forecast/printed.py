"""The printed master as a map of a mesh's vertices: each goes along its normal to where the dose is critical.

Where the piece lies on pixels and layers isn't known, so the dose is averaged over it: D̄ is the light of all layers,
each the body's share of a layer seen through the pixel's boxes and the spread. An average dose would shift faces that
look up, which in truth end with their last layer, and slopes with them. So what counts as critical depends on how
steep a face is: the level at which D̄ of a *plane* stands where the plane's dose, point by point, is critical
(`critical_levels`). Planes come out exactly; what bends deviates from its plane as D̄ says.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.dose import (
    STRIP_BYTES,
    Blur,
    edges_along,
    light_of_shares,
    pool_for,
    shares_of,
    strips_of,
)
from firstcast.fields.slabs import slabs_of
from firstcast.forecast.light import REACH_SIGMAS, Depth, depth_of
from firstcast.process.chain import ChainScenario
from firstcast.process.spread import GaussianSpread
from firstcast.process.spread_patterns import gaussian_parts

REACH_MM = 0.16
"""How far from the surface light is followed: what grows or is lost by more counts as that much."""

SIDE_REACH_MM = 0.1
"""How far to the sides: walls grow less than undersides, and light is kept in whole bricks beyond it."""

MOST_CELLS = 24
"""Light that goes farther than so many half pixels is counted as if it came from there."""

TILTS = 129
"""Entries of the table of critical levels, by the z of the normal from -1 to 1."""

STEP_MM = 0.0005
"""Step along a plane's normal in that table."""


def voxels_of(chain: ChainScenario) -> npt.NDArray[np.float64]:
    """(3,) mm: half a pixel, half a pixel, half a layer."""
    return 0.5 * np.array([*chain.pixel_mm, chain.layer_mm])


def print_moves_of(
    points: Points,
    triangles: Triangles,
    normals: npt.NDArray[np.float64],
    chains: Sequence[ChainScenario],
    *,
    strip_bytes: int = STRIP_BYTES,
) -> npt.NDArray[np.float64]:
    """(s, n) float64: how far each vertex of a body is printed outside of its place, mm along its normal, per chain.

    Parameters
    ----------
    points : (n, 3) float64
        The body's vertices, mm, in the printer's axes, z away from the build platform.
    triangles : (m, 3) int32
        Closed, outward.
    normals : (n, 3) float64
        Outward unit vectors.
    chains : sequence of ChainScenario
        Scenarios of one printer: they share pixel and layer. Nothing moves in those without a print.
    strip_bytes : int
        What a strip of the body may take; it changes no result.

    Raises
    ------
    SizeError
        Even the narrowest strip would take more than 6 GB.

    Notes
    -----
    A gap that light closes ends at the middle of the gap, a wall that doesn't stand at the middle of the wall.
    What moves farther than `REACH_MM` ends there.
    """
    moved = np.zeros((len(chains), len(points)))
    printed = [(row, _Exposed.by(chain)) for row, chain in enumerate(chains) if chain.prints]
    if not printed:
        return moved
    reach = SIDE_REACH_MM, SIDE_REACH_MM, REACH_MM
    slabs = slabs_of(np.asarray(points, np.float64), triangles, voxels_of(chains[printed[0][0]]), reach)
    blurs = [blur for _, exposed in printed for blur in exposed.blurs]
    strips = strips_of(slabs, search_mm=REACH_MM, blurs=blurs, most_bytes=strip_bytes)
    pool, shares = pool_for(slabs, strips), None
    for strip in strips:
        shares = shares_of(slabs, strip, pool, shares)
        for row, exposed in printed:
            depth = exposed.depth
            light = light_of_shares(shares, pool, exposed.blurs, kept=depth.kept, later=depth.later)
            edges_along(slabs, strip, normals, light, exposed.levels, moved[row], reach_mm=REACH_MM)
    return moved


class _Exposed(NamedTuple):
    """What a chain's light needs to know, the same for all strips."""

    depth: Depth
    blurs: list[Blur]
    levels: npt.NDArray[np.float64]

    @classmethod
    def by(cls, chain: ChainScenario) -> "_Exposed":
        depth = depth_of(chain)
        return cls(depth, blurs_of(chain), critical_levels(chain) / depth.own)


def blurs_of(chain: ChainScenario) -> list[Blur]:
    """The pixel's boxes and the spread as weights on half pixels.

    A box of a pixel is that of half a pixel, which shares hold already, at two places: so of a grey edge's two boxes
    one is left, and of a hard edge's one none.
    """
    return [
        Blur(
            (weight * _weights(part, chain.pixel_mm[0], chain.boxes)).astype(np.float32),
            _weights(part, chain.pixel_mm[1], chain.boxes).astype(np.float32),
        )
        for weight, part in gaussian_parts(chain.spread)
    ]


def _weights(spread: GaussianSpread, pixel_mm: float, boxes: int) -> npt.NDArray[np.float64]:
    """Weights at half pixels: the mean of the remaining boxes' response half a voxel to either side."""
    half = pixel_mm / 2
    reach = min(int(np.ceil((REACH_SIGMAS * spread.sigma_mm + boxes * half) / half)), MOST_CELLS)
    x = half * np.arange(-reach, reach + 1)
    found = np.zeros(len(x))
    for shift in (-half / 2, half / 2):
        found += 0.5 * _response(spread, x + shift, pixel_mm, boxes - 1)
    return found / found.sum()


def _response(spread: GaussianSpread, x, pixel_mm: float, boxes: int) -> npt.NDArray[np.float64]:
    """Density of a point's light behind none or one box of a pixel, averaged over a voxel where it is no density."""
    if boxes == 0 and spread.sigma_mm < pixel_mm / 8:
        width = pixel_mm / 2
    elif boxes == 0:
        return np.exp(-0.5 * (x / spread.sigma_mm) ** 2)
    else:
        width = pixel_mm
    return spread.edge_response(x + width / 2) - spread.edge_response(x - width / 2)


@lru_cache(maxsize=16)
def critical_levels(chain: ChainScenario, count: int = TILTS) -> npt.NDArray[np.float64]:
    """(count,) float64: averaged dose, over critical, where planes end whose normals' z runs from -1 to 1.

    It takes as long as the light of a small body and is asked for in every run: kept, and not to be written to.
    """
    levels = np.array([_critical_level(chain, float(c)) for c in np.linspace(-1.0, 1.0, count)])
    levels.flags.writeable = False
    return levels


def _critical_level(chain: ChainScenario, upward: float) -> float:
    """The averaged dose of a plane at the place where its dose is critical."""
    depth = depth_of(chain)
    # so far that the later layers' light has died off, and boxes and spread have
    far = 2 * REACH_MM + chain.layer_mm
    s = np.arange(-far, far + STEP_MM / 2, STEP_MM)
    sideways = np.sqrt(max(1.0 - upward * upward, 0.0))
    spread = [(w, sideways * part.sigma_mm) for w, part in gaussian_parts(chain.spread)]
    boxes = [sideways * max(chain.pixel_mm)] * chain.boxes
    true = plane_dose(s, depth, chain.layer_mm * upward, spread, boxes)
    averaged = plane_dose(s, depth, chain.layer_mm * upward, spread, [*boxes, chain.layer_mm * abs(upward)])
    solid = np.flatnonzero(true >= 1.0)
    if not len(solid):
        return float(averaged.max()) * 2.0 + 1.0
    last = int(solid[-1])
    if last + 1 >= len(s):
        return float(averaged[-1])
    step = true[last] - true[last + 1]
    share = (true[last] - 1.0) / step if step > 0 else 0.0
    # where the dose falls in one step the body ends there, in the step's middle
    share = 0.5 if step > 0.2 * max(true.max(), 1.0) else share
    return float(averaged[last] + share * (averaged[last + 1] - averaged[last]))


def plane_dose(s, depth: Depth, rise_mm: float, spread, boxes: list[float]) -> npt.NDArray[np.float64]:
    """Dose over critical at distances s outside of a plane; a layer up is `rise_mm` farther out."""
    own = np.zeros(len(s))
    for weight, sigma in spread:
        own += weight * _plane_share(s, sigma, boxes)
    total, left = own.copy(), depth.later
    for layer in range(1, 400):
        left *= depth.kept
        if left < 1e-6:
            break
        total += left * np.interp(s + layer * rise_mm, s, own, left=1.0, right=0.0)
    return depth.own * total


def _plane_share(s, sigma: float, boxes: list[float]) -> npt.NDArray[np.float64]:
    """Share of light at distances s outside of a lit half-space's edge that is smeared by boxes and a Gaussian."""
    response = GaussianSpread(sigma).edge_response(-s) if sigma > STEP_MM else np.where(s < 0, 1.0, 0.0)
    if sigma <= STEP_MM:
        response[np.abs(s) < STEP_MM / 2] = 0.5
    for width in boxes:
        if width > STEP_MM:
            response = _boxed(s, response, width)
    return response


def _boxed(s, values, width: float) -> npt.NDArray[np.float64]:
    """Running mean over a width, by the running integral."""
    whole = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(s))])

    def upto(x):
        inner = np.interp(x, s, whole)
        return inner + np.minimum(x - s[0], 0.0) * values[0] + np.maximum(x - s[-1], 0.0) * values[-1]

    return (upto(s + width / 2) - upto(s - width / 2)) / width
