"""Where one shadow may not stand beside another: a map per pair, with how deep inside each place lies.

The map of a standing and a moving shadow holds, for every offset in whole cells between their middles, whether any
cell of the moving one would lie in the spread of the standing one, in any band of height (a no-fit raster; in the plane:
Burke et al. 2007 for polygons). Overlaps of all offsets come at once as correlations, added over bands before the one
transform back. An offset inside is as deep as it is far from the nearest free one: that is how far the pieces must be
moved apart, and what the search for places lessens (as penetration depths do for rasters in Umetani and Murakami 2022).
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage

from firstcast.printing.shadows import Shadow

TURNS = 4


class NoFit(NamedTuple):
    """Offsets of a moving shadow from a standing one.

    Attributes
    ----------
    depth : (rows, columns) float32
        Cells to the nearest free offset; 0 where it may stand.
    corner : (int, int)
        Column and row of the offset that depth[0, 0] is for.
    """

    depth: npt.NDArray[np.float32]
    corner: tuple[int, int]

    def turned(self, quarters: int) -> "NoFit":
        """Both shadows turned about z: offsets are places, not cells, so x, y comes to -y, x."""
        depth, (column, row) = self.depth, self.corner
        for _ in range(quarters % TURNS):
            column, row = -(row + depth.shape[0] - 1), column
            depth = depth.T[:, ::-1]
        return NoFit(depth, (column, row))

    def swapped(self) -> "NoFit":
        """The moving shadow stands, the standing one moves."""
        rows, columns = self.depth.shape
        return NoFit(self.depth[::-1, ::-1], (-(self.corner[0] + columns - 1), -(self.corner[1] + rows - 1)))


class Maps(NamedTuple):
    """All pairs of shadows and turns, packed for the kernels.

    A pose is a shadow and its quarter turns, numbered 4 · shadow + turns.

    Attributes
    ----------
    windows : (poses, 4) int32
        First column, first row, columns and rows of each pose's window, from its middle.
    tables : (poses, poses, 5) int64
        Of a standing and a moving pose: where its map starts in `depths`, its rows and columns, and the column and row
        of the offset that it starts with.
    depths : (d,) float32
    """

    windows: npt.NDArray[np.int32]
    tables: npt.NDArray[np.int64]
    depths: npt.NDArray[np.float32]


def no_fit(spread: Shadow, moving: Shadow) -> NoFit:
    """Where `moving` overlaps the spread of a standing shadow."""
    return _no_fits(spread, [moving])[0]


def _no_fits(spread: Shadow, moving: Sequence[Shadow]) -> list[NoFit]:
    """For several moving shadows, so that the standing one is transformed once a size."""
    found = []
    transforms: Any = fft  # its types are those of a dispatcher
    spectra: dict[tuple[int, int], npt.NDArray] = {}
    for other in moving:
        bands = min(len(spread.cells), len(other.cells))
        rows = spread.cells.shape[1] + other.cells.shape[1] - 1
        columns = spread.cells.shape[2] + other.cells.shape[2] - 1
        size = (transforms.next_fast_len(rows, real=True), transforms.next_fast_len(columns, real=True))
        if size not in spectra:
            spectra[size] = transforms.rfft2(spread.cells.astype(np.float32), size)
        theirs = transforms.rfft2(other.cells[:bands].astype(np.float32), size)
        overlap = transforms.irfft2((spectra[size][:bands] * np.conj(theirs)).sum(axis=0), size)
        # offsets below zero lie at the far end of the transform
        overlap = np.roll(overlap, (other.cells.shape[1] - 1, other.cells.shape[2] - 1), axis=(0, 1))
        # whole numbers, so that a half tells them from nothing through all roundings
        inside = np.pad(overlap[:rows, :columns] > 0.5, 1)
        depth = ndimage.distance_transform_edt(inside)[1:-1, 1:-1]  # type: ignore[index]
        corner = (
            spread.corner[0] - other.corner[0] - other.cells.shape[2] + 1,
            spread.corner[1] - other.corner[1] - other.cells.shape[1] + 1,
        )
        found.append(NoFit(depth.astype(np.float32), corner))
    return found


def pair_maps(shadows: Sequence[Shadow], clearance_mm: float, turns: Sequence[int]) -> Maps:
    """Maps of all pairs of shadows in all turns that are allowed; tables of others are empty.

    Parameters
    ----------
    turns : sequence of int
        Quarter turns, closed under addition: (0,), (0, 2) or (0, 1, 2, 3).
    """
    poses = [
        [shadow.turned(turn) if turn in turns else shadow for turn in range(TURNS)] for shadow in shadows
    ]
    count = TURNS * len(shadows)
    tables = np.zeros((count, count, 5), np.int64)
    pieces, start = [], 0
    for a, standing in enumerate(shadows):
        spread = standing.spread(clearance_mm)
        for b in range(a, len(shadows)):
            for turn, found in zip(turns, _no_fits(spread, [poses[b][turn] for turn in turns]), strict=True):
                for both in turns:
                    p, q = TURNS * a + both, TURNS * b + (both + turn) % TURNS
                    turned = found.turned(both)
                    for key, fit in ((p, q), turned), ((q, p), turned.swapped()):
                        if tables[(*key, 1)]:
                            continue  # of a shadow and itself, the swapped pair comes by another turn as well
                        tables[key] = (start, *fit.depth.shape, *fit.corner)
                        pieces.append(np.ascontiguousarray(fit.depth).ravel())
                        start += fit.depth.size
    windows = np.array(
        [(*s.corner, s.cells.shape[2], s.cells.shape[1]) for row in poses for s in row], np.int32
    )
    return Maps(windows, tables, np.concatenate(pieces))
