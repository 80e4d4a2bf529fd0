"""What can be made of the lengths that carry asks for, before they are forecast in all three scenarios."""

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt
from scipy.spatial import KDTree

from firstcast.findings import Measure
from firstcast.forecast.carry_bounds import EASING_RINGS
from firstcast.forecast.kept_wide import NarrowSide, kept_wide
from firstcast.forecast.rings import eased, rings_of
from firstcast.forecast.uncrossed import uncrossed
from firstcast.geometry.mesh import Mesh
from firstcast.moulding.parts import Parts
from firstcast.moulding.reread import AsRead, Reread, reread
from firstcast.moulding.worsened import BY_A_TENTH, Worse
from firstcast.process.chain import mean_size
from firstcast.process.materials import Mould
from firstcast.stations.carry_ground import Ground

BESIDE_PITCHES = 2.0
"""What lies so near to a lock's voxels is its surface, and decides what it holds: they begin up to one away from it."""


class KeptFree:
    """Lengths held back where they would lock more of the mould's material than recheck lets pass.

    The body is read anew with every length that is asked for, and what was held back stays so. `places` counts the locks that
    lengths were held back at.
    """

    def __init__(self, ground: Ground, as_read: AsRead, mould: Mould) -> None:
        self._ground, self._as_read, self._mould = ground, as_read, mould
        self._parts, self._points = Parts(ground.body), ground.figure_points
        self._most = np.full(len(self._points), np.inf)
        self._rings = rings_of(ground.mesh.triangles, len(self._points))
        self.places = 0

    def __call__(self, length: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """(n,) mm wanted -> (n,) mm, nowhere longer."""
        length = np.clip(length, -self._most, self._most)
        moved = Mesh(self._points + length[:, None] * self._ground.ways, self._ground.mesh.triangles)
        kept = np.ones(len(length))
        for rows, share in self._held(reread(moved, self._as_read, self._parts, self._mould), moved):
            kept[rows] = np.minimum(kept[rows], share)
            self.places += 1
        kept = eased(self._rings, kept, 1.0 / EASING_RINGS, EASING_RINGS)
        held = kept < 1.0
        self._most[held] = kept[held] * np.abs(length[held])
        return np.clip(length, -self._most, self._most)

    def _held(self, again: Reread, moved: Mesh) -> Iterator[tuple[npt.NDArray[np.int64], float]]:
        """The vertices about each lock that is worse, and the share of their lengths that it may be left."""
        points, reach = np.asarray(moved.points), BESIDE_PITCHES * self._as_read.pitch_mm
        for worse in again.worse:
            number = 1 + again.along.locks.index(worse.lock)
            voxels = again.along.held.places_mm(np.argwhere(again.along.numbers == number))
            low, high = voxels.min(axis=0) - reach, voxels.max(axis=0) + reach
            rows = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
            away = np.asarray(KDTree(voxels).query(points[rows], distance_upper_bound=reach, workers=-1)[0])
            yield rows[np.isfinite(away)], self._share_of(worse)

    def _share_of(self, worse: Worse) -> float:
        """Nothing where it links up now, for that is so or not; else that at which it holds as much as is let pass."""
        if worse.links_up:
            return 0.0
        most = BY_A_TENTH * worse.before_mm3 + self._as_read.slack_mm3
        return (most - worse.before_mm3) / (worse.lock.volume_mm3 - worse.before_mm3)


class Settled:
    """What can be made of lengths: no wall or gap narrower, and no lock greater, than recheck lets pass, no triangles that cross.

    `walls` and `gaps` count the regions that were held back in the last lengths that were asked for.
    """

    def __init__(
        self,
        ground: Ground,
        matrix: npt.NDArray[np.float64],
        sides: Sequence[NarrowSide],
        free: KeptFree | None = None,
    ) -> None:
        self._ground, self._sides, self._size = ground, sides, mean_size(matrix)
        self._free = free
        self._rings = rings_of(ground.mesh.triangles, len(ground.points))
        # at the size and in the axes in which the master is rounded and written: in others rounding differs
        self._places, self._ways = ground.figure_points @ matrix.T, ground.ways @ matrix.T
        self._clear: npt.NDArray[np.float64] | None = None
        self.walls = self.gaps = 0

    @property
    def told(self) -> Measure:
        """How many walls, gaps and locks were held back."""
        locks = self._free.places if self._free else 0
        return Measure(
            "held back",
            float(self.walls + self.gaps + locks),
            "count",
            f"{self.walls} walls, {self.gaps} gaps, not to end narrower; {locks} locks, not to hold more",
        )

    def __call__(self, length: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """(n,) mm wanted -> (n,) mm, nowhere longer."""
        wide = self._kept_wide(self._free(length) if self._free else length)
        self._clear = uncrossed(
            self._places, self._ways, wide, self._ground.mesh.triangles, self._rings, clear=self._clear
        )
        return self._clear

    def _kept_wide(self, length: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        mesh = self._ground.body.mesh
        kept = kept_wide(mesh, self._sides, length[: len(mesh.points)] / self._size)
        self.walls, self.gaps = kept.walls, kept.gaps
        # beside what is held back the rest rises to all of it, so that it makes no step
        inward, outward = (
            eased(self._rings, self._ground.of_vertices(share), 1.0 / EASING_RINGS, EASING_RINGS)
            for share in (kept.inward, kept.outward)
        )
        return length * np.where(length < 0.0, inward, outward)
