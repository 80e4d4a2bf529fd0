"""A search tree over triangles in Hilbert order: sixteen boxes to a group, tested together.

Group 0 is the root. Box j of group g < `leaves` holds group 16 g + 1 + j; box j of group `leaves` + k holds
triangle 16 k + j. Boxes beyond the last triangle are empty. Boxes are float32, rounded outward.

References
----------
I. Kamel & C. Faloutsos, Hilbert R-tree, VLDB (1994): boxes over runs of the curve.
"""

import numpy as np

from firstcast.compiling import kernel

WIDTH = 16
"""Boxes of a group."""

DEPTH = 128
"""Room for the groups that a search has yet to look at: fifteen on each of eight levels, and one."""


@kernel
def box_distances(x, y, z, boxes, group, out):
    """Squared distance from a place to each box of a group; fills out (WIDTH,)."""
    for j in range(out.shape[0]):  # a length known beforehand would be unrolled, one box after the other
        dx = max(0.0, max(boxes[group, 0, j] - x, x - boxes[group, 3, j]))
        dy = max(0.0, max(boxes[group, 1, j] - y, y - boxes[group, 4, j]))
        dz = max(0.0, max(boxes[group, 2, j] - z, z - boxes[group, 5, j]))
        out[j] = dx * dx + dy * dy + dz * dz


@kernel
def box_gaps(low, high, boxes, group, out):
    """How far apart along some axis each box of a group lies from another; fills out (WIDTH,), > 0 where apart."""
    for j in range(out.shape[0]):
        dx = max(boxes[group, 0, j] - high[0], low[0] - boxes[group, 3, j])
        dy = max(boxes[group, 1, j] - high[1], low[1] - boxes[group, 4, j])
        dz = max(boxes[group, 2, j] - high[2], low[2] - boxes[group, 5, j])
        out[j] = max(dx, max(dy, dz))


@kernel
def search_room():
    """Room for one search after the other: groups yet to be looked at, their distances, the boxes of one group."""
    return np.empty(DEPTH, dtype=np.int64), np.empty(DEPTH), np.empty(WIDTH)
