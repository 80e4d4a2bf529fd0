"""The search tree on triangles: exact closest point, provenance, and the winding number."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Corners, Points, Triangles, check_points, check_triangles
from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.threads import side_by_side
from firstcast.kernels import tree as kernels
from firstcast.kernels import winding as winding_kernels

LEAF_MOST = 4
"""Triangles per leaf, at most."""

SHARE = 1 << 17
"""Triangles that one thread looks at in a row."""

OPENING = 3.0
"""A node counts as one dipole from this many times its reach. Barill et al. 2018 use 2 with a
second-order expansion; with the dipole alone 3 kept
the error of the winding number within 0.02 on a ball with relief (1.3 million triangles, 1 million queries)."""


class Tree(NamedTuple):
    """A balanced tree over n triangles; layout: `firstcast.kernels.tree`.

    Attributes
    ----------
    corners : (n, 3, 3) float64
        The triangles in tree order.
    rows : (n,) int32
        Number of each triangle in the mesh it came from.
    boxes : (nodes, 6, 8) float32
        Boxes of the eight children of each node, about `centre_mm`.
    level_base : (levels + 1,) int64
        Where each level's nodes start.
    depth : int
        Halvings from the root to a leaf.
    centre_mm : (3,) float64
    tie_mm : float
        Distances that differ by less are ties: the resolution of float64 on this mesh.
    """

    corners: Corners
    rows: npt.NDArray[np.int32]
    boxes: npt.NDArray[np.float32]
    level_base: npt.NDArray[np.int64]
    depth: int
    centre_mm: npt.NDArray[np.float64]
    tie_mm: float


class Closest(NamedTuple):
    """The nearest place of each query.

    Attributes
    ----------
    distance_mm : (n,) float64
    point_mm : (n, 3) float64
    triangle : (n,) int32
        Number of the triangle in the mesh that the tree was built from; of several as near, the lowest.
    """

    distance_mm: npt.NDArray[np.float64]
    point_mm: Points
    triangle: npt.NDArray[np.int32]


class Dipoles(NamedTuple):
    """What the winding number needs beside the tree; rows: leaves, then nodes.

    `area_vector_mm2` (m, 3), `middle_mm` (m, 3) and `reach_mm` (m,), all float64.
    """

    area_vector_mm2: Points
    middle_mm: Points
    reach_mm: npt.NDArray[np.float64]


def _levels(depth: int) -> npt.NDArray[np.int64]:
    """Where each level's nodes start, the total last: 1 node, then 2, 4 or 8, then eight times more each."""
    count = -(-depth // 3)
    sizes = [1] + [1 << (depth - 3 * (count - level)) for level in range(1, count)]
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)


def build_tree(mesh: Mesh | Corners) -> Tree:
    """The search tree of a mesh, or of triangles given as corners (n, 3, 3).

    Raises
    ------
    InputError
        No triangles, a wrong shape, or coordinates that are not finite.

    Notes
    -----
    Halving at the median of the longest axis: n log n, the same tree for any number of threads.
    Degenerate triangles are kept: they are segments or points.
    """
    points, triangles = _given(mesh)
    count = len(triangles)
    if not count:
        raise InputError("there are no triangles", where="search tree", mend="Leave empty meshes out.")
    low, high = _bounds(points, triangles)
    if not (np.isfinite(low).all() and np.isfinite(high).all()):
        raise InputError(
            "some coordinates are not finite", where="search tree", mend="Export the mesh again."
        )
    centre = (low + high) / 2.0
    extent = float(max(np.abs(low - centre).max(), np.abs(high - centre).max()))
    depth = max(1, int(np.ceil(np.log2(count / LEAF_MOST))))
    level_base = _levels(depth)
    centres = np.empty((count, 3), np.float32)
    side_by_side(
        lambda first, last: kernels.middles(first, last, points, triangles, centre, centres), count, SHARE
    )
    order = np.arange(count, dtype=np.int32)
    kernels.order_rows(centres, order, depth, min(depth, 6))
    sorted_corners = np.empty((count, 3, 3))
    boxes = np.empty((int(level_base[-1]), 6, 8), dtype=np.float32)
    # Queries within about two extents round to float32 within 2^-23 of an extent: boxes grow by four times that.
    slack = extent * 2.0**-21
    kernels.arrange(points, triangles, order, centre, slack, depth, level_base, sorted_corners, boxes)
    return Tree(sorted_corners, order, boxes, level_base, depth, centre, 1e-13 * max(extent, 1e-300))


