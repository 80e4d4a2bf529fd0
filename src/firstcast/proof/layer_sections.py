"""What each layer's section of a mesh should come to: area and outline, by plain plane cuts."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

CHUNK = 1 << 20
"""Cuts worked on at a time, so that memory stays flat."""


class LayerSections(NamedTuple):
    """Sections by the middle planes of layers.

    Attributes
    ----------
    areas_mm2, outlines_mm : (count,) float64
        Area, signed by the winding, and length of the outline.
    """

    areas_mm2: npt.NDArray[np.float64]
    outlines_mm: npt.NDArray[np.float64]


def section_all(
    points: npt.NDArray[np.floating],
    triangles: npt.NDArray[np.int32],
    layer_mm: float,
    count: int,
) -> LayerSections:
    """Cut a closed mesh by the middle of every layer above z = 0.

    A vertex on a plane counts as above it, so that cuts close. Area is half the sum of x0 y1 - x1 y0 (G. Green's theorem).
    """
    corners = np.asarray(points, dtype=np.float64)[triangles]
    heights = corners[:, :, 2]
    first = np.maximum(np.ceil(heights.min(axis=1) / layer_mm - 0.5), 0).astype(np.int64)
    stop = np.minimum(np.ceil(heights.max(axis=1) / layer_mm - 0.5) + 1, count).astype(np.int64)
    spans = np.maximum(stop - first, 0)
    bounds = np.r_[0, np.cumsum(spans)]
    areas, outlines = np.zeros(count), np.zeros(count)
    row = 0
    while row < len(triangles):
        last = max(row + 1, int(np.searchsorted(bounds, bounds[row] + CHUNK, side="right")) - 1)
        rows = np.repeat(np.arange(row, last), spans[row:last])
        layers = np.arange(len(rows)) - (bounds[rows] - bounds[row]) + first[rows]
        ends, cut = _cuts(corners[rows], (layers + 0.5) * layer_mm)
        layers, ends = layers[cut], ends[cut]
        (x0, y0), (x1, y1) = ends[:, 0].T, ends[:, 1].T
        areas += np.bincount(layers, (x0 * y1 - x1 * y0) / 2.0, count)
        outlines += np.bincount(layers, np.hypot(x1 - x0, y1 - y0), count)
        row = last
    return LayerSections(areas, outlines)


def _cuts(
    corners: npt.NDArray[np.float64], heights_mm: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """(n, 2, 2) ends of the cuts of triangles (n, 3, 3) by planes, inside on the left; and which are cut at all."""
    above = corners[:, :, 2] >= heights_mm[:, None]
    number = above.sum(axis=1)
    cut = (number == 1) | (number == 2)
    # the corner that is alone on its side comes first
    lone = np.where(number == 1, above.argmax(axis=1), (~above).argmax(axis=1))
    n = np.arange(len(corners))
    apex, second, third = (corners[n, (lone + k) % 3] for k in range(3))
    ends = np.empty((len(corners), 2, 2))
    for end, other in enumerate((second, third)):
        rise = other[:, 2] - apex[:, 2]
        share = np.divide(heights_mm - apex[:, 2], rise, out=np.zeros(len(corners)), where=cut & (rise != 0))
        ends[:, end] = apex[:, :2] + share[:, None] * (other[:, :2] - apex[:, :2])
    # corners run counter-clockwise seen from outside: with the apex above, the second one lies to the left
    below = number == 2
    ends[below] = ends[below][:, ::-1]
    return ends, cut
