"""Size corrections from lengths: measured = S · nominal + o on outer lengths, S · nominal - o on inner ones."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.gauge_design import GaugeKind
from firstcast.process.gauge import Reading

NORMAL_90 = 1.6448536269514722
"""90 % of a normal distribution lie within so many standard deviations."""

_SIDE = {GaugeKind.LENGTH: 1.0, GaugeKind.HEIGHT: 1.0, GaugeKind.INNER: -1.0}
SIZE_KINDS = tuple(_SIDE)


@dataclass(frozen=True)
class LineFit:
    """Measured = scale · nominal ± offset, by least squares weighted with the known errors.

    `scale_sd`, `offset_sd_mm`: their standard deviations; the errors are normal and known, so `NORMAL_90` times them
    is exactly what the profile likelihood gives. `misfits` (n,): what is left of each reading, in its standard
    deviations; `chi2` their squares' sum, `spare` how many readings there are beyond two.
    """

    scale: float
    offset_mm: float
    scale_sd: float
    offset_sd_mm: float
    misfits: npt.NDArray[np.float64]

    @property
    def chi2(self) -> float:
        """Sum of the squared misfits."""
        return float((self.misfits**2).sum())

    @property
    def spare(self) -> int:
        """Readings beyond those that two unknowns need."""
        return len(self.misfits) - 2


def told_apart(readings: Sequence[Reading]) -> bool:
    """Whether scale and offset can be told apart: two nominals differ by a tenth, or an inner one is among them."""
    signed = [_SIDE[reading.kind] * reading.nominal_mm for reading in readings]
    return bool(signed) and max(signed) - min(signed) > 0.1 * max(map(abs, signed))


def fit_line(readings: Sequence[Reading]) -> LineFit:
    """The line through the measured lengths of one axis.

    Raises
    ------
    InputError
        Scale and offset can't be told apart.
    """
    if not told_apart(readings):
        raise InputError(
            "scale and offset can't be told apart by one length",
            where="gauge",
            mend="Measure two lengths at least, such as 10 and 35 mm.",
        )
    nominal = np.array([reading.nominal_mm for reading in readings])
    side = np.array([_SIDE[reading.kind] for reading in readings])
    measured = np.array([reading.measured_mm for reading in readings])
    sd = np.array([reading.sd_mm for reading in readings])
    rows = np.column_stack([nominal, side]) / sd[:, None]
    covariance = np.linalg.inv(rows.T @ rows)
    scale, offset = covariance @ rows.T @ (measured / sd)
    misfits = (measured - scale * nominal - offset * side) / sd
    return LineFit(
        float(scale), float(offset), math.sqrt(covariance[0, 0]), math.sqrt(covariance[1, 1]), misfits
    )
