"""What can be made of the lengths that carry asks for, before they are forecast in all three scenarios."""

from collections.abc import Iterator, Sequence
from itertools import chain

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
from firstcast.moulding.worsened import REACH_MM, Worse, let_pass
from firstcast.process.chain import mean_size
from firstcast.process.materials import Mould
from firstcast.stations.carry_ground import Ground

Floats = npt.NDArray[np.float64]
Lengths = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]

BESIDE_PITCHES = 2.0
"""What lies so near to a lock's voxels is its surface, and decides what it holds: they begin up to one away from it."""

USED = 0.5
"""Of what recheck lets pass, this is used: the tab is put on and triangles are taken away afterwards, which moves voxels a little."""

READS = 4
"""So often a body is read with its lengths on, and held back where it is worse: more by half each time, at last wholly."""


class KeptFree:
    """Lengths held back where they would lock more of the mould's material, or make its tongues more slender.

    The body is read anew with every length that is asked for, and what was held back stays so. `worse` counts the locks and
    tongues that the last reading found.
    """

    def __init__(self, ground: Ground, as_read: AsRead, mould: Mould) -> None:
        self._ground, self._as_read, self._mould = ground, as_read, mould
        self._parts, self._points = Parts(ground.body), ground.figure_points
        self._most = np.full(len(self._points), np.inf)
        self._rings = rings_of(ground.mesh.triangles, len(self._points))
        self._held: list[npt.NDArray[np.float64]] = []
        self.worse = 0

    @property
    def places(self) -> int:
        """Locks and tongues that lengths were held back at; those that lie nearer than REACH_MM are one."""
        return len(self._held)

    def within(self, length: Lengths) -> Lengths:
        """(n,) mm wanted -> (n,) mm, no longer than what was held back so far."""
        return np.clip(length, -self._most, self._most)

    def __call__(self, length: Lengths, *, eased_by: float = 1.0) -> Lengths:
        """(n,) mm wanted -> (n,) mm, nowhere longer. Of what would bring a place within bounds by its share, so much is kept."""
        length = self.within(length)
        moved = Mesh(self._points + length[:, None] * self._ground.ways, self._ground.mesh.triangles)
        again = reread(moved, self._as_read, self._parts, self._mould, used=USED)
        self.worse = len(again.worse) + len(again.slender)
        for place in (
            *(worse.lock.place_mm for worse in again.worse),
            *(each.place_mm for each in again.slender),
        ):
            if all(np.linalg.norm(np.subtract(place, other)) > REACH_MM for other in self._held):
                self._held.append(np.array(place))
        if not self.worse:
            return length
        kept = np.ones(len(length))
        for rows, share in chain(self._locks(again, moved), self._tongues(again, moved)):
            kept[rows] = np.minimum(kept[rows], eased_by * share)
        kept = eased(self._rings, kept, 1.0 / EASING_RINGS, EASING_RINGS)
        held = kept < 1.0
        self._most[held] = kept[held] * np.abs(length[held])
        return self.within(length)

    def _locks(self, again: Reread, moved: Mesh) -> Iterator[tuple[Rows, float]]:
        """The vertices about each lock that is worse, and the share of their lengths that it may be left."""
        for worse in again.worse:
            voxels = again.along.voxels_mm(worse.lock)
            yield self._beside(moved, voxels, BESIDE_PITCHES * self._as_read.pitch_mm), self._share_of(worse)

    def _tongues(self, again: Reread, moved: Mesh) -> Iterator[tuple[Rows, float]]:
        """The vertices about each tongue that is more slender; half of their lengths."""
        for tongue in again.slender:
            yield self._beside(moved, np.array([tongue.place_mm]), tongue.depth_mm), 0.5

    def _beside(self, moved: Mesh, places: Floats, reach: float) -> Rows:
        points = np.asarray(moved.points)
        low, high = places.min(axis=0) - reach, places.max(axis=0) + reach
        rows = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
        away = np.asarray(KDTree(places).query(points[rows], distance_upper_bound=reach, workers=-1)[0])
        return rows[np.isfinite(away)]

    def _share_of(self, worse: Worse) -> float:
        """Nothing where it links up now, for that is so or not; else that at which it holds as much as is let pass."""
        if worse.links_up:
            return 0.0
        most = let_pass(worse.before_mm3 or self._as_read.least_mm3, self._as_read.slack_mm3, USED)
        return (most - worse.before_mm3) / (worse.lock.volume_mm3 - worse.before_mm3)


class Settled:
    """What can be made of lengths: no wall or gap narrower, no lock greater, no tongue more slender, than recheck lets pass, and no
    triangles that cross.

    `walls` and `gaps` count the regions that were held back in the last lengths that were asked for.
    """

    def __init__(
        self,
        ground: Ground,
        matrix: Floats,
        sides: Sequence[NarrowSide],
        free: KeptFree | None = None,
    ) -> None:
        self._ground, self._sides, self._size = ground, sides, mean_size(matrix)
        self._free = free
        self._rings = rings_of(ground.mesh.triangles, len(ground.points))
        # at the size and in the axes in which the master is rounded and written: in others rounding differs
        self._places, self._ways = ground.figure_points @ matrix.T, ground.ways @ matrix.T
        self._clear: Lengths | None = None
        self.walls = self.gaps = 0

    @property
    def told(self) -> Measure:
        """How many walls, gaps and locks were held back."""
        locks = self._free.places if self._free else 0
        return Measure(
            "held back",
            float(self.walls + self.gaps + locks),
            "count",
            f"{self.walls} walls, {self.gaps} gaps, not to end narrower; {locks} locks and tongues, not to hold more",
        )

    def __call__(self, length: Lengths) -> Lengths:
        """(n,) mm wanted -> (n,) mm, nowhere longer."""
        free, self.walls, self.gaps = self._free, 0, 0
        if free is None:
            return self._sound(length)
        length = self._sound(free.within(length))
        for read in range(READS):
            shorter = free(length, eased_by=0.5**read if read < READS - 1 else 0.0)
            if not free.worse:
                break
            length = self._sound(shorter)
        return length

    def for_now(self, length: Lengths) -> Lengths:
        """The same, of lengths that will be asked for once more: what the mould holds of them is not read."""
        self.walls = self.gaps = 0
        return self._sound(self._free.within(length) if self._free else length)

    def _sound(self, length: Lengths) -> Lengths:
        """Walls and gaps wide enough, and nothing that crosses."""
        self._clear = uncrossed(
            self._places, self._ways, self._kept_wide(length), self._ground.mesh.triangles, self._rings, clear=self._clear
        )  # fmt: skip
        return self._clear

    def _kept_wide(self, length: Lengths) -> Lengths:
        mesh = self._ground.body.mesh
        kept = kept_wide(mesh, self._sides, length[: len(mesh.points)] / self._size)
        self.walls, self.gaps = max(self.walls, kept.walls), max(self.gaps, kept.gaps)
        # beside what is held back the rest rises to all of it, so that it makes no step
        inward, outward = (
            eased(self._rings, self._ground.of_vertices(share), 1.0 / EASING_RINGS, EASING_RINGS)
            for share in (kept.inward, kept.outward)
        )
        return length * np.where(length < 0.0, inward, outward)
