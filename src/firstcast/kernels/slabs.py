"""Vertices and triangles in slabs of bricks: all bricks of one place along x, as wide and tall as the body.

Items are listed slab by slab, each slab's in their own order, so that what is made of a slab is the same however many
slabs are taken at a time.
"""

import numpy as np

from firstcast.kernels.bricks import SIDE
from firstcast.kernels.compiling import kernel


@kernel
def slabs_of_points(start, stop, points, origin, voxel, slabs):
    """Write slabs (n,) int32: the slab of each point start .. stop; origin and voxel (3,) in mm."""
    for n in range(start, stop):
        slabs[n] = int(np.floor((points[n, 0] - origin[0]) / voxel[0])) // SIDE


@kernel
def slabs_of_triangles(start, stop, block, points, triangles, voxel, slab_of_point, slabs, longest):
    """Write slabs (m,) int32: the first slab that each triangle start .. stop meets.

    longest (blocks,) takes the greatest length of their edges along an axis, in voxels, at start // block.
    """
    most = 0.0
    for t in range(start, stop):
        slab = slab_of_point[triangles[t, 0]]
        for n in range(3):
            a, b = triangles[t, n], triangles[t, n - 1]
            slab = min(slab, slab_of_point[a])
            for c in range(3):
                most = max(most, abs(points[a, c] - points[b, c]) / voxel[c])
        slabs[t] = slab
    longest[start // block] = most


@kernel
def sort_by_slab(slabs, starts, order):
    """Write order (n,) int32, items by their slab, and starts (slabs + 1,), zero before: where each slab's begin."""
    for n in range(len(slabs)):
        starts[slabs[n] + 1] += 1
    for slab in range(len(starts) - 1):
        starts[slab + 1] += starts[slab]
    ends = starts[:-1].copy()
    for n in range(len(slabs)):
        order[ends[slabs[n]]] = n
        ends[slabs[n]] += 1


@kernel
def mark_near(start, stop, first, around, points, origin, voxel, reach, listed, starts, mask):
    """Set mask (slabs, by, bz) uint8 in every brick of its slabs start .. stop within `reach` (3,) voxels of a point.

    The mask begins at slab `first`; only points that lie up to `around` slabs away are looked at, those of slab s in
    listed[starts[s] : starts[s + 1]].
    """
    low, high, last = np.empty(3, np.int64), np.empty(3, np.int64), np.empty(4, np.int64)
    for slab in range(start, stop):
        here = first + slab
        last[:] = -1
        for entry in range(starts[max(here - around, 0)], starts[min(here + around + 1, len(starts) - 1)]):
            for c in range(3):
                at = (points[listed[entry], c] - origin[c]) / voxel[c]
                low[c] = max(int(np.floor(at - reach[c])) // SIDE, 0)
                high[c] = int(np.floor(at + reach[c])) // SIDE
            if here < low[0] or here > high[0]:
                continue
            # neighbours in the list are mostly neighbours in space, and mark the same
            if low[1] == last[0] and high[1] == last[1] and low[2] == last[2] and high[2] == last[3]:
                continue
            last[0], last[1], last[2], last[3] = low[1], high[1], low[2], high[2]
            for j in range(low[1], min(high[1] + 1, mask.shape[1])):
                for k in range(low[2], min(high[2] + 1, mask.shape[2])):
                    mask[slab, j, k] = 1
