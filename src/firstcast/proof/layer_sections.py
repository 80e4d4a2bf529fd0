"""What each layer's section of a mesh should come to: area, outline and places on it, by plain plane cuts."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

CHUNK = 1 << 20
"""Cuts worked on at a time, so that memory stays flat."""

PLACES = 48
"""Places on the outline of each body in each layer, at most: spread evenly over its cuts."""


class LayerSections(NamedTuple):
    """Sections by the middle planes of layers.

    Attributes
    ----------
    areas_mm2, outlines_mm : (count,) float64
        Area, signed by the winding, and length of the outline.
    moments_mm3 : (count, 2) float64
        Area times the place of its middle, along x and y.
    places_mm : (p, 2) float64
        Middles of cuts, sorted by layer; some of each body in each layer.
    lengths_mm : (p,) float64
        How much of the outline each place stands for.
    starts : (count + 1,) int64
        Where each layer's places begin.
    bodies_cut : (count,) int64
        Bodies that have a cut in each layer.
    """

    areas_mm2: npt.NDArray[np.float64]
    outlines_mm: npt.NDArray[np.float64]
    moments_mm3: npt.NDArray[np.float64]
    places_mm: npt.NDArray[np.float64]
    lengths_mm: npt.NDArray[np.float64]
    starts: npt.NDArray[np.int64]
    bodies_cut: npt.NDArray[np.int64]


def section_all(
    points: npt.NDArray[np.floating],
    triangles: npt.NDArray[np.int32],
    body_of_triangle: npt.NDArray[np.int32],
    layer_mm: float,
    count: int,
) -> LayerSections:
    """Cut a closed mesh by the middle of every layer above z = 0.

    A vertex on a plane counts as above it, so that cuts close. Area is half the sum of x0 y1 - x1 y0, its moments a sixth of that
    times x0 + x1 and y0 + y1 (G. Green's theorem).
    """
    corners = np.asarray(points, dtype=np.float64)[triangles]
    heights = corners[:, :, 2]
    first = np.maximum(np.ceil(heights.min(axis=1) / layer_mm - 0.5), 0).astype(np.int64)
    stop = np.minimum(np.ceil(heights.max(axis=1) / layer_mm - 0.5) + 1, count).astype(np.int64)
    spans = np.maximum(stop - first, 0)
    bounds = np.r_[0, np.cumsum(spans)]
    areas, outlines, moments = np.zeros(count), np.zeros(count), np.zeros((count, 2))
    kept: list[
        tuple[npt.NDArray[np.float64], npt.NDArray[np.int64], npt.NDArray[np.int32], npt.NDArray[np.float64]]
    ] = []
    row = 0
    while row < len(triangles):
        last = max(row + 1, int(np.searchsorted(bounds, bounds[row] + CHUNK, side="right")) - 1)
        rows = np.repeat(np.arange(row, last), spans[row:last])
        layers = np.arange(len(rows)) - (bounds[rows] - bounds[row]) + first[rows]
        ends, cut = _cuts(corners[rows], (layers + 0.5) * layer_mm)
        rows, layers, ends = rows[cut], layers[cut], ends[cut]
        (x0, y0), (x1, y1) = ends[:, 0].T, ends[:, 1].T
        cross = x0 * y1 - x1 * y0
        areas += np.bincount(layers, cross / 2.0, count)
        moments[:, 0] += np.bincount(layers, cross * (x0 + x1) / 6.0, count)
        moments[:, 1] += np.bincount(layers, cross * (y0 + y1) / 6.0, count)
        lengths = np.hypot(x1 - x0, y1 - y0)
        outlines += np.bincount(layers, lengths, count)
        kept.append((ends.mean(axis=1), layers, body_of_triangle[rows], lengths))
        row = last
    places = np.concatenate([np.zeros((0, 2)), *(entry[0] for entry in kept)])
    layers = np.concatenate([np.zeros(0, np.int64), *(entry[1] for entry in kept)])
    bodies = np.concatenate([np.zeros(0, np.int32), *(entry[2] for entry in kept)])
    lengths = np.concatenate([np.zeros(0), *(entry[3] for entry in kept)])
    return LayerSections(areas, outlines, moments, *_chosen(places, lengths, layers, bodies, count))


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


def _chosen(
    places: npt.NDArray[np.float64],
    lengths: npt.NDArray[np.float64],
    layers: npt.NDArray[np.int64],
    bodies: npt.NDArray[np.int32],
    count: int,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """At most `PLACES` per layer and body, where each layer's begin, how much each stands for, and how many bodies each layer has."""
    order = np.lexsort((bodies, layers))
    layers, bodies = layers[order], bodies[order]
    new = (
        np.r_[True, (np.diff(layers) != 0) | (np.diff(bodies) != 0)] if len(layers) else np.zeros(0, np.bool_)
    )
    group = np.cumsum(new) - 1
    begins = np.flatnonzero(new)
    sizes = np.diff(np.r_[begins, len(layers)])
    within = np.arange(len(layers)) - begins[group] if len(layers) else np.zeros(0, np.int64)
    step = np.maximum(1, -(-sizes // PLACES))
    take = within % step[group] == 0 if len(layers) else np.zeros(0, np.bool_)
    chosen = layers[take]
    starts = np.searchsorted(chosen, np.arange(count + 1))
    whole = np.bincount(group, lengths[order], len(begins))
    share = whole / np.maximum(np.bincount(group[take], minlength=len(begins)), 1)
    return (
        places[order][take],
        share[group[take]],
        starts.astype(np.int64),
        np.bincount(layers[begins], minlength=count),
    )
