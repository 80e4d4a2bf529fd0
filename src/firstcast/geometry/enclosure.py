"""Which shells lie wholly inside the others."""

import numpy as np

from firstcast.arrays import Points, Triangles
from firstcast.kernels.enclosure import count_crossings

MOST_PROBES = 256
"""Points of a shell that must all lie inside; spread evenly over its points."""

PROBE_BUDGET = 400_000
"""Probes for a whole part; shells by the thousand get fewer each, at least eight."""


def enclosed_shells(
    points: Points, triangles: Triangles, shell: np.ndarray, closed: np.ndarray
) -> np.ndarray:
    """Whether each closed shell has all its probes inside other closed shells.

    Probes are points of the shell: one that reaches out between them goes unseen.

    Parameters
    ----------
    points : (n, 3) float64
    triangles : (m, 3) int32
        Closed shells wound outward.
    shell : (m,) int32
    closed : (s,) bool

    Returns
    -------
    (s,) bool
    """
    enclosed = np.zeros(len(closed), dtype=bool)
    if closed.sum() < 2:
        return enclosed
    each = max(8, min(MOST_PROBES, PROBE_BUDGET // int(closed.sum())))
    order = np.argsort(shell, kind="stable")
    bounds = np.searchsorted(shell[order], np.arange(len(closed) + 1))
    rows, own = [], []
    for number in np.flatnonzero(closed):
        count = min(each, bounds[number + 1] - bounds[number])
        picks = np.linspace(bounds[number], bounds[number + 1] - 1, count).astype(np.int64)
        rows.append(triangles[order[picks], 0])
        own.append(np.full(count, number, dtype=np.int32))
    queries = np.ascontiguousarray(points[np.concatenate(rows)])
    owner = np.concatenate(own)
    # Nudged off the lattice that modelled points often share, so that no ray meets an edge.
    size = float(np.ptp(points, axis=0).max())
    queries[:, :2] += size * 1e-9 * np.array([0.6180339887, 0.4142135624])
    order, begin, side, low, step = _binned(queries[:, :2])
    owner, winding = owner[order], np.zeros(len(queries), dtype=np.int32)
    count_crossings(
        queries[order],
        owner,
        begin,
        side,
        low,
        step,
        np.ascontiguousarray(points, dtype=np.float64),
        np.ascontiguousarray(triangles, dtype=np.int32),
        np.ascontiguousarray(shell, dtype=np.int32),
        np.ascontiguousarray(closed),
        winding,
    )
    outside = np.bincount(owner[winding <= 0], minlength=len(closed))
    enclosed[closed] = outside[closed] == 0
    return enclosed


def _binned(places: np.ndarray):
    """Places (q, 2) on a square grid, about one a cell: order by cell, where each cell begins, cells a side,
    the grid's corner and the sides of its cells."""
    side = max(1, min(1024, int(np.sqrt(len(places)))))
    low = places.min(axis=0)
    step = np.maximum((places.max(axis=0) - low) / side, 1e-300)
    along, across = np.minimum((places - low) / step, side - 1.0).astype(np.int64).T
    cell = along * side + across
    order = np.argsort(cell, kind="stable")
    return order, np.searchsorted(cell[order], np.arange(side * side + 1)), side, low, step
