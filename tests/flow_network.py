"""Networks on small grids, and the greatest flow through them by a general library."""

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_flow

from firstcast.kernels.parting import STEPS


def grid(shape):
    """(n, 18) int32: neighbours on a grid, -1 beyond it."""
    number = np.arange(np.prod(shape)).reshape(shape)
    places = np.argwhere(number >= 0)
    rows = np.full((number.size, 18), -1, np.int32)
    for d, step in enumerate(STEPS):
        there = places + step
        inside = ((there >= 0) & (there < shape)).all(axis=1)
        rows[inside, d] = number[tuple(there[inside].T)]
    return rows


def greatest_flow(rows, capacity, ends) -> int:
    count = len(rows)
    at, d = np.nonzero((rows >= 0) & (capacity > 0))
    gives, takes = np.flatnonzero(ends > 0), np.flatnonzero(ends < 0)
    first = np.concatenate([at, np.full(len(gives), count), takes])
    second = np.concatenate([rows[at, d], gives, np.full(len(takes), count + 1)])
    amount = np.concatenate([capacity[at, d], ends[gives], -ends[takes]]).astype(np.int32)
    network = csr_matrix((amount, (first, second)), shape=(count + 2, count + 2))
    return int(maximum_flow(network, count, count + 1).flow_value)
