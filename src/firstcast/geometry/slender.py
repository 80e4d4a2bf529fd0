"""Shapes of narrow regions: pins and blades are thin and much longer than wide, grooves are shallow."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

SLENDER = 4.0
"""Length over width from which a thin place counts as a pin or blade: a shorter one is a wall."""

FLAT = 3.0
"""Width over thickness up to which it may be a pin or blade: a wider one is a wall."""


class Slender(NamedTuple):
    """A pin or blade: how long and how wide it is."""

    length_mm: float
    width_mm: float


def extents(points_mm: npt.NDArray) -> tuple[float, float, float]:
    """How far places (n, 3) reach along their principal axes, the axis of least spread first."""
    points = np.asarray(points_mm, np.float64)
    about = points - points.mean(axis=0)
    axes = np.linalg.eigh(about.T @ about)[1]
    least, middle, most = (float(extent) for extent in np.ptp(about @ axes, axis=0))
    return least, middle, most


def slender(points_mm: npt.NDArray, thickness_mm: float) -> Slender | None:
    """Length and width of a region of surface (n, 3), both sides, if it is a pin or blade; else None.

    Measured in a box along the region's principal axes, so a pin that bends counts as wider than it is.
    """
    _, width, length = extents(points_mm)
    if width > FLAT * thickness_mm or length < SLENDER * max(width, thickness_mm):
        return None
    return Slender(length, max(width, thickness_mm))
