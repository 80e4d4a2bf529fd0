"""Reading a near field between its lattice points."""

import numpy as np

from firstcast.kernels.bricks import INSIDE, row_at
from firstcast.kernels.compiling import kernel


@kernel
def sample_trilinear(start, stop, places, origin, pitch, index, pool, far, values):
    """Write the trilinear value at places start .. stop; absent bricks hold `far` or -far."""
    low, share = np.empty(3, np.int64), np.empty(3)
    for n in range(start, stop):
        for axis in range(3):
            at = (places[n, axis] - origin[axis]) / pitch[axis]
            low[axis] = np.int64(np.floor(at))
            share[axis] = at - low[axis]
        total = 0.0
        for corner in range(8):
            di, dj, dk = corner & 1, corner >> 1 & 1, corner >> 2
            i, j, k = low[0] + di, low[1] + dj, low[2] + dk
            weight = share[0] if di else 1.0 - share[0]
            weight *= share[1] if dj else 1.0 - share[1]
            weight *= share[2] if dk else 1.0 - share[2]
            row = row_at(index, i >> 3, j >> 3, k >> 3)
            if row >= 0:
                total += weight * pool[row, i & 7, j & 7, k & 7]
            else:
                total += -weight * far if row == INSIDE else weight * far
        values[n] = total
