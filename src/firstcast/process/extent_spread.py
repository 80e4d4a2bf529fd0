"""How large the casting may come along one axis of the figure, given what is sure of each size step."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.process.shrink import SizeStep, root_sum_square, spread_of
from firstcast.ranges import Range

AXES = ("x", "y", "z")


@dataclass(frozen=True)
class ExtentSpread:
    """One extent of a piece: wanted, in the master, and how large the casting may come."""

    axis: str
    wanted_mm: float
    master_mm: float
    cast_mm: Range
    likely_error_mm: float


def spread_along(
    steps: Sequence[SizeStep], matrix: npt.NDArray[np.float64], axis: int, extent_mm: float
) -> ExtentSpread:
    """The spread of one extent.

    Parameters
    ----------
    steps : sequence of SizeStep
        All steps, in the figure's axes, whoever allows for them.
    matrix : (3, 3) float64
        Figure → master.
    axis : int
        0, 1 or 2, of the figure.
    extent_mm : float
        The extent wanted of the casting.
    """
    direction = np.eye(3)[axis]
    ratio = spread_of(steps, direction)
    low, likely, high = (end * extent_mm for end in (ratio.low, ratio.likely, ratio.high))
    return ExtentSpread(
        axis=AXES[axis],
        wanted_mm=extent_mm,
        master_mm=float(np.linalg.norm(matrix @ direction)) * extent_mm,
        cast_mm=replace(ratio, low=low, likely=likely, high=high, unit="mm"),
        likely_error_mm=root_sum_square(steps, direction) * extent_mm,
    )
