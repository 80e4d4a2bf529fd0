"""What a printed or cast gauge teaches: scale and offset of one step."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.ranges import Range
from firstcast.vocabulary import Basis


@dataclass(frozen=True)
class GaugeFit:
    """Measured length = scale · nominal length + offset.

    `scale` is free of dimension; `offset_mm` is what every outer length gains whatever its size
    (light spreads, a film adds). `worst_mm` is the largest distance of a point from the line;
    `longest_mm` the longest nominal length.
    """

    scale: float
    offset_mm: float
    worst_mm: float
    longest_mm: float

    @property
    def shrink(self) -> Range:
        """The step's S = 1 - scale, spread by what the worst point allows over the longest length."""
        spread = self.worst_mm / self.longest_mm
        likely = 1.0 - self.scale
        return Range(likely - spread, likely, likely + spread, "ratio", Basis.GAUGE, "fitted to the gauge")


def fit_gauge(nominal_mm: npt.ArrayLike, measured_mm: npt.ArrayLike) -> GaugeFit:
    """The line through measured against nominal lengths, by least squares.

    Parameters
    ----------
    nominal_mm, measured_mm : (n,) float64
        Two different nominal lengths at least.

    Raises
    ------
    InputError
        Shapes differ, a length is not positive and finite, or there are no two different lengths.
    """
    nominal = np.asarray(nominal_mm, dtype=np.float64)
    measured = np.asarray(measured_mm, dtype=np.float64)
    if nominal.ndim != 1 or nominal.shape != measured.shape:
        raise InputError(
            f"{nominal.shape} nominal against {measured.shape} measured lengths",
            where="gauge",
            mend="Give one measured length per nominal length.",
        )
    both = np.concatenate([nominal, measured])
    if not (np.isfinite(both).all() and (both > 0).all()):
        raise InputError("a length is not positive", where="gauge", mend="Measure again.")
    if len(np.unique(nominal)) < 2:
        raise InputError(
            "scale and offset can't be told apart by one length",
            where="gauge",
            mend="Measure two lengths at least, such as 10 and 35 mm.",
        )
    middle = nominal.mean()
    scale = float(((nominal - middle) * (measured - measured.mean())).sum() / ((nominal - middle) ** 2).sum())
    offset = float(measured.mean() - scale * middle)
    worst = float(np.abs(measured - (scale * nominal + offset)).max())
    return GaugeFit(scale, offset, worst, float(nominal.max()))
