"""The dose near a surface, averaged over where the piece lies on pixels and layers, and where it is critical.

Pools (rows, 8, 8, 8) float32 hold values in voxels of half a pixel and half a layer; along x and y a value belongs
to its voxel's middle, along z to its top.
"""

import numpy as np

from firstcast.kernels.bricks import INSIDE, OUTSIDE, SIDE, row_at
from firstcast.kernels.compiling import kernel

TURNS = 12
"""Most steps of false position on one vertex; it nearly always ends at `CLOSE` before."""

FAINT = 1e-9
"""Light below this, in units of a layer's own, is none: it ends somewhere, and so does the work on it."""

RUN = SIDE * SIDE
"""Values of a brick with the same x, which lie in a row."""

CLOSE = 1e-4
"""Steps below this, in voxels, end the search."""


@kernel
def add_later(start, stop, index, share, kept, later, own, shining):
    """Write own (rows, 8, 8, 8): each place's share and what layers after it leave there, for brick columns start .. stop.

    A layer is two voxels high; `kept` of the light passes one, and later layers count `later` times as much.
    shining (rows,) tells where there is any light.
    """
    columns = index.shape[1]
    # of the layers above, which lie two voxels apart: the last share and light of the odd and of the even ones
    above, left = np.empty((2, SIDE, SIDE)), np.empty((2, SIDE, SIDE))
    total = np.empty((SIDE, SIDE), np.float32)
    for column in range(start, stop):
        bx, by = column // columns, column % columns
        above[:], left[:] = 0.0, 0.0
        gap = 0
        for bz in range(index.shape[2] - 1, -1, -1):
            row = index[bx, by, bz]
            if row < 0:
                gap += 1
                continue
            if gap > 0:
                _pass_bricks(gap, 1.0 if index[bx, by, bz + 1] == INSIDE else 0.0, kept, above, left)
            gap = 0
            total[:] = np.float32(0.0)
            for k in range(SIDE - 1, -1, -1):
                n = k & 1
                for i in range(SIDE):
                    for j in range(SIDE):
                        passed = kept * (above[n, i, j] + left[n, i, j])
                        left[n, i, j] = passed if passed > FAINT else 0.0
                        above[n, i, j] = share[row, i, j, k]
                        value = np.float32(above[n, i, j] + later * left[n, i, j])
                        own[row, i, j, k] = value
                        total[i, j] += value
            shining[row] = total.max() > 0


@kernel
def _pass_bricks(count, share, kept, above, left):
    """Light after `count` absent bricks of one share, four layers each."""
    faded = kept ** (4 * count - 1)
    gained = share * kept * (1.0 - faded) / (1.0 - kept)
    for n in range(2):
        for i in range(SIDE):
            for j in range(SIDE):
                passed = faded * kept * (above[n, i, j] + left[n, i, j]) + gained
                left[n, i, j] = passed if passed > FAINT else 0.0
                above[n, i, j] = share


@kernel
def blur_levels(
    start,
    stop,
    listed,
    starts,
    rank,
    places,
    index,
    first,
    shining,
    own,
    along_x,
    along_y,
    deep,
    anew,
    light,
    base,
):
    """Add to light, or write, what own, spread along x and then y, is in bricks of height start .. stop.

    Of height n are rows listed[starts[n] : starts[n + 1]], in which rank (rows,) gives a row's place. Taken so, what is
    worked on fits a core's cache. Pools are (rows, 8, 64), that of light from row `base` on; index begins at slab `first`.
    Absent bricks hold 0 or `deep`; where shining (rows,) is not set own is 0 throughout.
    """
    deep_along_x, deep_along_y = np.float32(deep), np.float32(deep * along_x.sum())
    reach_x, reach_y = bricks_reached(along_x), bricks_reached(along_y)
    near_x, near_y = np.empty(2 * reach_x + 1, np.int64), np.empty(2 * reach_y + 1, np.int64)
    runs, total = np.empty(len(near_y) * RUN, np.float32), np.empty(RUN, np.float32)
    spread = np.empty((np.diff(starts[start : stop + 1]).max(), SIDE, RUN), np.float32)
    for height in range(start, stop):
        rows = listed[starts[height] : starts[height + 1]]
        for n in range(len(rows)):
            bx, by = places[rows[n], 0] - first, places[rows[n], 1]
            for m in range(len(near_x)):
                row = row_at(index, bx + m - reach_x, by, height)
                near_x[m] = row if row < 0 or shining[row] else OUTSIDE
            for i in range(SIDE):
                _along_x(i, near_x, own, along_x, deep_along_x, total)
                for c in range(RUN):
                    spread[n, i, c] = total[c]
        for n in range(len(rows)):
            bx, by, out = places[rows[n], 0] - first, places[rows[n], 1], rows[n] - base
            for m in range(len(near_y)):
                row = row_at(index, bx, by + m - reach_y, height)
                near_y[m] = row if row < 0 else rank[row]
            for i in range(SIDE):
                _along_y(i, near_y, spread, along_y, deep_along_y, runs, total)
                for c in range(RUN):
                    before = np.float32(0.0) if anew else light[out, i, c]
                    light[out, i, c] = before + total[c]


