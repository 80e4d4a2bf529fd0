"""Heights of a piece of surface over a plane, on a square lattice: for what is read flat, as letters are."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_MOST_AT_ONCE = 4_000_000
"""Lattice places worked on together."""

EDGE_ON = 1e-9
"""Twice a triangle's area, in places of the lattice, below which it is seen edge-on."""


@dataclass(frozen=True)
class HeightMap:
    """Heights along a direction, seen from its end.

    Attributes
    ----------
    heights_mm : (rows, columns) float64
        The highest surface at each place; nan where there is none.
    origin_mm : (3,) float64
        Of height 0 at row 0 and column 0.
    frame : (3, 3) float64
        Rows: the way of columns, the way of rows, and up.
    pitch_mm : float
    """

    heights_mm: Floats
    origin_mm: Floats
    frame: Floats
    pitch_mm: float

    def place_mm(self, row: int, column: int) -> tuple[float, float, float]:
        """Where in space the surface lies at a place of the lattice."""
        steps = np.array([column * self.pitch_mm, row * self.pitch_mm, self.heights_mm[row, column]])
        x, y, z = self.origin_mm + steps @ self.frame
        return float(x), float(y), float(z)


def height_map(corners_mm: Floats, up: Floats, pitch_mm: float) -> HeightMap:
    """Heights of triangles along a direction; where they overlap, the highest.

    Parameters
    ----------
    corners_mm : (m, 3, 3) float64
        Triangles, those that look away from `up` too: they are left out.
    up : (3,) float64
        Of length 1.
    pitch_mm : float
        Between places of the lattice.
    """
    side = np.eye(3)[np.argmin(np.abs(up))]
    across = np.asarray(np.cross(up, side), np.float64)
    across /= np.linalg.norm(across)
    frame = np.stack([across, np.asarray(np.cross(up, across), np.float64), up])
    flat = corners_mm @ frame.T
    edges = flat[:, 1:] - flat[:, :1]
    flat = flat[edges[:, 0, 0] * edges[:, 1, 1] - edges[:, 0, 1] * edges[:, 1, 0] > 0.0]
    low = flat.min(axis=(0, 1)) if len(flat) else np.zeros(3)
    # half a place outside, so that straight borders of round figures don't fall on places of the lattice
    low[:2] -= 0.5 * pitch_mm
    flat = flat - low
    flat[..., :2] /= pitch_mm
    high = flat.max(axis=(0, 1)) if len(flat) else np.zeros(3)
    heights = np.full((int(high[1]) + 2, int(high[0]) + 2), -np.inf)
    _draw(heights, flat)
    heights[np.isneginf(heights)] = np.nan
    return HeightMap(heights, low @ frame, frame, pitch_mm)


def _draw(heights: Floats, flat: Floats) -> None:
    """Heights at the lattice places in each triangle, row by row, so that slivers cost what they cover."""
    # what is seen edge-on covers nothing that those beside it don't
    flat = flat[np.abs(_twice_the_area(flat)) > EDGE_ON]
    first = np.ceil(flat[:, :, 1].min(axis=1) - 1e-9).astype(np.int64)
    last = np.floor(flat[:, :, 1].max(axis=1) + 1e-9).astype(np.int64)
    triangle, row = _spans(first, last)
    left, right = np.full(len(row), np.inf), np.full(len(row), -np.inf)
    for one, other in ((0, 1), (1, 2), (2, 0)):
        a, b = flat[triangle, one], flat[triangle, other]
        rise = b[:, 1] - a[:, 1]
        share = (row - a[:, 1]) / np.where(np.abs(rise) < 1e-12, 1.0, rise)
        meets = (share >= -1e-9) & (share <= 1.0 + 1e-9) & (np.abs(rise) >= 1e-12)
        x = a[:, 0] + share * (b[:, 0] - a[:, 0])
        left = np.where(meets, np.minimum(left, x), left)
        right = np.where(meets, np.maximum(right, x), right)
    some = right >= left
    triangle, row, left, right = triangle[some], row[some], left[some], right[some]
    start, stop = np.ceil(left - 1e-9).astype(np.int64), np.floor(right + 1e-9).astype(np.int64)
    ends = np.cumsum(np.maximum(stop - start + 1, 0))
    cuts = np.searchsorted(ends, np.arange(_MOST_AT_ONCE, ends[-1] if len(ends) else 0, _MOST_AT_ONCE))
    for part in np.split(np.arange(len(row)), cuts):
        which, column = _spans(start[part], stop[part])
        rows, corner = row[part][which], flat[triangle[part][which]]
        u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
        dx, dy = column - corner[:, 0, 0], rows - corner[:, 0, 1]
        area = _twice_the_area(corner)
        second = np.clip((dx * v[:, 1] - dy * v[:, 0]) / area, 0.0, 1.0)
        third = np.clip((u[:, 0] * dy - u[:, 1] * dx) / area, 0.0, 1.0)
        np.maximum.at(heights, (rows, column), corner[:, 0, 2] + second * u[:, 2] + third * v[:, 2])


def _twice_the_area(flat: Floats) -> Floats:
    """(n,) of triangles (n, 3, 3) seen along the third axis, negative where they turn the other way."""
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    return u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]


def _spans(first: npt.NDArray[np.int64], last: npt.NDArray[np.int64]) -> tuple[npt.NDArray[np.int64], ...]:
    """Each whole number from first to last of every row, and which row it is of."""
    counts = np.maximum(last - first + 1, 0)
    which = np.repeat(np.arange(len(first)), counts)
    return which, np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts) + first[which]
