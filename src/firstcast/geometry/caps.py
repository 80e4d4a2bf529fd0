"""Closing holes: rims narrow enough are filled, wider ones left open."""

from typing import NamedTuple

import numpy as np

from firstcast.arrays import Points, Triangles
from firstcast.geometry.loops import fill_polygons, triangle_areas
from firstcast.geometry.shells import Rims, Shells, find_rims, split_edges
from firstcast.kernels.edges import SHARED, pair_edges

LARGEST_CAP_RATIO = 0.6
"""Caps may not be larger than this share of the surface they close: a hemisphere's is one half; of a flat
patch with a rim of its own, which is no body, it would be one."""

MOST_MEASURED = 64
"""Up to so many wide rims are filled only to say how wide they are."""


class Capped(NamedTuple):
    """Shells with their narrow holes closed.

    Attributes
    ----------
    points, triangles, shell
        As given, caps and split triangles behind.
    capped : (k,) int32 shell, (k,) float64 width, (k, 3) float64 place
        Of each hole closed.
    open_shell, open_width, open_place, open_fillable
        The same of each rim left open, and whether a larger `widest` would close it. Widths of rims that can't
        be closed are lower bounds.
    """

    points: Points
    triangles: Triangles
    shell: np.ndarray
    capped_shell: np.ndarray
    capped_width: np.ndarray
    capped_place: np.ndarray
    open_shell: np.ndarray
    open_width: np.ndarray
    open_place: np.ndarray
    open_fillable: np.ndarray


def close_holes(shells: Shells, surface: np.ndarray, *, widest: float) -> Capped:
    """Fill every rim no wider than `widest` with triangles of least area.

    The width of a hole is four times the area of its fill over the length of its rim: the diameter of a
    round hole, the side of a square one, twice the breadth of a long crack.

    Parameters
    ----------
    shells : Shells
    surface : (s,) float64
        Area of each shell.
    widest : float
        In the units of the points; 0 closes cracks without width only.
    """
    points, triangles, shell, shell_count = shells.points, shells.triangles, shells.shell, shells.shell_count
    if not shells.is_open:
        nothing = (np.empty(0, dtype=np.int32), np.empty(0), np.empty((0, 3)))
        return Capped(points, triangles, shell, *nothing, *nothing, np.empty(0, dtype=bool))
    rims = find_rims(triangles, shell, len(points))
    lengths, least_areas, middles = _measure(points, rims)
    width = 4 * least_areas / np.maximum(lengths, 1e-300)
    least_cap = np.where(width <= widest, least_areas, 0.0)
    room = LARGEST_CAP_RATIO * surface
    hopeful = np.bincount(rims.shell, weights=least_cap, minlength=shell_count) <= room
    fillable = (np.bincount(rims.shell, weights=least_areas, minlength=shell_count) <= room)[rims.shell]
    # Beside those narrow enough, the rims that a person may want to close are measured, if they are few.
    asked = (width > widest) & fillable
    asked &= asked.sum() <= MOST_MEASURED
    chosen = np.flatnonzero(((width <= widest) & hopeful[rims.shell]) | asked)
    loops = [rims.rows[rims.starts[i] : rims.starts[i + 1]][::-1] for i in chosen]
    caps = fill_polygons(points, loops)
    sizes = np.array([len(loop) - 2 for loop in loops], dtype=np.int64)
    rim_of_cap = np.repeat(chosen, sizes)
    areas = np.bincount(rim_of_cap, weights=triangle_areas(points, caps), minlength=len(lengths))
    width[chosen] = 4 * areas[chosen] / np.maximum(lengths[chosen], 1e-300)
    closing = np.zeros(len(lengths), dtype=bool)
    closing[chosen] = width[chosen] <= widest
    total = np.bincount(rims.shell, weights=np.where(closing, areas, 0.0), minlength=shell_count)
    closing &= (total <= room)[rims.shell]
    kept = closing[rim_of_cap]
    rows = np.concatenate([triangles, caps[kept].astype(np.int32)])
    owner = np.concatenate([shell, rims.shell[rim_of_cap[kept]].astype(np.int32)])
    rim = np.concatenate([np.full(len(triangles), -1, dtype=np.int64), rim_of_cap[kept]])
    points, rows, owner = _part_from_skin(points, np.ascontiguousarray(rows), owner, rim)
    return Capped(
        points,
        rows,
        owner.astype(np.int32),
        rims.shell[closing],
        width[closing],
        middles[closing],
        rims.shell[~closing],
        width[~closing],
        middles[~closing],
        fillable[~closing],
    )


def _measure(points: Points, rims: Rims) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Length, least area of a fill and middle of each rim."""
    count = len(rims.starts) - 1
    if not count:
        return np.empty(0), np.empty(0), np.empty((0, 3))
    begins, sizes = rims.starts[:-1], np.diff(rims.starts)
    corners = points[rims.rows]
    after = np.arange(1, len(rims.rows) + 1)
    after[rims.starts[1:] - 1] = begins
    lengths = np.add.reduceat(np.linalg.norm(corners[after] - corners, axis=1), begins)
    middles = np.add.reduceat(corners, begins) / sizes[:, None]
    centred = corners - np.repeat(middles, sizes, axis=0)
    areas = 0.5 * np.linalg.norm(np.add.reduceat(np.cross(centred, centred[after]), begins), axis=1)
    return lengths, areas, middles


def _part_from_skin(
    points: Points, triangles: Triangles, shell: np.ndarray, rim: np.ndarray
) -> tuple[Points, Triangles, np.ndarray]:
    """Split diagonals of caps that run along an edge that is there already: the edge would have four triangles.

    `rim` is (m,): the rim that each cap triangle fills, -1 for the skin.
    """
    halves = (
        np.flatnonzero(pair_edges(triangles, len(points)) == SHARED) if (rim >= 0).any() else np.empty(0, int)
    )
    halves = halves[rim[halves // 3] >= 0]
    if not len(halves):
        return points, triangles, shell
    flat = triangles.ravel()
    begin = flat[halves]
    end = flat[halves - halves % 3 + (halves % 3 + 1) % 3]
    key = np.stack([rim[halves // 3], np.minimum(begin, end), np.maximum(begin, end)], axis=1)
    _, edge, sharing = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    diagonal = sharing[edge.ravel()] == 2  # an edge on the rim occurs once in its cap
    return split_edges(points, triangles, shell, halves[diagonal], edge.ravel()[diagonal])
