"""The limits that the chosen process sets for every later station."""

from dataclasses import dataclass

from firstcast.ranges import Range
from firstcast.vocabulary import ProcessKind


@dataclass(frozen=True)
class Limits:
    """What plan decides and later stations obey. Lengths in mm.

    Attributes
    ----------
    pixel_mm : (float, float)
        The printer's pixel along its x and y.
    layer_mm : float
        Layer thickness.
    pitch_mm : (float, float, float)
        Near-field pitch along the figure's x, y, z.
    reduce_tolerance_mm : float
        How far the written mesh may lie from the contour.
    wall_mm, gap_mm : Range
        Least wall and least gap that print, mould, cast and paint bear.
    """

    kind: ProcessKind
    pixel_mm: tuple[float, float]
    layer_mm: float
    pitch_mm: tuple[float, float, float]
    reduce_tolerance_mm: float
    wall_mm: Range
    gap_mm: Range
