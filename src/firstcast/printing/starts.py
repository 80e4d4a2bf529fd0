"""Bare starts and overhangs, from the layers themselves: where a piece wants tips, and which bodies grow together.

Layers are gone through once, from the platform up. Every cured pixel that hangs together with the platform, or with a
tip, carries how far it stands out from what bears it (`kernels.starts`).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.fields.coverage import Layers, PixelGrid, Sections, coverage_of, stream_coverage
from firstcast.kernels.regions import label_pixels
from firstcast.kernels.starts import OVERHANG, START, hold_layer, join_bodies, weigh_bodies
from firstcast.printing.regions import label_scratch

__all__ = ["OVERHANG", "START", "Bearing", "Found", "Sites", "find_sites", "sites_in"]

CURED = 128.0 / 255.0
"""Share from which on a pixel counts as cured: its grey is at least 128 of 255 (rounded, as images are written)."""

MOST_SITES = 1 << 14
"""Tips that one layer may ask for in one go; what goes beyond is found in the next round."""

BATCH_BYTES = 1 << 26


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


@dataclass(frozen=True)
class Sites:
    """Where tips are wanted, in the order of the layers.

    Attributes
    ----------
    places_mm : (s, 3) float64
        Middle of the pixel, at the bottom of the layer that asks for it.
    layers : (s,) int32
    kinds : (s,) int32
        START or OVERHANG.
    areas_mm2 : (s,) float64
        Of the region that asks for it, in that layer.
    bodies : (s,) int32
        Number of the body that the region belongs to when it asks: see `Found.rows`.
    """

    places_mm: npt.NDArray[np.float64]
    layers: npt.NDArray[np.int32]
    kinds: npt.NDArray[np.int32]
    areas_mm2: npt.NDArray[np.float64]
    bodies: npt.NDArray[np.int32]

    @property
    def starts(self) -> int:
        """How many are bare starts."""
        return int((self.kinds == START).sum())


@dataclass(frozen=True)
class Found:
    """What the layers showed.

    Attributes
    ----------
    sites : Sites
    flecks : int
        Regions below the least size with nothing beneath.
    rows : (r, 5) float64
        Per layer and body that hangs together up to it: layer, body, area in mm2, x and y of its middle in mm.
    joins : (j, 3) int32
        Layer, body, and the body (of lesser number) that it is one with from that layer on.
    cured_mm3 : float
    """

    sites: Sites
    flecks: int
    rows: npt.NDArray[np.float64]
    joins: npt.NDArray[np.int32]
    cured_mm3: float


class _Walk:
    """The state that is carried from layer to layer, on the window that holds all layers."""

    def __init__(self, grid: PixelGrid, window: tuple[int, int, int, int], bearing: Bearing) -> None:
        self.grid, self.bearing = grid, bearing
        self.y0, y1, self.x0, x1 = window
        shape = (y1 - self.y0, x1 - self.x0)
        self.cured = np.zeros(shape, np.uint8)
        self.labels = np.zeros(shape, np.int32)
        self.scratch = label_scratch(shape)
        self.before = np.full(shape, np.inf, np.float32)
        self.reach = np.full(shape, np.inf, np.float32)
        self.bodies = np.zeros(shape, np.int32)
        self.parent = np.zeros(1 << 10, np.int32)
        self.made = 1
        self.known = np.zeros(1 << 10, np.int32)
        self.sites: list[tuple[float, float, int, int, float, int]] = []
        self.wanted = np.empty((MOST_SITES, 4), np.int32)
        self.rows: list[tuple[int, int, float, float, float]] = []
        self.joins: list[tuple[int, int, int]] = []
        self.flecks = 0
        self.pixels = 0

    def take(self, layer: int, held: bool) -> None:
        """One layer, its image in `cured`; all of it is held where it lies on the platform."""
        bearing, grid = self.bearing, self.grid
        count = int(label_pixels(self.cured, self.labels, self.scratch))
        if held:
            self.before[:] = np.where(self.cured, 0.0, np.inf)
        flags = np.zeros((count + 1, 3), np.int32)
        made, flecks = hold_layer(
            self.cured, self.labels, count, self.before, self.reach, flags, np.float32(bearing.reach_mm),
            2.5 * bearing.reach_mm + bearing.tip_radius_mm, np.float32(bearing.relief_mm), bearing.tip_radius_mm,
            np.float32(grid.pixel_x_mm), np.float32(grid.pixel_y_mm), bearing.least_pixels, self.wanted,
        )  # fmt: skip
        self.flecks += int(flecks)
        numbers = self._join(layer, count, flags, held)
        self._note(layer, self.wanted[:made], flags, numbers)
        self.before, self.reach = self.reach, self.before
        self.pixels += int(flags[1:, 0].sum())

    def _join(self, layer: int, count: int, flags, held: bool) -> npt.NDArray[np.int32]:
        """Numbers of the regions' bodies, after those that grow together have become one."""
        if self.made + count + 1 > len(self.parent):
            more = np.zeros(2 * (self.made + count + 1), np.int32)
            more[: len(self.parent)] = self.parent
            self.parent = more
        numbers = np.zeros(count + 1, np.int32)
        before = np.full_like(self.before, np.inf) if held else self.before
        earlier = self.parent[: self.made].copy()
        self.made = int(
            join_bodies(
                self.labels, count, before, self.bodies, numbers, self.parent, self.made,
                np.ascontiguousarray(flags[:, 1]),
            )
        )  # fmt: skip
        changed = np.flatnonzero(
            (self.parent[: len(earlier)] != earlier) & (earlier == np.arange(len(earlier)))
        )
        self.joins += [(layer, int(body), int(self.parent[body])) for body in changed]
        sums = np.zeros((self.made, 3))
        weigh_bodies(self.labels, numbers, self.parent, sums)
        for body in np.flatnonzero(sums[:, 0]):
            n, x, y = sums[body]
            self.rows.append((layer, int(body), n * self._pixel_mm2, *self._place(x / n, y / n)))
        return numbers

    @property
    def _pixel_mm2(self) -> float:
        return self.grid.pixel_x_mm * self.grid.pixel_y_mm

    def _place(self, x: float, y: float) -> tuple[float, float]:
        grid = self.grid
        return (
            grid.origin_mm[0] + (self.x0 + x + 0.5) * grid.pixel_x_mm,
            grid.origin_mm[1] + (self.y0 + y + 0.5) * grid.pixel_y_mm,
        )

    def _note(self, layer: int, wanted, flags, numbers) -> None:
        for y, x, kind, label in wanted:
            at = self._place(float(x), float(y))
            area = float(flags[label, 0]) * self._pixel_mm2
            self.sites.append((*at, layer, int(kind), area, int(numbers[label])))


