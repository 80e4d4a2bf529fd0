"""What bounds the carry at a place: its cap, what walls and gaps can spare, and zones that hold it."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.forecast.retention import Window, averaged
from firstcast.forecast.rings import Rings, eased

Lengths = npt.NDArray[np.float64]

EASING_RINGS = 4
"""Rings within which a bound of nothing has risen to the cap."""


class Narrow(NamedTuple):
    """How much of walls and gaps may be taken at each vertex: half of what they are wider than the least, mm.

    Attributes
    ----------
    wall_mm, gap_mm : (n,) float64
        0 where the wall, or gap, is at its least or below, infinite where nothing is near it.
    """

    wall_mm: Lengths
    gap_mm: Lengths


class Limits(NamedTuple):
    """What bounds the carry at each vertex.

    Attributes
    ----------
    low_mm, high_mm : (n,) float64
        Least and greatest length, low <= 0 <= high; both 0 where nothing may change.
    even : (n,) bool
        Places whose relief is left alone: only the smooth part of the length is kept.
    """

    low_mm: Lengths
    high_mm: Lengths
    even: npt.NDArray[np.bool_]


def spared(
    rings: Rings, narrow: Narrow, before: Lengths, low: Lengths, high: Lengths, cap_mm: float
) -> tuple[Lengths, Lengths]:
    """The bounds (low, high) where walls and gaps are near their least.

    Each has its own whole spare, and as much more as even the mildest of the residuals `before` (s, n) would widen it. From
    there bounds rise evenly, by a quarter of the cap from ring to ring, so that they make no steps and take no more
    from what is stout than that.
    """
    widens_wall = np.maximum(before.min(axis=0), 0.0)
    widens_gap = np.maximum(-before.max(axis=0), 0.0)
    inward = np.minimum(-low, widens_wall + narrow.wall_mm)
    outward = np.minimum(high, widens_gap + narrow.gap_mm)
    step = cap_mm / EASING_RINGS
    return -eased(rings, inward, step, EASING_RINGS), eased(rings, outward, step, EASING_RINGS)


def within(limits: Limits, smooth: Window, length: Lengths, cap: Lengths | float) -> Lengths:
    """The length within its bounds and a cap, and even over the window where relief is left alone."""
    if limits.even.any():
        # twice, for one pass leaves a few hundredths of waves of a third of the window
        even = averaged(smooth, averaged(smooth, length))
        length = np.where(limits.even, even, length)
    return np.clip(length, np.maximum(limits.low_mm, -cap), np.minimum(limits.high_mm, cap))
