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
    winding = count_crossings(
        queries,
        owner,
        np.ascontiguousarray(points, dtype=np.float64),
        np.ascontiguousarray(triangles, dtype=np.int32),
        np.ascontiguousarray(shell, dtype=np.int32),
        np.ascontiguousarray(closed),
    )
    outside = np.bincount(owner[winding <= 0], minlength=len(closed))
    enclosed[closed] = outside[closed] == 0
    return enclosed
