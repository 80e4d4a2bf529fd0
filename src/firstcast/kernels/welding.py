"""Finding equal and nearly equal points by open hashing.

Both loops run in the order of the points and give a point the number of the first one it meets, so the
result does not depend on the number of threads (there is one) nor on the hash.
"""

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def hash_key(a, b, c):
    """A non-negative int64 that mixes all bits of three int64 numbers."""
    h = a * np.int64(-7046029254386353131) + b * np.int64(-4417276706812531889)
    h = h + c * np.int64(1609587929392839161)
    h ^= h >> np.int64(29)
    h *= np.int64(-7723592293110705685)
    h ^= h >> np.int64(32)
    return h & np.int64(0x7FFFFFFFFFFFFFFF)


@kernel
def weld_exact(keys):
    """Number equal rows alike.

    Parameters
    ----------
    keys : (n, 3) int64

    Returns
    -------
    label : (n,) int32
        Equal for equal rows; counted from 0 in the order of first appearance.
    first : (k,) int32
        The first row of each label.
    """
    n = len(keys)
    label = np.empty(n, np.int32)
    first = np.empty(n, np.int32)
    size = np.int64(1024)
    slots = np.full(size, np.int32(-1))
    count = 0
    for i in range(n):
        if 2 * count >= size:
            size *= 4
            slots = np.full(size, np.int32(-1))
            for k in range(count):
                r = first[k]
                s = hash_key(keys[r, 0], keys[r, 1], keys[r, 2]) & (size - 1)
                while slots[s] >= 0:
                    s = (s + 1) & (size - 1)
                slots[s] = np.int32(k)
        s = hash_key(keys[i, 0], keys[i, 1], keys[i, 2]) & (size - 1)
        while True:
            k = slots[s]
            if k < 0:
                slots[s] = np.int32(count)
                first[count] = np.int32(i)
                label[i] = np.int32(count)
                count += 1
                break
            r = first[k]
            if keys[r, 0] == keys[i, 0] and keys[r, 1] == keys[i, 1] and keys[r, 2] == keys[i, 2]:
                label[i] = k
                break
            s = (s + 1) & (size - 1)
    return label, first[:count].copy()


@kernel
def weld_near(points, tolerance):
    """Give each point the first earlier point within `tolerance` of it that stands for itself.

    Points are hashed into cells of four tolerances; a point looks into every cell that its ball may
    touch (mostly one). A chain of near points does not creep: all that join a point lie within
    `tolerance` of that very point.

    Parameters
    ----------
    points : (n, 3) float64
        Coordinates over 4 · tolerance must stay below 2⁶².
    tolerance : float
        > 0.

    Returns
    -------
    leader : (n,) int32
        The point that each point becomes: its own number if it stays.
    """
    n = len(points)
    cell = 4.0 * tolerance
    size = np.int64(1024)
    while size < 2 * n:
        size *= 2
    slots = np.full(size, np.int32(-1))  # head of a chain of leaders, all in one cell
    after = np.full(n, np.int32(-1))
    leader = np.empty(n, np.int32)
    lo = np.empty(3, np.int64)
    hi = np.empty(3, np.int64)
    for i in range(n):
        for d in range(3):
            lo[d] = np.int64(np.floor((points[i, d] - tolerance) / cell))
            hi[d] = np.int64(np.floor((points[i, d] + tolerance) / cell))
        found = np.int32(-1)
        for x in range(lo[0], hi[0] + 1):
            for y in range(lo[1], hi[1] + 1):
                for z in range(lo[2], hi[2] + 1):
                    if found >= 0:
                        continue
                    j = slots[_slot(points, slots, size, cell, x, y, z)]
                    while j >= 0:
                        dx = points[i, 0] - points[j, 0]
                        dy = points[i, 1] - points[j, 1]
                        dz = points[i, 2] - points[j, 2]
                        if dx * dx + dy * dy + dz * dz <= tolerance * tolerance:
                            found = j
                            break
                        j = after[j]
        if found >= 0:
            leader[i] = found
        else:
            x = np.int64(np.floor(points[i, 0] / cell))
            y = np.int64(np.floor(points[i, 1] / cell))
            z = np.int64(np.floor(points[i, 2] / cell))
            s = _slot(points, slots, size, cell, x, y, z)
            after[i] = slots[s]
            slots[s] = np.int32(i)
            leader[i] = np.int32(i)
    return leader


@kernel
def _slot(points, slots, size, cell, x, y, z):
    """The slot of cell (x, y, z): where its chain hangs, or the free one where it would."""
    s = hash_key(x, y, z) & (size - 1)
    while slots[s] >= 0:
        j = slots[s]
        if (
            np.int64(np.floor(points[j, 0] / cell)) == x
            and np.int64(np.floor(points[j, 1] / cell)) == y
            and np.int64(np.floor(points[j, 2] / cell)) == z
        ):
            return s
        s = (s + 1) & (size - 1)
    return s
