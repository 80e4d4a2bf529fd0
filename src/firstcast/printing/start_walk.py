"""The walk through a piece's layers from the platform up: what holds each pixel, and which bodies grow together."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.fields.coverage import PixelGrid
from firstcast.kernels.regions import label_pixels
from firstcast.kernels.starts import hold_layer, join_bodies

MOST_SITES = 1 << 14
"""Tips that one layer may ask for in one go; what goes beyond is found in the next round."""


@dataclass(frozen=True)
class Bearing:
    """What the resin bears without a tip.

    Attributes
    ----------
    least_pixels : int
        Smaller regions don't cure, and are counted only.
    reach_mm : float
        How far a region may stand out from what bears it.
    relief_mm : float
        Reach that each layer gives back to what lies over it: the layer's height over the tangent of the angle from
        which on an underside bears itself, however long.
    tip_radius_mm : float
        Within it of a tip nothing stands out.
    """

    least_pixels: int
    reach_mm: float
    relief_mm: float
    tip_radius_mm: float


class Walk:
    """The state that is carried from layer to layer: reach and bodies within the window of the layer before."""

    def __init__(
        self, grid: PixelGrid, most_pixels: int, bearing: Bearing, asked: npt.NDArray[np.int64]
    ) -> None:
        """`asked` (a, 3) int64: layer, row and column of pixels whose bodies are wanted as `answers`."""
        self.grid, self.bearing = grid, bearing
        self._asked, self._in_layers = asked, np.argsort(asked[:, 0], kind="stable")
        self.answers = np.zeros(len(asked), np.int32)
        self.window = (0, 0, 0, 0)
        # one block of memory for each, used again: new memory costs as much as filling it
        self._reaches = [np.empty(most_pixels, np.float32) for _ in range(3)]
        self._numbers = [np.empty(most_pixels, np.int32) for _ in range(3)]
        # no two of the pixels that start a region touch: in an image of one row half of them can, in others a quarter
        self._scratch = np.empty(most_pixels // 2 + 2, np.int32)
        self.reach, self.bodies = np.empty((0, 0), np.float32), np.empty((0, 0), np.int32)
        self.parent = np.zeros(1 << 10, np.int32)
        self.made = 1
        self.sites: list[tuple[float, float, int, int, float, int]] = []
        self.wanted = np.empty((MOST_SITES, 4), np.int32)
        self.rows: list[tuple[int, int, float, float, float]] = []
        self.joins: list[tuple[int, int, int]] = []
        self.flecks = 0
        self.pixels = 0

    def take(self, layer: int, window: tuple[int, int, int, int], cured: npt.NDArray[np.uint8]) -> None:
        """One layer: its image (y1 - y0, x1 - x0) in a window y0, y1, x0, x1 that holds all that is cured."""
        bearing, grid = self.bearing, self.grid
        shape = cured.shape
        before, out = self._room(self._reaches, shape, 0), self._room(self._reaches, shape, 1)
        bodies, labels = self._room(self._numbers, shape, 0), self._room(self._numbers, shape, 1)
        count = int(label_pixels(cured, labels, self._scratch))
        if layer == 0:  # all of it is held by the platform
            before[:] = np.where(cured, 0.0, np.inf)
            bodies[:] = 0
        else:
            _carry(self.reach, self.window, before, window, np.inf)
            _carry(self.bodies, self.window, bodies, window, 0)
        flags = np.zeros((count + 1, 3), np.int32)
        made, flecks = hold_layer(
            cured, labels, count, before, out, flags, np.float32(bearing.reach_mm),
            2.5 * bearing.reach_mm + bearing.tip_radius_mm, np.float32(bearing.relief_mm), bearing.tip_radius_mm,
            np.float32(grid.pixel_x_mm), np.float32(grid.pixel_y_mm), bearing.least_pixels, self.wanted,
        )  # fmt: skip
        self.window = window
        self.flecks += int(flecks)
        if layer == 0:
            before[:] = np.inf
        numbers = self._join(layer, labels, count, before, bodies, flags)
        self._note(layer, self.wanted[:made], flags, numbers)
        self.reach, self.bodies = out, bodies
        self._answer(layer)
        self._reaches = [self._reaches[0], self._reaches[2], self._reaches[1]]
        self._numbers = [self._numbers[2], self._numbers[1], self._numbers[0]]
        self.pixels += int(flags[1:, 0].sum())

    def _answer(self, layer: int) -> None:
        """Which bodies the pixels belong to that are asked for in this layer."""
        first, last = np.searchsorted(self._asked[self._in_layers, 0], [layer, layer + 1])
        rows = self._in_layers[first:last]
        y0, y1, x0, x1 = self.window
        y, x = self._asked[rows, 1] - y0, self._asked[rows, 2] - x0
        inside = (y >= 0) & (y < y1 - y0) & (x >= 0) & (x < x1 - x0)
        self.answers[rows[inside]] = self.bodies[y[inside], x[inside]]

    @staticmethod
    def _room(blocks: list, shape: tuple[int, ...], number: int):
        return blocks[number][: shape[0] * shape[1]].reshape(shape)

    def _join(self, layer: int, labels, count: int, before, bodies, flags) -> npt.NDArray[np.int32]:
        """Numbers of the regions' bodies, after those that grow together have become one."""
        if self.made + count + 1 > len(self.parent):
            more = np.zeros(2 * (self.made + count + 1), np.int32)
            more[: len(self.parent)] = self.parent
            self.parent = more
        numbers = np.zeros(count + 1, np.int32)
        earlier, regions = self.parent[: self.made].copy(), np.zeros((count + 1, 3))
        self.made = int(
            join_bodies(
                labels, count, before, bodies, numbers, self.parent, self.made,
                np.ascontiguousarray(flags[:, 1]), regions,
            )
        )  # fmt: skip
        changed = np.flatnonzero(
            (self.parent[: len(earlier)] != earlier) & (earlier == np.arange(len(earlier)))
        )
        self.joins += [(layer, int(body), int(self.parent[body])) for body in changed]
        found = np.unique(numbers[numbers > 0])
        sums = np.zeros((len(found), 3))
        np.add.at(sums, np.searchsorted(found, numbers[numbers > 0]), regions[numbers > 0])
        for body, (n, x, y) in zip(found, sums, strict=True):
            self.rows.append((layer, int(body), n * self.pixel_mm2, *self._place(x / n, y / n)))
        return numbers

    @property
    def pixel_mm2(self) -> float:
        """Area of a pixel."""
        return self.grid.pixel_x_mm * self.grid.pixel_y_mm

    def _place(self, x: float, y: float) -> tuple[float, float]:
        grid = self.grid
        y0, _, x0, _ = self.window
        return (
            grid.origin_mm[0] + (x0 + x + 0.5) * grid.pixel_x_mm,
            grid.origin_mm[1] + (y0 + y + 0.5) * grid.pixel_y_mm,
        )

    def _note(self, layer: int, wanted, flags, numbers) -> None:
        for y, x, kind, label in wanted:
            at = self._place(float(x), float(y))
            area = float(flags[label, 0]) * self.pixel_mm2
            self.sites.append((*at, layer, int(kind), area, int(numbers[label])))


def _carry(old, window, new, into, empty: float) -> None:
    """Write what an image (h, w) within one window has in another; `empty` beside it."""
    new[:] = empty
    y0, y1, x0, x1 = (
        max(window[0], into[0]),
        min(window[1], into[1]),
        max(window[2], into[2]),
        min(window[3], into[3]),
    )
    if y1 > y0 and x1 > x0:
        inner = old[y0 - window[0] : y1 - window[0], x0 - window[2] : x1 - window[2]]
        new[y0 - into[0] : y1 - into[0], x0 - into[2] : x1 - into[2]] = inner
