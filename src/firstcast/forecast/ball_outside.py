"""Which balls stand outside of a body: one of those that roll into one another stands for all."""

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.blocks import run_blocks
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.ball_seeds import join_centres
from firstcast.kernels.enclosure import count_crossings

SHARES = 8
"""A body's triangles are counted in so many shares, side by side: whole numbers, so any sum of them is the same."""


def outside(
    body: Mesh,
    pieces: Triangles,
    centres: Points,
    fits: npt.NDArray[np.bool_],
    radius_mm: float,
    *,
    outward: bool,
) -> npt.NDArray[np.bool_]:
    """(n,) bool: which centres are outside the body by its winding number, or inside it where balls roll there.

    Parameters
    ----------
    body : Mesh
    pieces : (m, 3) int32
        Triangles along whose edges balls roll from one of the `centres` (n, 3) to the next, where both of them fit (n,).
    """
    parent = np.empty(len(centres), np.int32)
    join_centres(pieces, centres, fits, radius_mm, parent)
    heads = np.flatnonzero(fits & (parent == np.arange(len(centres))))
    free = np.zeros(len(centres), bool)
    if len(heads):
        free[heads] = (_winding(body, centres[heads]) <= 0) == outward
    return free[parent]


def _winding(body: Mesh, places: Points) -> npt.NDArray[np.int32]:
    points, triangles = np.asarray(body.points, np.float64), body.triangles
    # nudged off the planes that modelled points often share, so that no ray meets an edge
    size = float(np.ptp(points, axis=0).max())
    places = places + size * 1e-9 * np.array([0.6180339887, 0.4142135624, 0.0])
    side = max(1, min(1024, int(np.sqrt(len(places)))))
    low = places[:, :2].min(axis=0)
    step = np.maximum(np.ptp(places[:, :2], axis=0) / side, 1e-300)
    along, across = np.minimum((places[:, :2] - low) / step, side - 1.0).astype(np.int64).T
    order = np.argsort(along * side + across, kind="stable")
    begin = np.searchsorted((along * side + across)[order], np.arange(side * side + 1))
    own, usable = np.full(len(places), -1, np.int32), np.ones(1, bool)
    share = -(-len(triangles) // SHARES)
    shell, counts = np.zeros(share, np.int32), np.zeros((SHARES, len(places)), np.int32)
    queries = places[order]

    def count(start: int, stop: int) -> None:
        rows = triangles[start:stop]
        count_crossings(
            queries, own, begin, side, low, step, points, rows, shell, usable, counts[start // share]
        )

    run_blocks(count, len(triangles), block=share)
    found = np.empty(len(places), np.int32)
    found[order] = counts.sum(axis=0)
    return found
