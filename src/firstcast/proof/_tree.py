"""A search tree over triangles: a full binary tree of boxes over triangles in Hilbert order.

Node 1 is the root, the children of node k are 2k and 2k + 1, leaf l is node `leaves` + l and holds the
sorted triangles from l·m // leaves to (l + 1)·m // leaves.

References
----------
J. Skilling, Programming the Hilbert curve, AIP Conference Proceedings 707 (2004): axes to transpose.
I. Kamel & C. Faloutsos, Hilbert R-tree, VLDB (1994): boxes over runs of the curve.
"""

import numpy as np

from firstcast.compiling import kernel

BITS = 16
"""Bits per axis of the Hilbert number: 65,536 cells along the longest side."""


@kernel
def hilbert_numbers(start, stop, corners, low, scale, out):
    """Place of each triangle's centre on the Hilbert curve; fills out[start:stop] (uint64)."""
    cell = np.empty(3, dtype=np.uint32)
    one = np.uint32(1)
    for t in range(start, stop):
        for axis in range(3):
            middle = (corners[t, 0, axis] + corners[t, 1, axis] + corners[t, 2, axis]) / 3.0
            value = int((middle - low[axis]) * scale)
            cell[axis] = np.uint32(min(max(value, 0), (1 << BITS) - 1))
        bit = np.uint32(1 << (BITS - 1))
        while bit > one:
            mask = np.uint32(bit - one)
            for axis in range(3):
                if cell[axis] & bit:
                    cell[0] ^= mask
                else:
                    swap = np.uint32((cell[0] ^ cell[axis]) & mask)
                    cell[0] ^= swap
                    cell[axis] ^= swap
            bit = np.uint32(bit >> one)
        cell[1] ^= cell[0]
        cell[2] ^= cell[1]
        turn = np.uint32(0)
        bit = np.uint32(1 << (BITS - 1))
        while bit > one:
            if cell[2] & bit:
                turn ^= np.uint32(bit - one)
            bit = np.uint32(bit >> one)
        number = np.uint64(0)
        for k in range(BITS - 1, -1, -1):
            for axis in range(3):
                digit = ((cell[axis] ^ turn) >> np.uint32(k)) & one
                number = np.uint64((number << np.uint64(1)) | np.uint64(digit))
        out[t] = number


@kernel
def leaf_boxes(start, stop, corners, leaves, boxes):
    """Boxes of the leaves start..stop: least x, y, z, greatest x, y, z."""
    count = corners.shape[0]
    for leaf in range(start, stop):
        node = leaves + leaf
        for axis in range(3):
            least = np.inf
            most = -np.inf
            for t in range(leaf * count // leaves, (leaf + 1) * count // leaves):
                for k in range(3):
                    least = min(least, corners[t, k, axis])
                    most = max(most, corners[t, k, axis])
            boxes[node, axis] = least
            boxes[node, 3 + axis] = most


@kernel
def inner_boxes(leaves, boxes):
    """Boxes of all nodes above the leaves, from the bottom up."""
    for node in range(leaves - 1, 0, -1):
        for axis in range(3):
            boxes[node, axis] = min(boxes[2 * node, axis], boxes[2 * node + 1, axis])
            boxes[node, 3 + axis] = max(boxes[2 * node, 3 + axis], boxes[2 * node + 1, 3 + axis])
