"""Lengths drawn back where a surface moved by them would cross itself."""

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.forecast.rings import Rings, least_around
from firstcast.geometry.boxtree import build_box_tree
from firstcast.geometry.crossings import crossing_rows, snap_points

SHORTENED = 0.7
"""What is kept of lengths in a round in which their triangles cross: less at a time costs more of what would not cross."""

SHORTENINGS = 9
"""Rounds in which lengths are shortened, to 4 of 100; from then on they become nothing, a ring farther each round."""

CLEAR = 0.95
"""What is kept, once, of lengths that were shortened: some microns of clearance from where they would touch."""

MOST_ROUNDS = 19

MOST_PAIRS = 100_000


def uncrossed(
    points: Points,
    ways: npt.NDArray[np.float64],
    length_mm: npt.NDArray[np.float64],
    triangles: Triangles,
    rings: Rings,
    *,
    clear: npt.NDArray[np.float64] | None = None,
) -> npt.NDArray[np.float64]:
    """Lengths (n,) no greater than those given, by which no two triangles cross that did not cross before.

    Parameters
    ----------
    points, ways : (n, 3) float64
        mm, and what one millimetre of length adds to each.
    triangles : (m, 3) int32
    rings : Rings
        Of the same triangles.
    clear : (n,) float64, optional
        Lengths that are known to cross nowhere: where these are the same nothing is searched but what crosses the others.

    Notes
    -----
    Crossings are exact for the places rounded to float32. Where the surface crosses itself as given, or still does after
    `MOST_ROUNDS`, lengths become nothing.
    """
    length = length_mm.copy()
    rows = np.arange(len(triangles), dtype=np.int32)
    asked, cleared = rows, False
    if clear is not None:
        moved = (_placed(points, ways, length) != _placed(points, ways, clear)).any(axis=1)
        asked = np.flatnonzero(moved[triangles].any(axis=1)).astype(np.int32)
    for done in range(MOST_ROUNDS + 1):
        places = _placed(points, ways, length)
        pairs = crossing_rows(places, triangles, asked, build_box_tree(places, triangles, rows), MOST_PAIRS)
        hit = np.ones(len(points))
        hit[triangles[pairs.ravel()].ravel()] = 0.0
        if done > SHORTENINGS and len(pairs) and not length[hit == 0.0].any():
            break
        if len(pairs):
            near = least_around(rings, hit, max(done - SHORTENINGS, 0)) == 0.0
            length[near] *= SHORTENED if done < SHORTENINGS else 0.0
        elif not cleared:
            # what was shortened stopped short of touching by chance: at another size it would be rounded into crossing
            cleared = True
            near = length != length_mm
            length[near] *= CLEAR
        else:
            break
        # what has not moved since can't cross but what has; of too many pairs some were not listed
        whole = len(pairs) == MOST_PAIRS
        asked = rows if whole else np.flatnonzero(near[triangles].any(axis=1)).astype(np.int32)
    return length


def _placed(points: Points, ways: npt.NDArray[np.float64], length) -> npt.NDArray[np.float32]:
    return snap_points(points + length[:, None] * ways, where="carry")
