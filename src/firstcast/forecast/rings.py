"""Values on a mesh's vertices smoothed over, taken as the least of, or eased between neighbours along edges."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Triangles


class Rings(NamedTuple):
    """Every vertex with its neighbours, itself among them.

    Attributes
    ----------
    starts : (n + 1,) int64
    near : (k,) int32
        near[starts[i]:starts[i + 1]] are vertex i and its neighbours, ascending.
    """

    starts: npt.NDArray[np.int64]
    near: npt.NDArray[np.int32]


def rings_of(triangles: Triangles, count: int) -> Rings:
    """The neighbours of each of `count` vertices."""
    import scipy.sparse  # slow to import

    ends = np.concatenate([triangles[:, (0, 1)], triangles[:, (1, 2)], triangles[:, (2, 0)]])
    own = np.arange(count, dtype=ends.dtype)
    rows = np.concatenate([ends[:, 0], ends[:, 1], own])
    columns = np.concatenate([ends[:, 1], ends[:, 0], own])
    near = scipy.sparse.csr_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(count, count))
    near.sum_duplicates()
    return Rings(near.indptr.astype(np.int64), near.indices.astype(np.int32))


def rings_within(rings: Rings, rows: npt.NDArray[np.integer]) -> Rings:
    """The neighbours of some vertices alone, in the order of `rows` (k,)."""
    counts = np.diff(rings.starts)[rows]
    starts = np.concatenate([[0], np.cumsum(counts)])
    places = np.arange(starts[-1]) - np.repeat(starts[:-1], counts) + np.repeat(rings.starts[rows], counts)
    return Rings(starts, rings.near[places])


def smoothed(rings: Rings, values: npt.NDArray[np.float64], times: int) -> npt.NDArray[np.float64]:
    """Values (n,) replaced `times` times by the mean over each vertex and its neighbours."""
    counts = np.diff(rings.starts)
    for _ in range(times):
        values = np.add.reduceat(values[rings.near], rings.starts[:-1]) / counts
    return values


def least_around(rings: Rings, values: npt.NDArray[np.float64], times: int) -> npt.NDArray[np.float64]:
    """The least of values (n,) within so many rings of each vertex."""
    for _ in range(times):
        values = np.minimum.reduceat(values[rings.near], rings.starts[:-1])
    return values


def eased(rings: Rings, values: npt.NDArray[np.float64], step: float, times: int) -> npt.NDArray[np.float64]:
    """Values (n,) lowered within so many rings until none is above a neighbour's by more than `step`.

    What is low stays as it is, and takes from its neighbours no more than that: the greatest such values below those given.
    """
    for _ in range(times):
        values = np.minimum(values, least_around(rings, values, 1) + step)
    return values
