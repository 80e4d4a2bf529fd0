"""Which half-edge runs against which, and how many faces stand around each vertex."""

import numpy as np

from firstcast.compiling import kernel


@kernel
def pair_edges(corner, vertex_count, twin):
    """Fill `twin` with the half-edge that runs against each, -1 where there is none or more than one.

    corner : (3m,) int32, twin : (3m,) int32.
    Gives the number of half-edges without a partner and of those whose edge has more than one on a side.
    """
    start = np.zeros(vertex_count + 1, np.int32)
    for h in range(len(corner)):
        start[corner[h] + 1] += 1
    for v in range(vertex_count):
        start[v + 1] += start[v]
    leaving = np.empty(len(corner), np.int32)
    cursor = start[:-1].copy()
    for h in range(len(corner)):
        v = corner[h]
        leaving[cursor[v]] = h
        cursor[v] += 1
    open_count = 0
    doubled = 0
    for h in range(len(corner)):
        u = corner[h]
        v = corner[h - 2 if h % 3 == 2 else h + 1]
        partner = -1
        for k in range(start[v], start[v + 1]):
            other = leaving[k]
            if corner[other - 2 if other % 3 == 2 else other + 1] == u:
                if partner >= 0:
                    doubled += 1
                partner = other
        twin[h] = partner
        if partner < 0:
            open_count += 1
    if doubled > 0:
        for h in range(len(corner)):
            if twin[h] >= 0 and twin[twin[h]] != h:
                twin[h] = -1
    return open_count, doubled
