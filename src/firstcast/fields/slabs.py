"""A mesh among the bricks near its surface, in slabs: all bricks of one place along x.

What is done brick by brick near a surface takes memory by the surface. Listed slab by slab, it can be done on strips, a few
slabs at a time with as many beside them as it reaches, and comes out the same.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.blocks import run_blocks
from firstcast.kernels.bricks import SIDE
from firstcast.kernels.slabs import mark_near, slabs_of_points, slabs_of_triangles, sort_by_slab

ITEM_BLOCK, SLAB_BLOCK = 1 << 16, 1

MASK_BYTES = 64 << 20
"""Bricks are marked in a mask of about so many bytes at a time: little beside what they hold later."""


class Listed(NamedTuple):
    """Items by slab: slab s has order[starts[s] : starts[s + 1]].

    Attributes
    ----------
    order : (n,) int32
    starts : (slabs + 1,) int64
    """

    order: npt.NDArray[np.int32]
    starts: npt.NDArray[np.int64]


class Slabs(NamedTuple):
    """A closed mesh and the bricks near its surface, slab by slab.

    Attributes
    ----------
    points, triangles : (n, 3) float64, (m, 3) int32
        mm.
    origin_mm, voxel_mm : (3,) float64
        Brick (i, j, k) begins at origin + 8 · voxel · (i, j, k).
    bricks : (3,) int64
        How many fit around the mesh along each axis; the first is how many slabs there are.
    places : (rows, 3) int32
        The bricks near the surface, in order, so by slab.
    starts : (slabs + 1,) int64
        Where in `places` each slab begins.
    vertices : Listed
    faces : Listed
        Triangles by the first slab that they meet.
    widest : int
        How many slabs more a triangle may meet.
    """

    points: Points
    triangles: Triangles
    origin_mm: npt.NDArray[np.float64]
    voxel_mm: npt.NDArray[np.float64]
    bricks: npt.NDArray[np.int64]
    places: npt.NDArray[np.int32]
    starts: npt.NDArray[np.int64]
    vertices: Listed
    faces: Listed
    widest: int

    def rows(self, slabs: range) -> int:
        """How many bricks lie near the surface in some slabs."""
        return int(self.starts[slabs.stop] - self.starts[slabs.start])

    @property
    def table_bytes(self) -> int:
        """What a table of all bricks of one slab takes, four bytes each."""
        return 4 * int(self.bricks[1] * self.bricks[2])


def slabs_of(points: Points, triangles: Triangles, voxel_mm: npt.ArrayLike, reach_mm: npt.ArrayLike) -> Slabs:
    """The bricks of 8 by 8 by 8 voxels within `reach_mm`, a length or one per axis, of a mesh's surface.

    Parameters
    ----------
    points : (n, 3) float64
        mm.
    triangles : (m, 3) int32
    voxel_mm : (3,)
    """
    voxel = np.asarray(voxel_mm, np.float64)
    reach = np.ceil(np.broadcast_to(np.asarray(reach_mm, np.float64), 3) / voxel)
    room = (reach + 2 * SIDE) * voxel
    low, high = points.min(axis=0), points.max(axis=0)
    # on the voxels' own lattice, or what moves at one end of a body would shift the voxels at the other
    origin = np.floor((low - room) / voxel) * voxel
    bricks = np.ceil((high - low + 2 * room) / voxel / SIDE).astype(np.int64)
    vertices, faces, edge = _listed(points, triangles, origin, voxel, int(bricks[0]))
    # a triangle's middle may lie farther out than its corners by an edge
    places = _places(points, vertices, origin, voxel, bricks, reach + 1 + 0.5 * edge)
    starts = np.searchsorted(places[:, 0], np.arange(bricks[0] + 1)).astype(np.int64)
    # a little more, for the edge was rounded
    widest = int((edge + 0.01) // SIDE) + 1
    return Slabs(points, triangles, origin, voxel, bricks, places, starts, vertices, faces, widest)


def _listed(points: Points, triangles: Triangles, origin, voxel, slabs: int) -> tuple[Listed, Listed, float]:
    """Vertices and triangles by slab, and the longest edge along an axis, in voxels."""
    of_point = np.empty(len(points), np.int32)
    run_blocks(slabs_of_points, len(points), points, origin, voxel, of_point, block=ITEM_BLOCK)
    of_triangle = np.empty(len(triangles), np.int32)
    longest = np.zeros(len(triangles) // ITEM_BLOCK + 1)
    run_blocks(
        slabs_of_triangles, len(triangles), ITEM_BLOCK, points, triangles, voxel, of_point, of_triangle, longest,
        block=ITEM_BLOCK,
    )  # fmt: skip
    return _sorted(of_point, slabs), _sorted(of_triangle, slabs), float(longest.max())


def _sorted(slab_of_item: npt.NDArray[np.int32], slabs: int) -> Listed:
    found = Listed(np.empty(len(slab_of_item), np.int32), np.zeros(slabs + 1, np.int64))
    sort_by_slab(slab_of_item, found.starts, found.order)
    return found


def _places(points: Points, vertices: Listed, origin, voxel, bricks, reach) -> npt.NDArray[np.int32]:
    """(rows, 3) int32: the bricks within `reach` (3,) voxels of a vertex, in order."""
    step = max(1, int(MASK_BYTES // (bricks[1] * bricks[2])))
    around = int(reach[0] // SIDE) + 1
    found = []
    for first in range(0, int(bricks[0]), step):
        mask = np.zeros((min(step, int(bricks[0]) - first), *bricks[1:]), np.uint8)
        run_blocks(
            mark_near,
            len(mask),
            first,
            around,
            points,
            origin,
            voxel,
            reach,
            *vertices,
            mask,
            block=SLAB_BLOCK,
        )
        near = np.argwhere(mask).astype(np.int32)
        near[:, 0] += first
        found.append(near)
    return np.concatenate(found)
