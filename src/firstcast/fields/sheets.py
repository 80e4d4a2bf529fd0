"""Giving a sheet its thickness: the surface at half the thickness around it, rounded at its rim."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points
from firstcast.fields.contour import Contour, contour
from firstcast.fields.near import INSIDE, OUTSIDE, SIDE, NearField
from firstcast.fields.union import Lattice, lattice_around

COARSE = 64
"""Lattice points along a side of the boxes that the search for the surface starts with."""

QUERIES = 1 << 21
"""Distances asked for at a time."""

Distances = Callable[[Points], npt.NDArray[np.float64]]
"""From (q, 3) places to (q,) lengths in mm."""


def thicken(points: Points, thickness_mm: float, pitch_mm, distance_mm: Distances) -> Contour:
    """The closed surface of everything within half the thickness of a sheet.

    Parameters
    ----------
    points : (n, 3) float64
        The sheet's points, mm.
    thickness_mm : float
        At least two pitches, or the lattice tears it.
    pitch_mm : (3,) float, or one float for all axes
    distance_mm : function of (q, 3) places to (q,) distances from the sheet
    """
    pitch = np.broadcast_to(np.asarray(pitch_mm, np.float64), (3,))
    half = thickness_mm / 2
    lattice = lattice_around(points, pitch, half + 2 * float(pitch.max()))
    return level_surface(lattice, lambda places: distance_mm(places) - half)


def level_surface(lattice: Lattice, value_mm: Distances) -> Contour:
    """The zero contour of a function that changes by no more than the way gone, such as a distance.

    Notes
    -----
    Boxes are halved towards the surface: one whose middle is farther from it than its corners are from the
    middle can't hold any of it. So exact values are only asked for beside the surface.
    """
    margin = float(np.linalg.norm(lattice.pitch_mm))
    index = np.full(lattice.bricks, OUTSIDE, np.int32)
    starts = [np.arange(0, n * SIDE, COARSE) for n in lattice.bricks]
    low = np.stack(np.meshgrid(*starts, indexing="ij"), axis=-1).reshape(-1, 3)
    side = COARSE
    while True:
        gap, near, kept = _near_boxes(low, side, lattice, margin, value_mm)
        _mark_inside(index, low[~kept & (gap < 0)] // SIDE, side // SIDE)
        if side == SIDE:
            break
        low, side = _halved(near, side), side // 2
        low = low[(low < lattice.size).all(axis=1)]
    places, gap = near // SIDE, gap[kept]
    index[tuple(places.T)] = np.arange(len(places))
    pool = np.broadcast_to(gap[:, None, None, None], (len(places), SIDE, SIDE, SIDE)).astype(np.float32)
    _fill(pool, places, lattice, margin, value_mm)
    nobody = np.zeros((0, SIDE, SIDE, SIDE), np.uint16)
    return contour(NearField(lattice.origin_mm, lattice.pitch_mm, index, pool, nobody))


def _mark_inside(index: np.ndarray, places: np.ndarray, side: int) -> None:
    """Mark boxes of side³ bricks as wholly within the sheet."""
    steps = np.stack(np.meshgrid(*[np.arange(side)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    bricks = (places[:, None, :] + steps).reshape(-1, 3)
    index[tuple(bricks[(bricks < index.shape).all(axis=1)].T)] = INSIDE


def _near_boxes(low, side, lattice, margin, value_mm):
    """Per box the value at its middle, the boxes that may touch it, and which they are.

    A box holds the lattice points low .. low + side - 1 along each axis.
    """
    middle = lattice.origin_mm + (low + (side - 1) / 2) * lattice.pitch_mm
    gap = np.concatenate([value_mm(part) for part in _chunks(middle)])
    reach = float(np.linalg.norm(lattice.pitch_mm)) * (side - 1) / 2
    kept = np.abs(gap) <= reach + margin
    return gap, low[kept], kept


def _halved(low: np.ndarray, side: int) -> np.ndarray:
    """The eight halves of each box."""
    steps = np.stack(np.meshgrid(*[[0, side // 2]] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    return (low[:, None, :] + steps).reshape(-1, 3)


def _fill(pool, places, lattice, margin, value_mm) -> None:
    """Write the values of the bricks: exact beside the surface, the middle of a box elsewhere."""
    low, side = places.astype(np.int64) * SIDE, SIDE
    row = np.arange(len(places))
    while side > 1:
        low, side = _halved(low, side), side // 2
        row = np.repeat(row, 8)
        gap, near, kept = _near_boxes(low, side, lattice, margin, value_mm)
        inner = low % SIDE
        if side == 1:
            pool[row, inner[:, 0], inner[:, 1], inner[:, 2]] = gap
        else:
            steps = np.stack(np.meshgrid(*[np.arange(side)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
            at = inner[:, None, :] + steps
            pool[row[:, None], at[..., 0], at[..., 1], at[..., 2]] = gap[:, None]
        low, row = near, row[kept]


def _chunks(rows: np.ndarray):
    return (rows[n : n + QUERIES] for n in range(0, max(len(rows), 1), QUERIES))
