"""How far a part reaches, in the units of its file: all that the scale rules need of it."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt


class PartExtents(NamedTuple):
    """A part's name and its least and greatest x, y, z in file units."""

    name: str
    low: tuple[float, float, float]
    high: tuple[float, float, float]

    @property
    def size(self) -> tuple[float, float, float]:
        """Extents along x, y, z in file units."""
        x, y, z = (h - lo for lo, h in zip(self.low, self.high, strict=True))
        return x, y, z


def extents_of(name: str, points: npt.ArrayLike) -> PartExtents:
    """The extents of some points, (n, 3) float, n ≥ 1."""
    array = np.asarray(points, dtype=np.float64)
    low, high = array.min(axis=0), array.max(axis=0)
    return PartExtents(name, tuple(map(float, low)), tuple(map(float, high)))  # type: ignore[arg-type]


UP_TURNS: dict[str, tuple[tuple[float, float, float], ...]] = {
    "z": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "y": ((1, 0, 0), (0, 0, -1), (0, 1, 0)),
    "x": ((0, 0, -1), (0, 1, 0), (1, 0, 0)),
    "-z": ((1, 0, 0), (0, -1, 0), (0, 0, -1)),
    "-y": ((1, 0, 0), (0, 0, 1), (0, -1, 0)),
    "-x": ((0, 0, 1), (0, 1, 0), (-1, 0, 0)),
}
"""For each axis of a file that may point up: the quarter turn that brings it to +z."""


def turned(extents: PartExtents, up: str) -> PartExtents:
    """The extents after the turn that brings the file's `up` to +z; quarter turns keep boxes boxes."""
    turn = np.array(UP_TURNS[up], dtype=np.float64)
    return extents_of(extents.name, np.array([extents.low, extents.high]) @ turn.T)
