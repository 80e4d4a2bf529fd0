"""Builds the search tree of boxes that the certificate and the search for crossings use."""

import numpy as np
import numpy.typing as npt

from firstcast.geometry.threads import side_by_side
from firstcast.kernels.boxtree import BoxTree, fill_leaves, join_boxes, mark_near, morton_keys, nearest_rows

LEAF_MOST = 4
"""Triangles per leaf, at most."""

SHARE = 1 << 16
"""What a thread sorts in or boxes at once."""

SEARCHES = 4096
"""Places or triangles that a thread searches for at once."""


def bounds_of(points: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """(2, 3): least and greatest coordinates. Column by column: four times as fast as along rows."""
    columns = [points[:, k] for k in range(3)]
    return np.array([[c.min() for c in columns], [c.max() for c in columns]], dtype=np.float64)


def build_box_tree(
    points: npt.NDArray[np.float32],
    triangles: npt.NDArray[np.int32],
    chosen: npt.NDArray[np.int32],
    bounds: npt.NDArray[np.float64] | None = None,
) -> BoxTree:
    """The tree over the chosen rows (k,) of triangles (m, 3) int32 over points (n, 3) float32.

    `bounds` (2, 3) are about the points' bounds: they set the grid that sorts the triangles, no more.
    """
    low, high = bounds_of(points) if bounds is None else bounds
    size = float(max((high - low).max(), 1e-30))
    keys = np.empty(len(chosen), np.int64)
    scale = 1024.0 / size
    side_by_side(
        lambda first, last: morton_keys(points, triangles, chosen[first:last], low, scale, keys[first:last]),
        len(chosen),
        SHARE,
    )
    keys.sort()
    rows = (keys & 0xFFFFFFFF).astype(np.int32)
    depth = max(0, int(np.ceil(np.log2(max(len(rows), 1) / LEAF_MOST))))
    nodes = 2 << depth
    tree = BoxTree(rows, np.empty((nodes, 3), np.float32), np.empty((nodes, 3), np.float32), depth)
    side_by_side(lambda first, last: fill_leaves(points, triangles, tree, first, last), 1 << depth, SHARE)
    join_boxes(tree)
    return tree


def nearest_of(
    places: npt.NDArray[np.float32],
    chosen: npt.NDArray[np.int32],
    tree: BoxTree,
    points: npt.NDArray[np.float32],
    triangles: npt.NDArray[np.int32],
    out: npt.NDArray[np.int32],
) -> None:
    """Set `out[c]` to a triangle of the tree nearest to `places[c]` for each c in `chosen`."""
    side_by_side(
        lambda first, last: nearest_rows(places, chosen[first:last], tree, points, triangles, out),
        len(chosen),
        SEARCHES,
    )


def mark_around(
    surface_points: npt.NDArray[np.float32],
    surface_triangles: npt.NDArray[np.int32],
    tree: BoxTree,
    points: npt.NDArray[np.float32],
    triangles: npt.NDArray[np.int32],
    chosen: npt.NDArray[np.int32],
    margin_mm: float,
) -> npt.NDArray[np.bool_]:
    """Which of a tree's triangles have boxes that meet those of another mesh's chosen ones, grown by a margin."""
    mark = np.zeros(len(surface_triangles), np.bool_)
    side_by_side(
        lambda first, last: mark_near(
            tree, surface_points, surface_triangles, points, triangles, chosen[first:last], margin_mm, mark
        ),
        len(chosen),
        SEARCHES,
    )
    return mark
