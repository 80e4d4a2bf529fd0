"""The dose near a surface, averaged over where the piece lies on pixels and layers, and where it is critical.

Pools (rows, 8, 8, 8) float32 hold values in voxels of half a pixel and half a layer; along x and y a value belongs
to its voxel's middle, along z to its top.
"""

import numpy as np

from firstcast.kernels.bricks import INSIDE, SIDE, row_at, value_at
from firstcast.kernels.compiling import kernel

TURNS = 12
"""Most steps of false position on one vertex; it nearly always ends at `CLOSE` before."""

CLOSE = 1e-4
"""Steps below this, in voxels, end the search."""


@kernel
def add_later(start, stop, index, share, kept, later, light):
    """Write light: each place's own share and what layers after it leave there, for brick columns start .. stop.

    A layer is two voxels high; `kept` of the light passes one, and later layers count `later` times as much.
    """
    rows = index.shape[1]
    for column in range(start, stop):
        bx, by = column // rows, column % rows
        for i in range(SIDE):
            for j in range(SIDE):
                first, second, left_first, left_second = 0.0, 0.0, 0.0, 0.0
                for bz in range(index.shape[2] - 1, -1, -1):
                    row = index[bx, by, bz]
                    for k in range(SIDE - 1, -1, -1):
                        left = kept * (second + left_second)
                        if row >= 0:
                            own = np.float64(share[row, i, j, k])
                            light[row, i, j, k] = np.float32(own + later * left)
                        else:
                            own = 1.0 if row == INSIDE else 0.0
                        second, left_second = first, left_first
                        first, left_first = own, left


@kernel
def blur_x(start, stop, places, index, source, weights, deep, out):
    """Write out: source (rows, 8, 8, 8) spread along x, for bricks start .. stop; absent bricks hold 0 or `deep`."""
    reach = len(weights) // 2
    for b in range(start, stop):
        out[b] = 0.0
        for i in range(SIDE):
            for m in range(len(weights)):
                at = i + m - reach
                row = row_at(index, places[b, 0] + (at >> 3), places[b, 1], places[b, 2])
                if row >= 0:
                    for j in range(SIDE):
                        for k in range(SIDE):
                            out[b, i, j, k] += weights[m] * source[row, at & 7, j, k]
                elif row == INSIDE:
                    for j in range(SIDE):
                        for k in range(SIDE):
                            out[b, i, j, k] += weights[m] * deep


@kernel
def blur_y(start, stop, places, index, source, weights, deep, out):
    """Add to out: source spread along y, as `blur_x`."""
    reach = len(weights) // 2
    for b in range(start, stop):
        for j in range(SIDE):
            for m in range(len(weights)):
                at = j + m - reach
                row = row_at(index, places[b, 0], places[b, 1] + (at >> 3), places[b, 2])
                if row >= 0:
                    for i in range(SIDE):
                        for k in range(SIDE):
                            out[b, i, j, k] += weights[m] * source[row, i, at & 7, k]
                elif row == INSIDE:
                    for i in range(SIDE):
                        for k in range(SIDE):
                            out[b, i, j, k] += weights[m] * deep


@kernel
def _cubic(share, weights):
    """Weights (4,) of the four values round a place (Catmull and Rom 1974)."""
    s = share
    weights[0] = ((-0.5 * s + 1.0) * s - 0.5) * s
    weights[1] = (1.5 * s - 2.5) * s * s + 1.0
    weights[2] = ((-1.5 * s + 2.0) * s + 0.5) * s
    weights[3] = (0.5 * s - 0.5) * s * s