def find_sites(sections: Sections, bearing: Bearing, *, others: Sections | None = None) -> Found:
    """Where tips are wanted so that nothing starts bare and nothing stands out too far.

    Parameters
    ----------
    sections : Sections
        Of a closed mesh; what is cured in layer 0 rests on the platform.
    bearing : Bearing
    others : Sections, optional
        Of the props, on the same grid and layers: a pixel's shares add up. Without them each site that is found counts
        as held from then on; so it does with them, and what is found is what the props leave without hold.

    Raises
    ------
    InputError
        Grids or layers differ.
    """
    if others is not None and (others.grid != sections.grid or others.layers != sections.layers):
        raise InputError(
            "the props are on another grid", where="sites", mend="Cut both by the same grid and layers."
        )
    windows = sections.windows if others is None else _joined(sections.windows, others.windows)
    used = windows[windows[:, 1] > 0]
    if not len(used):
        return _found(_Walk(sections.grid, (0, 1, 0, 1), bearing), sections.layers)
    low, high = used.min(axis=0), used.max(axis=0)
    walk = _Walk(sections.grid, (int(low[0]), int(high[1]), int(low[2]), int(high[3])), bearing)
    summed = np.zeros(walk.cured.shape, np.float32)
    for batch in stream_coverage(sections, most_bytes=BATCH_BYTES):
        more = None if others is None else coverage_of(others, batch.first, batch.first + len(batch.windows))
        for layer in batch.layers:
            summed[:] = 0.0
            for cover in (batch, more):
                if cover is not None:
                    y0, y1, x0, x1 = cover.window(layer)
                    if y1 > y0:
                        summed[y0 - walk.y0 : y1 - walk.y0, x0 - walk.x0 : x1 - walk.x0] += cover.image(layer)
            np.greater_equal(summed, np.float32(CURED - 0.5 / 255.0), out=walk.cured, casting="unsafe")
            walk.take(layer, held=layer == 0)
    return _found(walk, sections.layers)


def sites_in(images: npt.NDArray[np.bool_], grid: PixelGrid, layers: Layers, bearing: Bearing) -> Found:
    """The same for layer images that are there: (layers, rows, columns) bool, the grid's own size."""
    walk = _Walk(grid, (0, images.shape[1], 0, images.shape[2]), bearing)
    for layer, image in enumerate(images):
        walk.cured[:] = image
        walk.take(layer, held=layer == 0)
    return _found(walk, layers)


def _joined(a: npt.NDArray[np.int32], b: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Windows that hold both."""
    out = np.column_stack(
        [
            np.minimum(a[:, 0], b[:, 0]),
            np.maximum(a[:, 1], b[:, 1]),
            np.minimum(a[:, 2], b[:, 2]),
            np.maximum(a[:, 3], b[:, 3]),
        ]
    )
    out[a[:, 1] == 0] = b[a[:, 1] == 0]
    out[b[:, 1] == 0] = a[b[:, 1] == 0]
    return out


def _found(walk: _Walk, layers: Layers) -> Found:
    table = np.array(walk.sites, dtype=np.float64).reshape(-1, 6)
    number = table[:, 2].astype(np.int32)
    z = layers.bottom_mm + number * layers.layer_mm
    sites = Sites(
        np.column_stack([table[:, :2], z]).astype(np.float64),
        number,
        table[:, 3].astype(np.int32),
        table[:, 4],
        table[:, 5].astype(np.int32),
    )
    joins = np.array(walk.joins, dtype=np.int32).reshape(-1, 3)
    rows = np.array(walk.rows, dtype=np.float64).reshape(-1, 5)
    return Found(sites, walk.flecks, rows, joins, walk.pixels * walk._pixel_mm2 * layers.layer_mm)
