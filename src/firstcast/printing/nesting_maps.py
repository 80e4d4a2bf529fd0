"""Where one shadow may not stand beside another: a map per pair, with how deep inside each place lies.

The map of a standing and a moving shadow holds, for every offset in whole cells between their middles, whether any
cell of the moving one would lie in the spread of the standing one, in any band of height (a no-fit raster; in the plane:
Burke et al. 2007 for polygons). Overlaps of all offsets come at once as correlations, added over bands before the one
transform back. An offset inside is as deep as it is far from the nearest free one: that is how far the pieces must be
moved apart, and what the search for places lessens (as penetration depths do for rasters in Umetani and Murakami 2022).

Two pieces that are both turned by a quarter have the same map, turned; two that change their parts, the same map, mirrored. So one of
eight is kept, beside its transpose, so that rows of all eight lie in a row of memory.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage

from firstcast.geometry.threads import each_beside
from firstcast.printing.shadows import QUARTERS, Shadow

STEPS_PER_CELL = 64
"""Depths are kept as whole numbers of 16 bits, in these parts of a cell: they order places, so no more is needed."""

DEEPEST = 65535


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
        for _ in range(quarters % QUARTERS):
            column, row = -(row + depth.shape[0] - 1), column
            depth = depth.T[:, ::-1]
        return NoFit(depth, (column, row))

    def swapped(self) -> "NoFit":
        """The moving shadow stands, the standing one moves."""
        rows, columns = self.depth.shape
        return NoFit(self.depth[::-1, ::-1], (-(self.corner[0] + columns - 1), -(self.corner[1] + rows - 1)))


class Maps(NamedTuple):
    """All pairs of shadows and turns, packed for the kernels.

    A pose is a shadow and its turn, numbered around · shadow + turn.

    Attributes
    ----------
    windows : (poses, 4) int32
        First column, first row, columns and rows of each pose's window, from its middle.
    tables : (poses, poses, 7) int64
        Of a standing and a moving pose: where the first offset of its map lies in `depths`, its rows and columns, the column
        and row of the first offset, and how far apart in `depths` two rows are, and two columns. No rows: no map.
    depths : (d,) uint16
        In `STEPS_PER_CELL` of a cell.
    around : int
        Turns in a full circle.
    """

    windows: npt.NDArray[np.int32]
    tables: npt.NDArray[np.int64]
    depths: npt.NDArray[np.uint16]
    around: int


class _Stored(NamedTuple):
    """Where a map and its transpose start, its rows and columns, and its first offset."""

    start: int
    across: int
    rows: int
    columns: int
    corner: tuple[int, int]


def no_fit(spread: Shadow, moving: Shadow) -> NoFit:
    """Where `moving` overlaps the spread of a standing shadow."""
    return _no_fits(spread, [moving])[0]


def _no_fits(spread: Shadow, moving: Sequence[Shadow], fine: int = 1) -> list[NoFit]:
    """For several moving shadows, so that the standing one is transformed once a size.

    With `fine` cells along each step that pieces are moved by, the offsets are those steps. The cells of a step, taken apart
    by where in it they lie, are correlated like bands of their own.
    """
    standing = _by_steps(spread, fine)
    transforms: Any = fft  # its types are those of a dispatcher
    others = [_by_steps(shadow, fine) for shadow in moving]
    sizes = [
        tuple(
            transforms.next_fast_len(one + other - 1, real=True)
            for one, other in zip(standing.cells.shape[1:], shadow.cells.shape[1:], strict=True)
        )
        for shadow in others
    ]
    found: dict[int, NoFit] = {}
    size: tuple[int, ...] = ()
    # size by size, so that of the standing shadow one transform is held at a time
    for number in sorted(range(len(others)), key=sizes.__getitem__):
        other = others[number]
        if sizes[number] != size:
            size = sizes[number]
            spectrum = transforms.rfft2(standing.cells.astype(np.float32), size)
        bands = min(len(standing.cells), len(other.cells))
        rows = standing.cells.shape[1] + other.cells.shape[1] - 1
        columns = standing.cells.shape[2] + other.cells.shape[2] - 1
        theirs = transforms.rfft2(other.cells[:bands].astype(np.float32), size)
        np.conj(theirs, out=theirs)
        overlap = transforms.irfft2(np.einsum("bij,bij->ij", spectrum[:bands], theirs), size)
        # offsets below zero lie at the far end of the transform
        overlap = np.roll(overlap, (other.cells.shape[1] - 1, other.cells.shape[2] - 1), axis=(0, 1))
        # whole numbers, so that a half tells them from nothing through all roundings
        inside = np.pad(overlap[:rows, :columns] > 0.5, 1)
        depth = ndimage.distance_transform_edt(inside)[1:-1, 1:-1]  # type: ignore[index]
        corner = (
            standing.corner[0] - other.corner[0] - other.cells.shape[2] + 1,
            standing.corner[1] - other.corner[1] - other.cells.shape[1] + 1,
        )
        found[number] = NoFit(depth.astype(np.float32), corner)
    return [found[number] for number in range(len(others))]


def _by_steps(shadow: Shadow, fine: int) -> Shadow:
    """Cells of a step, by where in it they lie, as bands: (bands · fine², rows, columns) of steps."""
    if fine == 1:
        return shadow
    x, y = (at % fine for at in shadow.corner)
    bands, rows, columns = shadow.cells.shape
    padded = np.pad(shadow.cells, ((0, 0), (y, -(y + rows) % fine), (x, -(x + columns) % fine)))
    apart = padded.reshape(bands, padded.shape[1] // fine, fine, padded.shape[2] // fine, fine)
    cells = np.ascontiguousarray(apart.transpose(0, 2, 4, 1, 3)).reshape(-1, apart.shape[1], apart.shape[3])
    step = (shadow.cell_mm[0] * fine, shadow.cell_mm[1] * fine)
    corner = (shadow.corner[0] // fine, shadow.corner[1] // fine)
    return Shadow(cells, corner, step, shadow.band_mm, shadow.height_mm)


def pair_maps(shadows: Sequence[Shadow], clearance_mm: float, turns: Sequence[int], *, fine: int = 1) -> Maps:
    """Maps of all pairs of shadows in all turns that are allowed; tables of others are empty.

    Parameters
    ----------
    shadows : sequence of Shadow
        All with as many turns between quarters.
    turns : sequence of int
        Turns by steps of the shadows, closed under addition: of quarters (0,), (0, 2) or (0, 1, 2, 3).
    fine : int
        Cells along each step that pieces are moved by.
    """
    steps = 1 + len(shadows[0].between)
    around = QUARTERS * steps
    poses = [{turn: shadow.at(turn) for turn in turns} for shadow in shadows]
    stored, depths = _stored(poses, clearance_mm, turns, steps, fine)
    count = around * len(shadows)
    tables = np.zeros((count, count, 7), np.int64)
    for a, first in ((a, turn) for a in range(len(shadows)) for turn in turns):
        for b, second in ((b, turn) for b in range(len(shadows)) for turn in turns):
            tables[around * a + first, around * b + second] = _table(stored, (a, first), (b, second), steps)
    windows = np.zeros((count, 4), np.int32)
    for number, row in enumerate(poses):
        for turn in range(around):
            # what is not allowed has no place anywhere, but a window
            shape = _by_steps(row.get(turn, row[turns[0]]), fine)
            windows[around * number + turn] = (*shape.corner, shape.cells.shape[2], shape.cells.shape[1])
    return Maps(windows, tables, depths, around)


def _stored(
    poses: Sequence[dict[int, Shadow]], clearance_mm: float, turns: Sequence[int], steps: int, fine: int
) -> tuple[dict[tuple[int, int, int, int], _Stored], npt.NDArray[np.uint16]]:
    """Maps of the standing shadows in turns below a quarter, by standing shadow and turn, moving shadow and turn."""
    work = []
    wanted: set[tuple[int, int, int, int]] = set()
    for a in range(len(poses)):
        for first in (turn for turn in turns if turn < steps):
            own: list[tuple[int, int, int, int]] = []
            for b in range(a, len(poses)):
                for second in turns:
                    if a != b or _swapped((a, first), (b, second), steps) not in wanted:
                        own.append((a, first, b, second))
                        wanted.add(own[-1])
            work.append(own)

    def compute(own: list[tuple[int, int, int, int]]) -> list[tuple[npt.NDArray[np.uint16], tuple[int, int]]]:
        if not own:
            return []
        spread = poses[own[0][0]][own[0][1]].spread(clearance_mm)
        fits = _no_fits(spread, [poses[b][second] for _, _, b, second in own], fine)
        return [(_whole_depths(fit.depth), fit.corner) for fit in fits]

    found = each_beside(compute, work)
    stored: dict[tuple[int, int, int, int], _Stored] = {}
    pieces, start = [], 0
    both = 2 if any(turn // steps % 2 for turn in turns) else 1
    for own, maps in zip(work, found, strict=True):
        for key, (depth, corner) in zip(own, maps, strict=True):
            rows, columns = depth.shape
            stored[key] = _Stored(start, start + (both - 1) * depth.size, rows, columns, corner)
            pieces += [depth.ravel(), depth.T.ravel()][:both]
            start += both * depth.size
    return stored, np.concatenate(pieces)


def _whole_depths(depth: npt.NDArray[np.float32]) -> npt.NDArray[np.uint16]:
    return np.minimum(np.rint(depth * STEPS_PER_CELL), DEEPEST).astype(np.uint16)


def _swapped(standing: tuple[int, int], moving: tuple[int, int], steps: int) -> tuple[int, int, int, int]:
    """The key of the pair with its parts changed, both turned back by what the one that then stands has of quarters."""
    back = moving[1] // steps * steps
    return (moving[0], moving[1] - back, standing[0], (standing[1] - back) % (QUARTERS * steps))


def _table(
    stored: dict[tuple[int, int, int, int], _Stored],
    standing: tuple[int, int],
    moving: tuple[int, int],
    steps: int,
) -> tuple[int, ...]:
    """A row of the tables, for shadow and turn of both."""
    key, mirrored = _swapped(moving, standing, steps), False
    quarters = standing[1] // steps
    if key not in stored:
        key, mirrored, quarters = _swapped(standing, moving, steps), True, moving[1] // steps
    table = _turned(stored[key], quarters)
    if not mirrored:
        return table
    start, rows, columns, column, row, over, along = table
    last = start + (rows - 1) * over + (columns - 1) * along
    return last, rows, columns, -(column + columns - 1), -(row + rows - 1), -over, -along


def _turned(kept: _Stored, quarters: int) -> tuple[int, ...]:
    """The map of both turned by quarters, as it lies in memory: x, y comes to -y, x each time."""
    start, across, rows, columns, (column, row) = kept
    if quarters == 0:
        return start, rows, columns, column, row, columns, 1
    if quarters == 1:
        return across + rows - 1, columns, rows, -(row + rows - 1), column, rows, -1
    if quarters == 2:
        last = start + rows * columns - 1
        return last, rows, columns, -(column + columns - 1), -(row + rows - 1), -columns, -1
    return across + (columns - 1) * rows, columns, rows, row, -(column + columns - 1), -rows, 1
