"""Free space about a piece: whether a straight run is clear of it, and the shortest way down to the platform."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.fields.blocks import run_blocks
from firstcast.fields.far import FarField, sample
from firstcast.kernels.descent import STEPS, follow_way, measure_ways

Place = npt.NDArray[np.float64]

STEEPEST = 1.0
"""Tangent of the greatest lean from upright: what leans further is an underside that wants props itself. Common practice,
no source."""

SEARCH = 2
"""Lattice steps about a place within which its way down may begin."""


@dataclass(frozen=True)
class FreeSpace:
    """Where posts may stand.

    Attributes
    ----------
    far : FarField
        Distances from the piece, on a lattice of equal pitches.
    need_mm : float
        What the middle line of a post keeps from the piece.
    cost : (x, y, z) float32
        Length of the shortest way to the platform from each lattice place; infinite where there is none.
    """

    far: FarField
    need_mm: float
    cost: npt.NDArray[np.float32]

    def clear(self, a: Place, b: Place, need_mm: float | None = None) -> bool:
        """Whether a straight run keeps its distance from the piece all along, and leans 45 degrees at most."""
        step = b - a
        if np.hypot(step[0], step[1]) > STEEPEST * abs(step[2]) + 1e-6:
            return False
        count = int(np.linalg.norm(step) / (0.5 * float(self.far.pitch_mm[0]))) + 2
        places = a + np.linspace(0.0, 1.0, count)[:, None] * step
        return bool(sample(self.far, places).min() >= (self.need_mm if need_mm is None else need_mm))

    def left_mm(self, places: Place) -> npt.NDArray[np.float64]:
        """(n,) length of the way down from places (n, 3), by the lattice place at or under each; infinite without one."""
        at = (places - self.far.origin_mm) / self.far.pitch_mm
        cell = np.column_stack([np.rint(at[:, :2]), np.floor(at[:, 2] + 1e-9)]).astype(np.int64)
        across = np.all((cell[:, :2] >= 0) & (cell[:, :2] < self.cost.shape[:2]), axis=1)
        out = places[:, 2].astype(np.float64)  # beside and below the lattice nothing stands in the way
        rows = np.flatnonzero(across & (cell[:, 2] >= 0))
        cell[:, 2] = np.minimum(cell[:, 2], self.cost.shape[2] - 1)
        spare = (at[rows, 2] - cell[rows, 2]) * self.far.pitch_mm[2]
        out[rows] = self.cost[tuple(cell[rows].T)] + spare
        return out

    def next_stop(self, place: Place) -> Place | None:
        """Where a straight run from a place goes on its way down: as far as it stays clear; None without a way."""
        foot = np.array([place[0], place[1], 0.0])
        if self.clear(place, foot):
            return foot
        way = self._way_from(place)
        if way is None:
            return None
        last = np.array([way[-1, 0], way[-1, 1], 0.0])
        stops = np.concatenate([way, last[None]])
        good, bad = -1, len(stops)
        if self.clear(place, stops[-1]):
            return stops[-1]
        while bad - good > 1:
            middle = (good + bad) // 2
            if self.clear(place, stops[middle]):
                good = middle
            else:
                bad = middle
        return stops[good] if good >= 0 else None

    def _way_from(self, place: Place) -> Place | None:
        """Lattice places (m, 3) in mm of the shortest way down that begins just under a place."""
        pitch = float(self.far.pitch_mm[0])
        at = (place - self.far.origin_mm) / pitch
        base, low = np.rint(at[:2]).astype(int), int(np.floor(at[2]))
        best, chosen = np.inf, None
        for down in range(1, SEARCH + 2):
            for di in range(-SEARCH, SEARCH + 1):
                for dj in range(-SEARCH, SEARCH + 1):
                    cell = (base[0] + di, base[1] + dj, low - down)
                    if min(cell) < 0 or any(c >= n for c, n in zip(cell, self.cost.shape, strict=True)):
                        continue
                    spot = self.far.origin_mm + np.array(cell) * pitch
                    way = float(self.cost[cell]) + float(np.linalg.norm(spot - place))
                    if way < best and self.clear(place, spot):
                        best, chosen = way, cell
        if chosen is None:
            return None
        cells = np.empty((self.cost.shape[2] + 1, 3), np.int64)
        made = int(
            follow_way(*chosen, STEPS, self.cost, pitch, max(float(self.far.origin_mm[2]), 0.0), cells)
        )
        return self.far.origin_mm + cells[:made] * pitch


def free_space(far: FarField, need_mm: float) -> FreeSpace:
    """Shortest ways down within 45 degrees, keeping `need_mm` from the piece."""
    values = far.values
    cost = np.empty(values.shape, np.float32)
    bottom, pitch = float(far.origin_mm[2]), float(far.pitch_mm[0])
    for k in range(values.shape[2]):
        run_blocks(
            measure_ways,
            values.shape[0],
            k,
            values,
            np.float32(need_mm),
            pitch,
            max(bottom, 0.0),
            STEPS,
            cost,
            block=64,
        )
    return FreeSpace(far, need_mm, cost)
