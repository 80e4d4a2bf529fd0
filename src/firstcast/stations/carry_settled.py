"""What can be made of the lengths that carry asks for, before they are forecast in all three scenarios."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from firstcast.findings import Measure
from firstcast.forecast.carry_bounds import EASING_RINGS
from firstcast.forecast.kept_wide import NarrowSide, kept_wide
from firstcast.forecast.rings import eased, rings_of
from firstcast.forecast.uncrossed import uncrossed
from firstcast.process.chain import mean_size
from firstcast.stations.carry_ground import Ground


class Settled:
    """What can be made of lengths: no wall or gap narrower than recheck lets pass, no triangles that cross.

    `walls` and `gaps` count the regions that were held back in the last lengths that were asked for.
    """

    def __init__(self, ground: Ground, matrix: npt.NDArray[np.float64], sides: Sequence[NarrowSide]) -> None:
        self._ground, self._sides, self._size = ground, sides, mean_size(matrix)
        self._rings = rings_of(ground.mesh.triangles, len(ground.points))
        # at the size and in the axes in which the master is rounded and written: in others rounding differs
        self._places, self._ways = ground.figure_points @ matrix.T, ground.ways @ matrix.T
        self.walls = self.gaps = 0

    @property
    def told(self) -> Measure:
        """How many walls and gaps were held back."""
        return Measure(
            "held back",
            float(self.walls + self.gaps),
            "count",
            f"{self.walls} walls, {self.gaps} gaps, not to end narrower",
        )

    def __call__(self, length: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """(n,) mm wanted -> (n,) mm, nowhere longer."""
        wide = self._kept_wide(length)
        return uncrossed(self._places, self._ways, wide, self._ground.mesh.triangles, self._rings)

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
