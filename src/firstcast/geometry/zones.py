"""Zones: places on the figure that the job file names, with what they mean."""

from dataclasses import dataclass
from fnmatch import fnmatchcase

import numpy as np
import numpy.typing as npt

from firstcast.arrays import check_points
from firstcast.errors import InputError
from firstcast.vocabulary import ZoneMeaning

Place = tuple[float, float, float]
Spot = tuple[float, float]

OUTLINE_AXES = {"x": (1, 2), "y": (0, 2), "z": (0, 1)}
"""For the axis that an outline is seen along: which coordinates its spots give."""


@dataclass(frozen=True)
class Ball:
    """All places within a radius. Millimetres in figure space, like the other shapes."""

    centre_mm: Place
    radius_mm: float

    def contains(self, points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """(n,) bool: which places are in the ball, its surface included."""
        away = points_mm - np.array(self.centre_mm)
        return np.less_equal((away * away).sum(axis=1), self.radius_mm**2)


@dataclass(frozen=True)
class Box:
    """All places between two corners."""

    low_mm: Place
    high_mm: Place

    def contains(self, points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """(n,) bool: which places are in the box, its faces included."""
        inside = (points_mm >= self.low_mm) & (points_mm <= self.high_mm)
        return np.logical_and.reduce(inside, axis=1)


@dataclass(frozen=True)
class Outline:
    """All places that are inside a polygon as seen along an axis, between two depths along it.

    Attributes
    ----------
    axis : "x", "y" or "z"
        Seen along it; spots give the other two coordinates, in the order x, y, z.
    spots_mm : tuple of (float, float)
        Three or more; the polygon closes itself. Where it crosses itself, even-odd decides.
    from_mm, to_mm : float
        Depths along the axis.
    """

    axis: str
    spots_mm: tuple[Spot, ...]
    from_mm: float = -np.inf
    to_mm: float = np.inf

    def contains(self, points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """(n,) bool: which places are in the prism. Edges belong to one side, so that neighbours don't share."""
        first, second = OUTLINE_AXES[self.axis]
        depth = points_mm[:, "xyz".index(self.axis)]
        u, v = points_mm[:, first], points_mm[:, second]
        inside = np.zeros(len(points_mm), dtype=bool)
        spots = np.array(self.spots_mm, dtype=np.float64)
        for (u0, v0), (u1, v1) in zip(spots, np.roll(spots, -1, axis=0), strict=True):
            if v0 == v1:
                continue
            spans = (v0 <= v) != (v1 <= v)
            inside ^= spans & (u < u0 + (v - v0) * ((u1 - u0) / (v1 - v0)))
        return inside & (depth >= self.from_mm) & (depth <= self.to_mm)


@dataclass(frozen=True)
class Zone:
    """A named place and what it asks of the stations.

    A zone is a part, a shape, or what of a part lies in a shape. `part` is a part's name or a glob.
    """

    name: str
    meaning: ZoneMeaning
    part: str | None = None
    shape: Ball | Box | Outline | None = None

    def contains(
        self,
        points_mm: npt.ArrayLike,
        *,
        part_of_point: npt.NDArray[np.integer] | None = None,
        part_names: tuple[str, ...] = (),
    ) -> npt.NDArray[np.bool_]:
        """Which places belong to the zone.

        Parameters
        ----------
        points_mm : (n, 3) float64
            In figure space, millimetres.
        part_of_point : (n,) integers
            For a zone by part: the index into `part_names` of the part that each place belongs to.

        Returns
        -------
        (n,) bool

        Raises
        ------
        InputError
            The zone is by part and nothing says which part the places belong to; or shapes don't agree.
        """
        points = check_points(points_mm, where=f"zone '{self.name}'")
        mask = np.ones(len(points), dtype=bool) if self.shape is None else self.shape.contains(points)
        if self.part is None:
            return mask
        if part_of_point is None or len(part_of_point) != len(points):
            raise InputError(
                "the zone is by part, but not every place has its part",
                where=f"zone '{self.name}'",
                mend="Give part_of_point, one index per place.",
            )
        pattern = self.part
        named = np.array([name == pattern or fnmatchcase(name, pattern) for name in part_names], dtype=bool)
        return mask & named[np.asarray(part_of_point, dtype=np.int64)]