def _given(mesh: Mesh | Corners) -> tuple[Points, Triangles]:
    """The mesh's points and triangles as kernels take them; of corners, each a point of its own."""
    if isinstance(mesh, Mesh):
        points = np.ascontiguousarray(mesh.points, dtype=np.float64)
        return points, check_triangles(mesh.triangles, len(points), where="search tree")
    corners = np.ascontiguousarray(mesh, dtype=np.float64)
    if corners.ndim != 3 or corners.shape[1:] != (3, 3):
        raise InputError(
            f"shape {corners.shape} is not (n, 3, 3)", where="search tree", mend="Give three corners each."
        )
    return corners.reshape(-1, 3), np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3)


def _bounds(points: Points, triangles: Triangles) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Least and greatest coordinates (3,) of triangles; not finite where any of their coordinates isn't."""
    found = np.array(
        side_by_side(
            lambda first, last: kernels.corner_bounds(first, last, points, triangles), len(triangles), SHARE
        )
    )
    return found[:, :3].min(axis=0), found[:, 3:].max(axis=0)


def _spread_bits(values: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """Ten-bit numbers with two zero bits between every two bits."""
    for shift, mask in ((16, 0x30000FF), (8, 0x300F00F), (4, 0x30C30C3), (2, 0x9249249)):
        values = (values | (values << np.uint64(shift))) & np.uint64(mask)
    return values


def _visit_order(queries: Points) -> npt.NDArray[np.int64]:
    """Queries along a Morton curve, so that each starts from its neighbour's answer."""
    low, high = queries.min(axis=0), queries.max(axis=0)
    cells = ((queries - low) * (1023.0 / np.maximum(high - low, 1e-300).max())).astype(np.uint64)
    x, y, z = (_spread_bits(cells[:, k]) for k in range(3))
    code = x | (y << np.uint64(1)) | (z << np.uint64(2))
    return np.argsort(code.astype(np.uint32), kind="stable")


def closest_points(tree: Tree, queries_mm: Points) -> Closest:
    """The nearest place on the triangles for each query (n, 3) float64, exact to rounding.

    Of several triangles as near (to `tree.tie_mm`), the one with the lowest number wins.
    """
    queries = check_points(queries_mm, where="queries")
    count = len(queries)
    result = Closest(np.empty(count), np.empty((count, 3)), np.empty(count, dtype=np.int32))
    if count:
        kernels.closest(
            queries, _visit_order(queries), tree.corners, tree.rows, tree.boxes, tree.level_base, tree.depth,
            tree.centre_mm, tree.tie_mm, *result,
        )  # fmt: skip
    return result


def nearest_parts(
    tree: Tree, part_of_triangle: npt.NDArray[np.uint16], queries_mm: Points
) -> npt.NDArray[np.uint16]:
    """Which part each query belongs to: that of its nearest triangle. Gives (n,) uint16."""
    if len(part_of_triangle) != len(tree.rows):
        raise InputError(
            f"{len(part_of_triangle)} part numbers for {len(tree.rows)} triangles",
            where="nearest parts",
            mend="Give one part number per triangle of the tree.",
        )
    return np.asarray(part_of_triangle, dtype=np.uint16)[closest_points(tree, queries_mm).triangle]


def build_dipoles(tree: Tree) -> Dipoles:
    """Area vector, middle and reach of every leaf and node, for `winding_number`."""
    rows = (1 << tree.depth) + int(tree.level_base[-1])
    dipoles = Dipoles(np.zeros((rows, 3)), np.zeros((rows, 3)), np.zeros(rows))
    winding_kernels.dipoles(tree.corners, tree.depth, tree.level_base, *dipoles)
    return dipoles


def winding_number(tree: Tree, dipoles: Dipoles, queries_mm: Points) -> npt.NDArray[np.float64]:
    """How often the triangles wind round each query: 1 inside a closed outward mesh, 0 outside.

    References
    ----------
    Barill, Dickson, Schmidt, Levin, Jacobson: Fast winding numbers for soups and clouds, 2018.
    """
    queries = check_points(queries_mm, where="queries")
    out = np.empty(len(queries))
    if len(queries):
        visit = _visit_order(queries)
        winding_kernels.winding(
            np.ascontiguousarray(queries[visit]), tree.corners, tree.depth, tree.level_base, *dipoles, OPENING, out
        )  # fmt: skip
        out[visit] = out.copy()
    return out


def signed_distances(tree: Tree, dipoles: Dipoles, queries_mm: Points) -> npt.NDArray[np.float64]:
    """Distance of each query from a closed outward mesh, negative inside. Gives (n,) float64."""
    inside = winding_number(tree, dipoles, queries_mm) > 0.5
    distance = closest_points(tree, queries_mm).distance_mm
    return np.where(inside, -distance, distance)
