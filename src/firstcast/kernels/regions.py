"""Which cured pixels of a layer belong together."""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.components import root_of


@kernel
def _join(parent, a, b):
    """Make two labels one: the lesser root; returns it."""
    a, b = root_of(parent, a), root_of(parent, b)
    if a < b:
        parent[b] = a
        return a
    parent[a] = b
    return b


@kernel
def label_pixels(cured, labels, parent):
    """Number the regions of pixels that touch by edge or corner, 1 up, in the order of their first pixel; returns how many.

    One scan over the pixels and a union of labels (K. Wu, E. Otoo, K. Suzuki 2009, "Optimizing two-pass
    connected-component labeling algorithms": its decision tree), then one that renumbers.

    cured (h, w) uint8, labels (h, w) int32 written whole, parent (at least (h + 1) // 2 · ((w + 1) // 2) + 1,) int32 scratch.
    """
    rows, columns = cured.shape
    made = np.int32(0)
    parent[0] = 0
    for y in range(rows):
        for x in range(columns):
            if cured[y, x] == 0:
                labels[y, x] = 0
                continue
            north = labels[y - 1, x] if y > 0 else np.int32(0)
            if north:
                labels[y, x] = north
                continue
            west = labels[y, x - 1] if x > 0 else np.int32(0)
            if not west and y > 0 and x > 0:
                west = labels[y - 1, x - 1]
            east = labels[y - 1, x + 1] if y > 0 and x + 1 < columns else np.int32(0)
            if west and east:
                labels[y, x] = _join(parent, west, east)
            elif west or east:
                labels[y, x] = west if west else east
            else:
                made += 1
                parent[made] = made
                labels[y, x] = made
    count = np.int32(0)
    for label in range(1, made + 1):
        if parent[label] == label:
            count += 1
            parent[label] = -count
        else:
            # a parent is a lesser label, so it already has its number
            parent[label] = parent[parent[label]]
    for y in range(rows):
        for x in range(columns):
            if labels[y, x]:
                labels[y, x] = -parent[labels[y, x]]
    return count
