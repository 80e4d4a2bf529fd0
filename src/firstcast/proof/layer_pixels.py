"""Every pixel of every layer against what the written meshes cover of it, so that nothing is made up for elsewhere."""

from collections.abc import Callable
from queue import SimpleQueue
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof import _pixels
from firstcast.proof.expected_run import Standing

ROUNDED = 0.505
"""Levels: half of one by rounding to whole levels; the rest for sums of shares as float32 numbers, each of which errs by 6e-8 of
a pixel, where a row is entered and left some hundred times."""

FLAT_MM = 1e-6
"""A face along the plane of a section is cut or not by the last digit of a height; one so near counts either way."""


class Cuts(NamedTuple):
    """A closed mesh with its triangles listed by the layers that cut them.

    Attributes
    ----------
    points : (n, 3) float64
    triangles : (m, 3) int32
    rows : (c,) int32
        Triangles that the middle of a layer cuts or all but touches, layer after layer.
    starts : (count + 1,) int64
        Where each layer's begin.
    """

    points: npt.NDArray[np.float64]
    triangles: npt.NDArray[np.int32]
    rows: npt.NDArray[np.int32]
    starts: npt.NDArray[np.int64]

    def rows_of(self, layer: int) -> npt.NDArray[np.int32]:
        """The triangles of a layer."""
        return self.rows[self.starts[layer] : self.starts[layer + 1]]


def cuts_of(
    points: npt.NDArray[np.floating], triangles: npt.NDArray[np.int32], layer_mm: float, count: int
) -> Cuts:
    """List a mesh's triangles by layer, the first on the plane z = 0."""
    places = np.ascontiguousarray(points, np.float64)
    rows = np.ascontiguousarray(triangles, np.int32)
    heights = places[:, 2][rows]
    first = np.ceil((heights.min(axis=1) - FLAT_MM) / layer_mm - 0.5).astype(np.int64).clip(0, count)
    stop = np.floor((heights.max(axis=1) + FLAT_MM) / layer_mm + 0.5).astype(np.int64).clip(0, count)
    spans = np.maximum(stop - first, 0)
    owners = np.repeat(np.arange(len(rows), dtype=np.int32), spans)
    layers = np.repeat(first - np.r_[0, np.cumsum(spans)[:-1]], spans) + np.arange(len(owners))
    order = np.argsort(layers.astype(np.uint16) if count < 1 << 16 else layers, kind="stable")
    starts = np.r_[0, np.cumsum(np.bincount(layers, minlength=count))].astype(np.int64)
    return Cuts(places, rows, np.ascontiguousarray(owners[order]), starts)


class Frame:
    """Room for the shares of a whole image: see `_pixels`."""

    def __init__(self, pixels: tuple[int, int], pixel_mm: tuple[float, float]) -> None:
        columns, rows = pixels
        self.pixels = pixels
        self.per_mm = 1.0 / np.array(pixel_mm, np.float64)
        self.changes = np.zeros((rows, columns + 2), np.float32)
        self.reaches = np.tile(np.array([columns + 2, 0], np.int64), (rows, 1))

    def add_section(
        self,
        cuts: Cuts,
        layer: int,
        height_mm: float,
        matrix: npt.NDArray[np.float64],
        move_mm: npt.NDArray[np.float64],
        *,
        sign: float = 1.0,
    ) -> int:
        """Add a mesh's section where a copy stands; gives how many pieces of its outline lie outside of the frame."""
        return _pixels.add_section(
            cuts.points, cuts.triangles, cuts.rows_of(layer), height_mm, matrix, move_mm,
            self.per_mm, sign, self.changes, self.reaches,
        )  # fmt: skip

    def add_loops(
        self,
        corners_mm: npt.NDArray[np.float64],
        starts: npt.NDArray[np.int64],
        move_mm: npt.NDArray[np.float64],
        *,
        sign: float = 1.0,
    ) -> int:
        """Add closed loops (n, 2) of corners, from starts[k] to starts[k + 1] each."""
        return _pixels.add_loops(corners_mm, starts, move_mm, self.per_mm, sign, self.changes, self.reaches)

    def shares(self) -> npt.NDArray[np.float32]:
        """(rows, columns) float32 of all that was added, which is forgotten."""
        found = np.empty((self.pixels[1], self.pixels[0]), np.float32)
        _pixels.settle(self.changes, self.reaches, found)
        return found


