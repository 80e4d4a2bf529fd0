"""Ways down to the platform through free space, within a lean of 45 degrees, on a lattice of distances."""

import numpy as np

from firstcast.kernels.compiling import kernel

NO_WAY = np.float32(np.inf)

STEPS = np.array(
    [(0, 0, 1), (1, 0, 1), (-1, 0, 1), (0, 1, 1), (0, -1, 1), (1, 1, 2), (1, -1, 2), (-1, 1, 2), (-1, -1, 2)],
    np.int64,
)
"""Columns, rows and layers: straight down, 45 degrees along an axis, 35 degrees along a diagonal."""


@kernel
def _way(i, j, k, n, steps, cost, pitch, bottom_mm):
    """What it takes to go step n down from a place: its length and what is left from there.

    Beside the lattice nothing stands in the way.
    """
    a, b, c = i + steps[n, 0], j + steps[n, 1], k - steps[n, 2]
    if c < 0:
        return NO_WAY
    long = np.sqrt(np.float64(steps[n, 0] ** 2 + steps[n, 1] ** 2 + steps[n, 2] ** 2))
    if a < 0 or b < 0 or a >= cost.shape[0] or b >= cost.shape[1]:
        return np.float32(bottom_mm + (c + long) * pitch)
    return np.float32(cost[a, b, c] + long * pitch)


@kernel
def measure_ways(start, stop, k, values, need_mm, pitch, bottom_mm, steps, cost):
    """Write, for columns start .. stop of layer k, the shortest way to the platform; infinite where there is none.

    values, cost (x, y, z) float32; layers below k are done. In layer 0 the way is `bottom_mm`, its height. A place is free
    if it keeps `need_mm` from the figure; a diagonal step passes its middle, which the two places beside it keep free.
    """
    for i in range(start, stop):
        for j in range(cost.shape[1]):
            best = NO_WAY
            if values[i, j, k] >= need_mm:
                if k == 0:
                    best = np.float32(bottom_mm)
                else:
                    for n in range(steps.shape[0]):
                        best = min(best, _way(i, j, k, n, steps, cost, pitch, bottom_mm))
            cost[i, j, k] = best


@kernel
def follow_way(i, j, k, steps, cost, pitch, bottom_mm, places):
    """Write the lattice places (m, 3) int64 of the shortest way down from one, until it leaves the lattice; returns how many."""
    made = 0
    while made < places.shape[0]:
        places[made, 0], places[made, 1], places[made, 2] = i, j, k
        made += 1
        if k == 0 or i < 0 or j < 0 or i >= cost.shape[0] or j >= cost.shape[1]:
            break
        best, chosen = NO_WAY, 0
        for n in range(steps.shape[0]):
            way = _way(i, j, k, n, steps, cost, pitch, bottom_mm)
            if way < best:
                best, chosen = way, n
        i, j, k = i + steps[chosen, 0], j + steps[chosen, 1], k - steps[chosen, 2]
    return made
