"""Bare starts and overhangs, from the layers themselves: where a piece wants tips, and which bodies grow together.

Layers are gone through once, from the platform up. Every cured pixel that hangs together with the platform, or with a
tip, carries how far it stands out from what bears it (`start_walk`, `kernels.starts`).
"""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numba
import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.fields.coverage import Coverage, Layers, PixelGrid, Sections, batch_bounds, coverage_of
from firstcast.kernels.starts import OVERHANG, START
from firstcast.printing.start_walk import Bearing, Walk

__all__ = ["OVERHANG", "SHARE", "START", "Bearing", "Found", "Sites", "find_sites", "sites_in"]

SHARE = 2
"""Kind of tips that nothing asks for but the loads of others."""

CURED = 128.0 / 255.0
"""Share from which on a pixel counts as cured: its grey is at least 128 of 255 (rounded, as images are written)."""

BATCH_BYTES = 1 << 26
"""Shares held at a time: two such batches of the piece, and of the props."""


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

    def only(self, rows: npt.NDArray) -> "Sites":
        """Some of the rows."""
        return Sites(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})

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
    asked: npt.NDArray[np.int32] = field(default_factory=lambda: np.zeros(0, np.int32))


def find_sites(
    sections: Sections,
    bearing: Bearing,
    *,
    others: Sections | None = None,
    asked_mm: npt.NDArray[np.float64] | None = None,
) -> Found:
    """Where tips are wanted so that nothing starts bare and nothing stands out too far.

    Parameters
    ----------
    sections : Sections
        Of a closed mesh; what is cured in layer 0 rests on the platform.
    bearing : Bearing
    others : Sections, optional
        Of the props, on the same grid and layers: a pixel's shares add up. Without them each site that is found counts
        as held from then on; so it does with them, and what is found is what the props leave without hold.
    asked_mm : (a, 3) float64, optional
        Places whose bodies are wanted.

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
    sizes = (windows[:, 1] - windows[:, 0]).astype(np.int64) * (windows[:, 3] - windows[:, 2])
    most = int(sizes.max(initial=0))
    asked = _pixels(np.zeros((0, 3)) if asked_mm is None else asked_mm, sections.grid, sections.layers)
    walk = Walk(sections.grid, most, bearing, asked)
    shares, bits = np.empty(most, np.float32), np.empty(most, np.uint8)
    for covers in _covers(sections, others):
        for layer in covers[0].layers:
            y0, y1, x0, x1 = windows[layer].tolist()
            summed = shares[: sizes[layer]].reshape(y1 - y0, x1 - x0)
            summed[:] = 0.0
            for cover in covers:
                v0, v1, u0, u1 = cover.window(layer)
                if v1 > v0:
                    summed[v0 - y0 : v1 - y0, u0 - x0 : u1 - x0] += cover.image(layer)
            cured = bits[: sizes[layer]].reshape(summed.shape)
            np.greater_equal(summed, np.float32(CURED - 0.5 / 255.0), out=cured, casting="unsafe")
            walk.take(layer, (y0, y1, x0, x1), cured)
    return _found(walk, sections.layers)


def _covers(sections: Sections, others: Sections | None) -> Iterator[tuple[Coverage, ...]]:
    """Batches of what both cover; the next is made while one is walked through."""
    bounds = batch_bounds(sections, descending=False, most_bytes=BATCH_BYTES)
    meshes = (sections,) if others is None else (sections, others)
    buffers = [[np.empty(0, np.float32)] * len(meshes) for _ in range(2)]

    def make(number: int) -> tuple[Coverage, ...]:
        mine = buffers[number % 2]
        made = tuple(coverage_of(mesh, *bounds[number], buffer=mine[n]) for n, mesh in enumerate(meshes))
        for n, cover in enumerate(made):
            mine[n] = cover.shares if len(cover.shares) > len(mine[n]) else mine[n]
        return made

    with ThreadPoolExecutor(
        1, initializer=numba.set_num_threads, initargs=(numba.get_num_threads(),)
    ) as maker:
        coming = maker.submit(make, 0) if bounds else None
        for number in range(len(bounds)):
            assert coming is not None
            made = coming.result()
            if number + 1 < len(bounds):
                coming = maker.submit(make, number + 1)
            yield made


def sites_in(images: npt.NDArray[np.bool_], grid: PixelGrid, layers: Layers, bearing: Bearing) -> Found:
    """The same for layer images that are there: (layers, rows, columns) bool, the grid's own size."""
    _, rows, columns = images.shape
    walk = Walk(grid, rows * columns, bearing, np.zeros((0, 3), np.int64))
    for layer, image in enumerate(images):
        walk.take(layer, (0, rows, 0, columns), np.ascontiguousarray(image).view(np.uint8))
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


def _found(walk: Walk, layers: Layers) -> Found:
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
    volume = walk.pixels * walk.pixel_mm2 * layers.layer_mm
    return Found(sites, walk.flecks, rows, joins, volume, walk.answers)


def _pixels(places: npt.NDArray[np.float64], grid: PixelGrid, layers: Layers) -> npt.NDArray[np.int64]:
    """(n, 3) layer, row and column of places (n, 3)."""
    origin = np.array([layers.bottom_mm, grid.origin_mm[1], grid.origin_mm[0]])
    size = np.array([layers.layer_mm, grid.pixel_y_mm, grid.pixel_x_mm])
    return np.floor((places[:, ::-1] - origin) / size).astype(np.int64)