def about_plane(
    frame: Frame, draw: Callable[[float], object]
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """(rows, columns) least and greatest share that sections by a plane and by planes a hair below and above it cover.

    `draw` adds to the frame what is to be covered, so many mm above the plane.
    """
    found = []
    for above in (-FLAT_MM, 0.0, FLAT_MM):
        draw(above)
        found.append(np.clip(frame.shares(), 0.0, 1.0))
    return np.minimum.reduce(found), np.maximum.reduce(found)


class Compared(NamedTuple):
    """An image beside the sections of its layer.

    Attributes
    ----------
    off, lit : int
        Pixels that differ by more than rounding explains; those that are lit or covered.
    levels : int
        Sum of the image's levels.
    most : float
        The greatest difference, in levels, at pixel `column`, `row`, where `level` is and `wanted` should be.
    outside : int
        Pieces of outlines that lie outside of the image.
    """

    off: int
    lit: int
    levels: int
    most: float
    column: int
    row: int
    level: float
    wanted: float
    outside: int


class Reference:
    """What every layer of a run should show."""

    def __init__(
        self,
        cuts: dict[str, tuple[Cuts, ...]],
        standing: tuple[Standing, ...],
        pixels: tuple[int, int],
        pixel_mm: tuple[float, float],
        layer_mm: float,
        *,
        threads: int,
    ) -> None:
        self._cuts, self._standing, self._layer_mm = cuts, standing, layer_mm
        self._frames: SimpleQueue[Frame] = SimpleQueue()
        for _ in range(threads):
            self._frames.put(Frame(pixels, pixel_mm))

    def compare(self, layer: int, image: npt.NDArray[np.uint8]) -> Compared:
        """Hold an image of the right size against the sections by the middle of its layer.

        Pixels that are off are held once more against sections a hair below and above, between which they may lie.
        """
        frame = self._frames.get()
        try:
            outside = self._draw(frame, layer, 0.0)
            counts, worst = np.zeros(3, np.int64), np.zeros(5)
            _pixels.compare(frame.changes, frame.reaches, image, ROUNDED, counts, worst)
            off, lit, levels = counts.tolist()
            if off:
                off, worst = self._between(frame, layer, image)
        finally:
            self._frames.put(frame)
        most, column, row, level, wanted = (float(each) for each in worst)
        return Compared(off, lit, levels, most, int(column), int(row), level, wanted, outside)

    def _draw(self, frame: Frame, layer: int, above_mm: float) -> int:
        outside = 0
        height = (layer + 0.5) * self._layer_mm + above_mm
        for standing in self._standing:
            move = np.array([standing.x_mm, standing.y_mm], np.float64)
            for cuts in self._cuts[standing.master]:
                outside += frame.add_section(cuts, layer, height, standing.matrix, move)
        return outside

    def _between(
        self, frame: Frame, layer: int, image: npt.NDArray[np.uint8]
    ) -> tuple[int, tuple[float, ...]]:
        """Pixels that lie outside of what sections about the plane cover, and the worst of them."""
        low, high = (
            255.0 * each for each in about_plane(frame, lambda above: self._draw(frame, layer, above))
        )
        nearest = np.clip(image, low, high)
        away = np.abs(image - nearest)
        row, column = np.unravel_index(int(away.argmax()), away.shape)
        found = (away[row, column], column, row, image[row, column], nearest[row, column])
        return int((away > ROUNDED).sum()), tuple(float(each) for each in found)