@kernel
def bricks_reached(weights):
    """How many bricks farther on light is spread by some weights."""
    return (len(weights) // 2 + SIDE - 1) // SIDE


@kernel
def _along_x(i, near, own, weights, deep, total):
    """Write total (64,): what reaches run i of a brick from a row of bricks, near (odd,), the middle one its own."""
    total[:] = np.float32(0.0)
    for n in range(len(near)):
        row = near[n]
        if row == OUTSIDE:
            continue
        # of the weight that the brick's first run takes
        first = SIDE * (n - len(near) // 2) - i + len(weights) // 2
        for q in range(max(-first, 0), min(len(weights) - first, SIDE)):
            weight = weights[first + q]
            if row == INSIDE:
                for c in range(RUN):
                    total[c] += weight * deep
            else:
                for c in range(RUN):
                    total[c] += weight * own[row, q, c]


@kernel
def _along_y(i, near, spread, weights, deep, runs, total):
    """Write total (64,): what reaches run i of a brick from those beside it, near (odd,), whose runs lie end to end."""
    reach = len(weights) // 2
    low, high = RUN * (len(near) // 2) - SIDE * reach, RUN * (len(near) // 2 + 1) + SIDE * reach
    for n in range(low // RUN, (high - 1) // RUN + 1):
        row = near[n]
        if row >= 0:
            for c in range(RUN):
                runs[RUN * n + c] = spread[row, i, c]
        else:
            runs[RUN * n : RUN * n + RUN] = deep if row == INSIDE else np.float32(0.0)
    total[:] = np.float32(0.0)
    for m in range(len(weights)):
        weight, ahead = weights[m], runs[low + SIDE * m : low + SIDE * m + RUN]
        for c in range(RUN):
            total[c] += weight * ahead[c]


@kernel
def _cubic(share, weights):
    """Weights (4,) of the four values round a place (Catmull and Rom 1974)."""
    s = share
    weights[0] = ((-0.5 * s + 1.0) * s - 0.5) * s
    weights[1] = (1.5 * s - 2.5) * s * s + 1.0
    weights[2] = ((-1.5 * s + 2.0) * s + 0.5) * s
    weights[3] = (0.5 * s - 0.5) * s * s


@kernel
def dose_at(x, y, z, field):
    """The dose at a place in voxels, by the 64 values round it.

    field: the slab that index (slabs, by, bz) begins at; index; pool, and the row it begins at; what absent bricks inside
    hold; scratch (3, 4) and (2, 2, 2).
    """
    first, index, pool, base, deep, weights, rows = field
    x, y, z = x - 0.5, y - 0.5, z - 1.0
    i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
    _cubic(x - i, weights[0])
    _cubic(y - j, weights[1])
    _cubic(z - k, weights[2])
    # of the first of the four values along each axis
    i, j, k = i - 1 - SIDE * first, j - 1, k - 1
    for m in range(2):
        for n in range(2):
            for o in range(2):
                rows[m, n, o] = row_at(index, (i + 3 * m) >> 3, (j + 3 * n) >> 3, (k + 3 * o) >> 3)
    i, j, k = i & 7, j & 7, k & 7
    total = 0.0
    for m in range(4):
        across = 0.0
        for n in range(4):
            lower, upper = rows[(i + m) >> 3, (j + n) >> 3, 0], rows[(i + m) >> 3, (j + n) >> 3, 1]
            x, y = (i + m) & 7, (j + n) & 7
            if lower >= 0 and k <= SIDE - 4:
                line = (
                    weights[2, 0] * pool[lower - base, x, y, k]
                    + weights[2, 1] * pool[lower - base, x, y, k + 1]
                    + weights[2, 2] * pool[lower - base, x, y, k + 2]
                    + weights[2, 3] * pool[lower - base, x, y, k + 3]
                )
            else:
                line = 0.0
                for o in range(4):
                    row = lower if k + o < SIDE else upper
                    if row >= 0:
                        line += weights[2, o] * pool[row - base, x, y, (k + o) & 7]
                    elif row == INSIDE:
                        line += weights[2, o] * deep
            across += weights[1, n] * line
        total += weights[0, m] * across
    return total


@kernel
def _critical(upward, levels):
    """The level at which a plane whose normal's z is `upward` ends, from a table over -1 .. 1."""
    at = 0.5 * (upward + 1.0) * (len(levels) - 1)
    n = min(max(int(at), 0), len(levels) - 2)
    return levels[n] + (at - n) * (levels[n + 1] - levels[n])


@kernel
def _excess(along, place, way, level, field):
    """The dose above the level at a length along a way (3,) from a place (3,), in voxels a mm."""
    x, y, z = place[0] + along * way[0], place[1] + along * way[1], place[2] + along * way[2]
    return dose_at(x, y, z, field) - level


@kernel
def _bracket(stride, reach, place, way, level, field):
    """The first stride over which the dose passes the level: its ends and the excess at both.

    Where there is none, both ends are where the dose comes nearest to the level.
    """
    low, high = 0.0, 0.0
    at_low = _excess(0.0, place, way, level, field)
    sign = 1.0 if at_low >= 0 else -1.0
    nearest, best = 0.0, abs(at_low)
    while abs(high) < reach:
        high += sign * stride
        at_high = _excess(high, place, way, level, field)
        if sign * at_high < 0:
            return low, at_low, high, at_high
        if abs(at_high) < best:
            nearest, best = high, abs(at_high)
        low, at_low = high, at_high
    return nearest, best, nearest, best


@kernel
def _close_in(low, at_low, high, at_high, close, place, way, level, field):
    """Where between two lengths the dose is at the level: false position, an end that stays counted half."""
    sign = 1.0 if at_low >= 0 else -1.0
    middle, moved_last = low, 0
    for _ in range(TURNS):
        middle = low + (high - low) * at_low / (at_low - at_high)
        value = _excess(middle, place, way, level, field)
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
def find_edges(
    start, stop, listed, points, ways, origin, voxel, levels, reach, first, index, pool, base, deep, moved
):
    """Write moved (n,) mm: how far along its way (n, 3) from its point (n, 3) each vertex finds the critical dose.

    For the vertices listed[start : stop]. Points and ways in mm, origin and voxel (3,) mm; index begins at slab `first`, pool at row `base`. The
    first crossing from the vertex on counts. Where none is within `reach` mm, the vertex goes to where the dose comes
    nearest to it: the middle of a gap that closes, of a wall that doesn't stand.
    """
    place, way = np.empty(3), np.empty(3)
    field = (first, index, pool, base, deep, np.empty((3, 4)), np.empty((2, 2, 2), np.int64))
    stride = min(voxel[0], min(voxel[1], voxel[2]))
    for entry in range(start, stop):
        v = listed[entry]
        for c in range(3):
            place[c], way[c] = (points[v, c] - origin[c]) / voxel[c], ways[v, c] / voxel[c]
        level = _critical(ways[v, 2], levels)
        low, at_low, high, at_high = _bracket(stride, reach, place, way, level, field)
        if low == high:
            moved[v] = low
        else:
            moved[v] = _close_in(low, at_low, high, at_high, CLOSE * stride, place, way, level, field)
