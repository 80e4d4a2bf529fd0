"""Places sorted into cubic cells, and the cells into bricks of eight cells a side, so that only bricks in use take memory.

`index` (bx, by, bz) int32 names per brick a row, or -1; the places of cell (i, j, k) of row b are
order[starts[c]] .. order[starts[c + 1] - 1] with c = 512 b + 64 i + 8 j + k: cells along z follow one another.
"""

from typing import NamedTuple

import numpy as np

from firstcast.kernels.compiling import kernel

SIDE = 8
"""Cells along a side of a brick."""

CELLS = SIDE**3


class Cells(NamedTuple):
    """Places sorted into cells."""

    low: np.ndarray  # (3,) float64, corner of the first brick
    size: float  # side of a cell, mm
    index: np.ndarray  # (bx, by, bz) int32
    starts: np.ndarray  # (512 rows + 1,) int64
    order: np.ndarray  # (n,) int32


@kernel
def cell_along(value, low, size):
    """The cell of a coordinate, on the table or not."""
    return np.int64(np.floor((value - low) / size))


@kernel
def mark_bricks(start, stop, places, low, size, index):
    """Set `index`, as given -1, to 0 at the bricks that hold places start .. stop."""
    for n in range(start, stop):
        i = cell_along(places[n, 0], low[0], size) >> 3
        j = cell_along(places[n, 1], low[1], size) >> 3
        k = cell_along(places[n, 2], low[2], size) >> 3
        index[i, j, k] = 0


@kernel
def number_bricks(index):
    """Number the marked bricks in the order of the table; returns how many."""
    count = 0
    for i in range(index.shape[0]):
        for j in range(index.shape[1]):
            for k in range(index.shape[2]):
                if index[i, j, k] == 0:
                    index[i, j, k] = count
                    count += 1
    return count


@kernel
def find_cells(start, stop, places, low, size, index, cells):
    """Write cells (n,) int64 of places start .. stop: which of the numbered bricks' cells holds each."""
    for n in range(start, stop):
        i = cell_along(places[n, 0], low[0], size)
        j = cell_along(places[n, 1], low[1], size)
        k = cell_along(places[n, 2], low[2], size)
        cells[n] = CELLS * index[i >> 3, j >> 3, k >> 3] + 64 * (i & 7) + 8 * (j & 7) + (k & 7)


@kernel
def sort_by_cell(cells, starts, order):
    """Fill starts (512 rows + 1,), as given 0, and order (n,): a counting sort, stable."""
    for n in range(len(cells)):
        starts[cells[n] + 1] += 1
    for c in range(1, len(starts)):
        starts[c] += starts[c - 1]
    for n in range(len(cells)):
        order[starts[cells[n]]] = n
        starts[cells[n]] += 1
    for c in range(len(starts) - 1, 0, -1):
        starts[c] = starts[c - 1]
    starts[0] = 0


@kernel
def run_of(index, starts, i, j, k, last):
    """The run of places in cells (i, j, k) to (i, j, last) that lie in one brick: start, stop, the next k.

    The cells must be on the table. Arrays one by one: handing over the whole tuple costs more than the look-up.
    """
    end = min(last, k | 7)
    row = index[i >> 3, j >> 3, k >> 3]
    if row < 0:
        return np.int64(0), np.int64(0), end + 1
    base = CELLS * row + 64 * (i & 7) + 8 * (j & 7)
    return starts[base + (k & 7)], starts[base + (end & 7) + 1], end + 1


@kernel
def _gap(place, cell, size):
    """How far a coordinate is from a cell along one axis."""
    return max(cell * size - place, place - (cell + 1) * size, 0.0)


@kernel
def column_ends(index, size, i, j, x, y, z, far):
    """First and last cell along z of column (i, j) that may come within `far` of a place less the table's corner.

    The last is less than the first where the whole column is farther away.
    """
    left = far * far - _gap(x, i, size) ** 2 - _gap(y, j, size) ** 2
    if left < 0.0:
        return np.int64(0), np.int64(-1)
    half = np.sqrt(left)
    first, last = np.int64(np.floor((z - half) / size)), np.int64(np.floor((z + half) / size))
    return max(first, 0), min(last, SIDE * index.shape[2] - 1)


@kernel
def span_of(cells, axis, low, high):
    """First and last cell along an axis that come between two coordinates, kept on the table."""
    first = cell_along(low, cells.low[axis], cells.size)
    last = cell_along(high, cells.low[axis], cells.size)
    return max(first, 0), min(last, SIDE * cells.index.shape[axis] - 1)
