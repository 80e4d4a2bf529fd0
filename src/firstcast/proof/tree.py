"""The search tree over triangles that the proof's measurements share."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof import _tree
from firstcast.proof.threads import over_blocks

TRIANGLES_PER_LEAF = 6


class Tree(NamedTuple):
    """Triangles in the order of the tree, and its boxes.

    Attributes
    ----------
    order : (m,) int64
        Row of the given triangles at each place of the tree.
    corners : (m, 3, 3) float64
        The triangles in that order.
    boxes : (2 leaves, 6) float64
        Least x, y, z and greatest x, y, z of each node; row 0 is unused.
    leaves : int
        Their number, a power of two.
    """

    order: npt.NDArray[np.int64]
    corners: npt.NDArray[np.float64]
    boxes: npt.NDArray[np.float64]
    leaves: int


def build_tree(corners: npt.NDArray[np.float64]) -> Tree:
    """A tree over (m, 3, 3) float64 triangles, m > 0. The same triangles give the same tree."""
    corners = np.ascontiguousarray(corners, dtype=np.float64)
    count = len(corners)
    low = corners.min(axis=(0, 1))
    extent = float((corners.max(axis=(0, 1)) - low).max())
    scale = (1 << _tree.BITS) / extent if extent > 0 else 0.0
    numbers = np.empty(count, dtype=np.uint64)
    over_blocks(_tree.hilbert_numbers, count, corners, low, scale, numbers, block=65536)
    order = np.argsort(numbers, kind="stable")
    corners = corners[order]
    leaves = 1
    while leaves * TRIANGLES_PER_LEAF < count:
        leaves *= 2
    boxes = np.empty((2 * leaves, 6))
    boxes[0] = 0.0
    over_blocks(_tree.leaf_boxes, leaves, corners, leaves, boxes, block=16384)
    _tree.inner_boxes(leaves, boxes)
    return Tree(order, corners, boxes, leaves)
