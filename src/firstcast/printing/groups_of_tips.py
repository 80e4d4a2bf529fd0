"""Tips that hold bodies together, some of them only spare places: how much each is used, and what one more would change.

What a tip may bear is what its neck may, or what the prop below it may, if that is less.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.printing.holding import Stage
from firstcast.printing.tips import Contacts
from firstcast.process.neck_groups import areas_mm2, rim_mpa, sections

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]

WORST = 32
"""So many of the layers that overload tips most are looked at for each tip that is added."""

SPARE_USE = 0.98
"""What is added brings necks down to this, since sizing them shifts loads a little."""

TOO_MUCH = 1.0 + 1e-9
"""Uses up to this are what rounding leaves."""

NOTHING = 1e-9
"""Section, in mm² and mm⁴, of what bears nothing."""


@dataclass(frozen=True)
class Layer:
    """What loads tips in one layer that overloads some of them.

    `stage` its number; `tips` (t,) rows of tips and spare places, `total` (3,) load, and load times x, y.
    """

    stage: int
    tips: Rows
    total: Floats


class Group:
    """Tips and spare places, and how thick each is that is in use: `wide_mm` is 0 for the others.

    Necks may be stressed by `may_mpa`, and what props may bear along a neck is `props_n` (n,).
    """

    def __init__(
        self, stages: list[Stage], everyone: Contacts, wide_mm: Floats, *, may_mpa: float, props_n: Floats
    ) -> None:
        self.stages, self.everyone, self.wide_mm = stages, everyone, wide_mm
        self.may_mpa, self.props_n = may_mpa, props_n
        self.places = np.ascontiguousarray(everyone.places_mm[:, :2])
        self.worst = [self._most(stage) for stage in stages]

    def _most(self, stage: Stage) -> Floats:
        """(r,) the greatest use of any tip that is there, in each layer of a stage."""
        tips = stage.tips[self.wide_mm[stage.tips] > 0.0]
        if not len(tips):
            return np.zeros(len(stage.loads_n))
        borne = stage.only(tips).borne(self.everyone.sized(self.wide_mm))
        return (borne.greatest_mpa / self._may(tips, borne.diameters_mm)[:, None]).max(axis=0)

    def _may(self, rows: Rows, wide_mm: Floats) -> Floats:
        """(...) by how much tips may be stressed that are so thick."""
        return np.minimum(self.may_mpa, self.props_n[rows] / areas_mm2(np.maximum(wide_mm, NOTHING)))

    def grow(self, row: int, wide_mm: float) -> None:
        """Let a tip, or a spare place, be so thick."""
        self.wide_mm[row] = wide_mm
        for number, stage in enumerate(self.stages):
            at = np.searchsorted(stage.tips, row)
            if at < len(stage.tips) and stage.tips[at] == row:
                self.worst[number] = self._most(stage)

    @property
    def beyond(self) -> float:
        """By how much necks are overloaded in all layers, squared and summed."""
        return float(sum((np.maximum(worst - 1.0, 0.0) ** 2).sum() for worst in self.worst))

    def holds(self, row: int) -> bool:
        """Whether all that a tip could hold is held by some tip."""
        return all((self.wide_mm[stage.tips] > 0.0).any() for stage in self.stages if row in stage.tips)

    def overloaded(self, skip: set[int]) -> list[Layer]:
        """The layers with the greatest uses above what may be, the worst first."""
        found = [
            (float(worst[row]), number, row)
            for number, worst in enumerate(self.worst)
            if number not in skip
            for row in np.flatnonzero(worst > TOO_MUCH).tolist()
        ]
        found.sort(key=lambda one: (-one[0], one[1], one[2]))
        return [self._layer(number, row) for _, number, row in found[:WORST]]

    def _layer(self, number: int, row: int) -> Layer:
        stage = self.stages[number]
        return Layer(number, stage.tips, stage.loads_n[row] * np.array([1.0, *stage.middles_mm[row]]))

    def excess(self, layer: Layer, tries: Rows, wide_mm: Floats) -> Floats:
        """(k,) by how much tips would be overloaded in a layer, squared and summed, with those of `tries` (k, j) as thick as
        `wide_mm` (k, j)."""
        tips = layer.tips[self.wide_mm[layer.tips] > 0.0]
        middle = self.places[tips].mean(axis=0)
        here, there = self.places[tips] - middle, self.places[tries] - middle
        wide, was = self.wide_mm[tips], self.wide_mm[tries]
        # a place that isn't printed yet, or is another body's, adds nothing
        mine = np.isin(tries, layer.tips)
        would = np.where(mine, wide_mm, was)
        more = sections(there, would) - sections(there, was)
        # where nothing would be left to bear it, what is left bears next to nothing
        each = sections(here, wide).sum(axis=0) + more.sum(axis=1) + NOTHING * np.eye(3)
        total = layer.total - layer.total[0] * np.array([0.0, *middle])
        planes = np.linalg.solve(each, np.broadcast_to(total[:, None], (len(each), 3, 1)))[..., 0]
        over = _over(planes @ _spots(here).T, rim_mpa(planes, wide), self._may(tips, wide))
        tilt = np.hypot(planes[:, 1], planes[:, 2])[:, None]
        middles = np.einsum("ka,kja->kj", planes, _spots(there))
        own = _over(middles, tilt * 0.5 * would, self._may(tries, would))
        # one that is there already is counted as it would be, not as it is; one that is taken away no more
        at = np.minimum(np.searchsorted(tips, tries), len(tips) - 1)
        before = np.where(tips[at] == tries, np.take_along_axis(over, at, axis=1), 0.0)
        return over.sum(axis=1) + (np.where(mine & (would > 0.0), own, 0.0) - before).sum(axis=1)


def _over(middle_mpa: Floats, rim: Floats, may_mpa: Floats) -> Floats:
    return np.maximum((np.abs(middle_mpa) + rim) / may_mpa - SPARE_USE, 0.0) ** 2


def _spots(places: Floats) -> Floats:
    """(..., 3) of a one, x and y."""
    return np.concatenate([np.ones((*places.shape[:-1], 1)), places], axis=-1)