@kernel
def dose_at(x, y, z, index, pool, deep, weights):
    """The dose at a place in voxels, by the 64 values round it; weights (3, 4) is scratch."""
    x, y, z = x - 0.5, y - 0.5, z - 1.0
    i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
    _cubic(x - i, weights[0])
    _cubic(y - j, weights[1])
    _cubic(z - k, weights[2])
    total = 0.0
    a, b, c = (i & 7) - 1, (j & 7) - 1, (k & 7) - 1
    if min(a, min(b, c)) >= 0 and max(a, max(b, c)) <= 4:
        row = row_at(index, i >> 3, j >> 3, k >> 3)
        if row < 0:
            return deep if row == INSIDE else 0.0
        for m in range(4):
            for n in range(4):
                line = 0.0
                for o in range(4):
                    line += weights[2, o] * pool[row, a + m, b + n, c + o]
                total += weights[0, m] * weights[1, n] * line
        return total
    for m in range(4):
        for n in range(4):
            for o in range(4):
                value = value_at(i + m - 1, j + n - 1, k + o - 1, index, pool, deep)
                total += weights[0, m] * weights[1, n] * weights[2, o] * value
    return total


@kernel
def _critical(upward, levels):
    """The level at which a plane whose normal's z is `upward` ends, from a table over -1 .. 1."""
    at = 0.5 * (upward + 1.0) * (len(levels) - 1)
    n = min(max(int(at), 0), len(levels) - 2)
    return levels[n] + (at - n) * (levels[n + 1] - levels[n])


@kernel
def _excess(along, place, way, level, index, pool, deep, weights):
    """The dose above the level at a length along a way (3,) from a place (3,), in voxels a mm."""
    x, y, z = place[0] + along * way[0], place[1] + along * way[1], place[2] + along * way[2]
    return dose_at(x, y, z, index, pool, deep, weights) - level


@kernel
def _bracket(stride, reach, place, way, level, index, pool, deep, weights):
    """The first stride over which the dose passes the level: its ends and the excess at both.

    Where there is none, both ends are where the dose comes nearest to the level.
    """
    low, high = 0.0, 0.0
    at_low = _excess(0.0, place, way, level, index, pool, deep, weights)
    sign = 1.0 if at_low >= 0 else -1.0
    nearest, best = 0.0, abs(at_low)
    while abs(high) < reach:
        high += sign * stride
        at_high = _excess(high, place, way, level, index, pool, deep, weights)
        if sign * at_high < 0:
            return low, at_low, high, at_high
        if abs(at_high) < best:
            nearest, best = high, abs(at_high)
        low, at_low = high, at_high
    return nearest, best, nearest, best


@kernel
def _close_in(low, at_low, high, at_high, close, place, way, level, index, pool, deep, weights):
    """Where between two lengths the dose is at the level: false position, an end that stays counted half."""
    sign = 1.0 if at_low >= 0 else -1.0
    middle, moved_last = low, 0
    for _ in range(TURNS):
        middle = low + (high - low) * at_low / (at_low - at_high)
        value = _excess(middle, place, way, level, index, pool, deep, weights)
        if sign * value < 0:
            step, high, at_high = abs(high - middle), middle, value
            at_low = 0.5 * at_low if moved_last == 1 else at_low
            moved_last = 1
        else:
            step, low, at_low = abs(middle - low), middle, value
            at_high = 0.5 * at_high if moved_last == 2 else at_high
            moved_last = 2
        if step < close or value == 0:
            break
    return middle


@kernel
def find_edges(start, stop, places, ways, voxel, levels, reach, index, pool, deep, moved):
    """Write moved (n,) mm: how far along its way (n, 3) from its place (n, 3) each vertex finds the critical dose.

    Places in voxels, ways are unit vectors in mm, voxel (3,) its sides in mm. The first crossing from the vertex on
    counts. Where none is within `reach` mm, the vertex goes to where the dose comes nearest to it: the middle of a
    gap that closes, of a wall that doesn't stand.
    """
    weights, way = np.empty((3, 4)), np.empty(3)
    stride = min(voxel[0], min(voxel[1], voxel[2]))
    for v in range(start, stop):
        for c in range(3):
            way[c] = ways[v, c] / voxel[c]
        level = _critical(ways[v, 2], levels)
        low, at_low, high, at_high = _bracket(
            stride, reach, places[v], way, level, index, pool, deep, weights
        )
        if low == high:
            moved[v] = low
        else:
            moved[v] = _close_in(
                low, at_low, high, at_high, CLOSE * stride, places[v], way, level, index, pool, deep, weights
            )
