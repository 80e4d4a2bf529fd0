"""What a chain of size steps comes to on a piece's own extents, and what is sure of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.process.shrink import SizeStep, chain_matrix, root_sum_square, spread_of
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


def mean_scale(steps: Sequence[SizeStep], scenario: str = "likely") -> float:
    """What undoing some steps multiplies the size by, mean over the three axes."""
    return float(np.cbrt(np.linalg.det(chain_matrix(steps, scenario))))


def in_figure_axes(
    size_steps: tuple[SizeStep, ...], turn_to_print: npt.ArrayLike | None
) -> tuple[SizeStep, ...]:
    """The steps, those in the printer's axes turned back into the figure's.

    Parameters
    ----------
    turn_to_print : (3, 3) or None
        Rotation from figure space to print space; None leaves the steps as they are.
    """
    if turn_to_print is None:
        return size_steps
    back = np.asarray(turn_to_print, dtype=np.float64).T
    return tuple(step.placed(back) if step.frame == "printer" else step for step in size_steps)
