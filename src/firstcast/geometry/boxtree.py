"""Builds the search tree of boxes that the certificate and the search for crossings use."""

import numpy as np
import numpy.typing as npt

from firstcast.kernels.boxtree import BoxTree, fill_boxes, morton_keys

LEAF_MOST = 4
"""Triangles per leaf, at most."""


def build_box_tree(
    points: npt.NDArray[np.float32], triangles: npt.NDArray[np.int32], chosen: npt.NDArray[np.int32]
) -> BoxTree:
    """The tree over the chosen rows (k,) of triangles (m, 3) int32 over points (n, 3) float32."""
    low = points.min(axis=0).astype(np.float64)
    size = float(max((points.max(axis=0) - low).max(), 1e-30))
    keys = np.empty(len(chosen), np.int64)
    morton_keys(points, triangles, chosen, low, 1024.0 / size, keys)
    keys.sort()
    rows = (keys & 0xFFFFFFFF).astype(np.int32)
    depth = max(0, int(np.ceil(np.log2(max(len(rows), 1) / LEAF_MOST))))
    nodes = 2 << depth
    tree = BoxTree(rows, np.empty((nodes, 3), np.float32), np.empty((nodes, 3), np.float32), depth)
    fill_boxes(points, triangles, tree.rows, depth, tree.low, tree.high)
    return tree
