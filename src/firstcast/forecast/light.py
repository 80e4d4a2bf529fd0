"""The light of a chain as the numbers that a cured surface is computed from."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.fields.cure import Light
from firstcast.process.chain import ChainScenario
from firstcast.process.light import kept_per_layer, print_through_mm
from firstcast.process.spread import GaussianSpread
from firstcast.process.spread_patterns import gaussian_parts, line_kernel

REACH_SIGMAS = 4.0
"""Gaussian light is followed so far: 6e-5 of it falls beyond on either side."""


def light_of(chain: ChainScenario) -> Light:
    """The light of a chain on its pixel grid and its layers."""
    wide, high = chain.pixel_mm
    spreads = tuple(
        (share, _weights(part, wide), _weights(part, high)) for share, part in gaussian_parts(chain.spread)
    )
    kept, own, later = depth_of(chain)
    return Light(
        pixel_mm=chain.pixel_mm,
        layer_mm=chain.layer_mm,
        grey_edges=chain.grey_edges,
        spreads=spreads,
        kept=kept,
        own=own,
        later=later,
        deep=own * (1 + later * kept / (1 - kept)),
        as_edge=chain.spread.width_mm > max(chain.pixel_mm) / 3,
        growth_mm=growth_mm(chain),
    )


class Depth(NamedTuple):
    """Light in depth: what passes a layer, a layer's own dose at its middle, how much more later layers count."""

    kept: float
    own: float
    later: float


def depth_of(chain: ChainScenario) -> Depth:
    """A chain's light in depth; the later layers' mean over their thickness is exact by sinh."""
    if chain.depth_mm == 0:
        return Depth(0.0, chain.overdose, 0.0)
    half = chain.layer_mm / (2 * chain.depth_mm)
    kept = kept_per_layer(chain.layer_mm, chain.depth_mm)
    return Depth(kept, float(chain.overdose * np.exp(-half)), float(np.sinh(half) / half))


def growth_mm(chain: ChainScenario) -> float:
    """How far beyond the master something may be cured."""
    through = 0.0
    if chain.depth_mm > 0:
        through = print_through_mm(chain.overdose, layer_mm=chain.layer_mm, depth_mm=chain.depth_mm)
    return max(chain.edge_growth_mm, through, 0.0) + chain.layer_mm


def _weights(spread: GaussianSpread, pixel_mm: float) -> npt.NDArray[np.float32]:
    weights = line_kernel(spread, pixel_mm, REACH_SIGMAS * spread.sigma_mm).weights
    return (weights / weights.sum()).astype(np.float32)
