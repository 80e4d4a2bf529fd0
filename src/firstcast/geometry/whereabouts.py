"""Where a place is on a piece, in the maker's words."""

import numpy as np

from firstcast.geometry.mesh import Mesh

MIDDLE_RATIO = 0.2
"""Nearer to the piece's axis than this share of its half-width, a place is neither front nor back, left nor right."""


def where(mesh: Mesh, place_mm: tuple[float, float, float]) -> str:
    """Front, back, the figure's left or right, and the height: "back left, 21 mm up"."""
    low, high = np.asarray(mesh.bounds, np.float64)
    x, y, _ = (np.asarray(place_mm) - (low + high) / 2.0) / np.maximum((high - low) / 2.0, 1e-9)
    words = []
    if abs(y) > MIDDLE_RATIO:
        words.append("front" if y < 0 else "back")
    if abs(x) > MIDDLE_RATIO:
        words.append("left" if x > 0 else "right")
    return f"{' '.join(words) or 'middle'}, {round(place_mm[2])} mm up"
