"""The limits that the chosen process sets for every later station."""

from dataclasses import dataclass

from firstcast.ranges import Range
from firstcast.vocabulary import ProcessKind

# Wide defaults for limits that only some stations read; plan always sets them.
_PIN = Range(0.3, 0.8, 1.5)
_ENGRAVED = Range(0.1, 0.2, 0.3)
_RAISED = Range(0.05, 0.2, 0.3)
_DRAFT = Range(0.0, 0.0, 1.0, "deg")
_FILM = Range(0.0, 0.06, 0.2)
_PARTING_OPENING = Range(0.0, 0.05, 0.2)


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
    pin_mm : Range
        Least thickness of what stands free.
    engraved_mm, raised_mm : Range
        Least width of a groove and least height of a raised detail.
    draft_deg : Range
        Draft that the mould asks for.
    film_mm : Range
        Dry paint on one face.
    parting_opening_mm : Range
        How far the parting may stand open when the mould is filled.
    locks_allowed : bool
        Whether the mould may hold undercuts (rubber) or not (a hard tool).
    carries_print : bool
        Whether the master is printed, so that detail is carried for it.
    """

    kind: ProcessKind
    pixel_mm: tuple[float, float]
    layer_mm: float
    pitch_mm: tuple[float, float, float]
    reduce_tolerance_mm: float
    wall_mm: Range
    gap_mm: Range
    pin_mm: Range = _PIN
    engraved_mm: Range = _ENGRAVED
    raised_mm: Range = _RAISED
    draft_deg: Range = _DRAFT
    film_mm: Range = _FILM
    parting_opening_mm: Range = _PARTING_OPENING
    locks_allowed: bool = True
    carries_print: bool = True
