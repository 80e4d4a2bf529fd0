"""Scales of figures: units, landmarks of the human body, and the slips that give absurd sizes."""

import math
from collections.abc import Sequence
from fnmatch import fnmatchcase

UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4, "foot": 304.8}
"""Millimetres in one unit; inch and foot exact by definition."""

EYES_SHARE = 0.93
"""Eye height over stature: a published rule of figure makers."""

USUAL_STATURE_MM = 1739.0
"""Stature that goes with that rule: eyes at 1618 mm are 0.93 of it."""

FIGURES_MM = (15.0, 200.0)
"""Heights that a figure for casting commonly has: common practice, no source."""

STATURES_MM = (1200.0, 2200.0)
"""Statures between which a figure was likely modelled life-size: chosen."""


def matching(names: Sequence[str], pattern: str) -> list[str]:
    """The names that a name or glob fits, in their order; an exact name fits itself alone."""
    return [pattern] if pattern in names else [name for name in names if fnmatchcase(name, pattern)]


def likely_slip(height_mm: float) -> str:
    """The slip of units that most likely made a figure this tall, in one sentence.

    Each unit taken for millimetres (or millimetres taken for it) is undone; what lands among the
    usual heights of figures is a candidate, and the nearest to their geometric middle wins.
    """
    least, most = FIGURES_MM
    middle = math.sqrt(least * most)
    candidates: list[tuple[float, str]] = []
    for unit, length_mm in UNITS_MM.items():
        if unit == "mm":
            continue
        for tall_mm, says in (
            (height_mm * length_mm, f"The files are likely in {_plural(unit)}"),
            (height_mm / length_mm, f"The files are likely in mm, but were taken as {_plural(unit)}"),
        ):
            if least <= tall_mm <= most:
                far = abs(math.log(tall_mm / middle))
                candidates.append((far, f"{says}: then it is {tall_mm:.4g} mm tall."))
    sentences = [min(candidates)[1]] if candidates else []
    for unit in ("mm", "m"):
        if STATURES_MM[0] <= height_mm * UNITS_MM[unit] <= STATURES_MM[1]:
            sentences.append(f"Or it is modelled life-size in {unit}: give [size] real with a ratio.")
    return " ".join(sentences) or "No usual slip of units explains it."


def _plural(unit: str) -> str:
    return {"inch": "inches", "foot": "feet", "m": "metres", "cm": "centimetres"}[unit]
