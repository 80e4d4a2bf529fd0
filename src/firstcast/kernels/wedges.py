"""Wedges that slip between lattice points: which points beside them count as inside.

A lattice edge that enters and leaves the body between two outer points has met a wedge that no point saw.
Where the wedge passes close by one of them, that point is taken into the body.
"""

from firstcast.kernels.bricks import row_at
from firstcast.kernels.compiling import kernel


@kernel
def _take_in(axis, i, j, step, size, index, bits):
    """Set the sign of lattice point `step` of line (i, j) along `axis`; whether it was outside before."""
    u = (axis + 1) % 3
    x = step if axis == 0 else (i if u == 0 else j)
    y = step if axis == 1 else (i if u == 1 else j)
    z = step if axis == 2 else (i if u == 2 else j)
    if x < 0 or y < 0 or z < 0 or x >= size[0] or y >= size[1] or z >= size[2]:
        return False
    row = row_at(index, x >> 3, y >> 3, z >> 3)
    if row < 0:
        return False
    bit = 8 * (y & 7) + (z & 7)
    if bits[row, x & 7] >> bit & 1:
        return False
    bits[row, x & 7] |= 1 << bit
    return True


@kernel
def take_in_wedges(axis, size, bases, line_starts, kept, positions, hits, reach, index, bits):
    """Take in the points that a wedge across an edge along `axis` passes within `reach`, in shares of the edge.

    Gives how many. Runs over the lines in order, for a word of `bits` may belong to several.
    """
    u, v = (axis + 1) % 3, (axis + 2) % 3
    taken = 0
    for line in range(size[u] * size[v]):
        first = line_starts[bases[axis] + line]
        for p in range(first, first + kept[bases[axis] + line] - 1):
            if hits[p] < 0:
                continue
            low = int(positions[p] // 1.0)
            if positions[p + 1] >= low + 1:
                continue
            near, far = positions[p] - low, low + 1 - positions[p + 1]
            if min(near, far) <= reach:
                step = low if near <= far else low + 1
                taken += _take_in(axis, line // size[v], line % size[v], step, size, index, bits)
    return taken
