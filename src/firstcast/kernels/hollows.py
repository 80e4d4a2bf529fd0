"""Hollows that are wider than the neck they open by: a tree of widths, flooded from the widest place down."""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.components import root_of


@kernel
def flood_widths(order, widths, shape, ratio, more, basin, parent, peak, neck, into):
    """Gather the voxels of a mould, widest first, into basins; one joins another where the way between is widest.

    A basin whose peak is less than `ratio` times as wide as its neck, or less than `more` wider, is part of the one it
    joins; the wider of the two stands. Returns the number of basins.

    Parameters
    ----------
    order : (n,) int64
        Voxels as flat indices into `shape`, from the widest down, ties in order.
    widths : (nx · ny · nz,) float32
        Distance to the body.
    basin : (nx · ny · nz,) int32
        Written: the basin of each voxel of `order`; -1 before.
    parent, peak, neck, into : (n,) int32, float32, float32, int32
        Written per basin: what it was merged into as no hollow of its own; its greatest width; the width at which
        a hollow of its own joined; which basin it joined, or -1.
    """
    ny, nz = shape[1], shape[2]
    count = 0
    # where the flooded ground hangs together, whether basins were merged or only met
    met = np.empty(parent.shape[0], np.int32)
    for n in range(order.shape[0]):
        voxel = order[n]
        width = widths[voxel]
        i, rest = voxel // (ny * nz), voxel % (ny * nz)
        j, k = rest // nz, rest % nz
        own = -1
        for axis in range(3):
            for step in range(-1, 2, 2):
                a, b, c = i, j, k
                if axis == 0:
                    a += step
                elif axis == 1:
                    b += step
                else:
                    c += step
                if a < 0 or b < 0 or c < 0 or a >= shape[0] or b >= ny or c >= nz:
                    continue
                there = basin[(a * ny + b) * nz + c]
                if there < 0:
                    continue
                if own < 0:
                    own = root_of(parent, there)
                    basin[voxel] = own
                    continue
                one, two = root_of(met, own), root_of(met, there)
                if one == two:
                    continue
                # the greater of two that meet keeps its root
                if peak[one] < peak[two] or (peak[one] == peak[two] and two < one):
                    one, two = two, one
                met[two] = one
                if peak[two] < max(ratio * width, width + more):
                    parent[two] = root_of(parent, one)
                else:
                    neck[two] = width
                    into[two] = one
                own = root_of(parent, own)
                basin[voxel] = own
        if own < 0:
            basin[voxel] = count
            parent[count], met[count] = count, count
            peak[count], neck[count], into[count] = width, np.float32(0.0), -1
            count += 1
    return count
