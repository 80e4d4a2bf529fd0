"""Which bricks a surface's neighbourhood needs."""

import numpy as np

from firstcast.kernels.bricks import SIDE
from firstcast.kernels.compiling import kernel


@kernel
def mark_room(start, stop, places, flags, reach, mask):
    """Set mask (bx, by, bz) uint8 in every brick within `reach` (3,) voxels of a vertex of bricks start .. stop.

    Several blocks may set the same entry: they write the same.
    """
    low, high = np.empty(3, np.int64), np.empty(3, np.int64)
    for b in range(start, stop):
        low[:] = SIDE
        high[:] = -1
        for strip in range(SIDE * SIDE):
            owned = flags[b, 0, strip] | flags[b, 1, strip] | flags[b, 2, strip]
            if owned == 0:
                continue
            i, j = strip >> 3, strip & 7
            low[0], high[0] = min(low[0], i), max(high[0], i + 1)
            low[1], high[1] = min(low[1], j), max(high[1], j + 1)
            for k in range(SIDE):
                if owned >> k & 1:
                    low[2], high[2] = min(low[2], k), max(high[2], k + 1)
        if high[0] < 0:
            continue
        for n in range(3):
            low[n] = (SIDE * places[b, n] + low[n] - reach[n]) // SIDE
            high[n] = (SIDE * places[b, n] + high[n] + reach[n]) // SIDE
            low[n], high[n] = max(low[n], 0), min(high[n], mask.shape[n] - 1)
        for i in range(low[0], high[0] + 1):
            for j in range(low[1], high[1] + 1):
                for k in range(low[2], high[2] + 1):
                    mask[i, j, k] = 1
