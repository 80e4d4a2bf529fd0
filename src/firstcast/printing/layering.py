"""The images of a run's layers, drawn as they are asked for: what stands on the platform at the printer's own pixels.

    plan = layer_plan.plan_layers(run, masters, screen, layer_mm=0.05)
    for result in map_layers(plan, lambda layer, canvas: ...):
        ...

Each master is cut once per turn and place within a pixel, however many copies of it stand on the platform.
"""

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from queue import SimpleQueue
from typing import TypeVar

import numba
import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.fields.coverage import Coverage, coverage_of
from firstcast.kernels.layer_images import blend_layers, clear, paste
from firstcast.printing.layer_plan import Cut, LayerPlan, Screen

BATCH_BYTES = 1 << 26
"""Shares of one cut held at a time; or one layer's, if that is more."""

Result = TypeVar("Result")


@dataclass(frozen=True)
class Tiles:
    """Layers first .. first + n of a cut, as 8-bit images within their windows.

    Attributes
    ----------
    windows : (n, 4) int32
        Rows y0:y1 and columns x0:x1 of the cut's grid.
    starts : (n + 1,) int64
        Where each layer begins in `levels`.
    levels : (starts[n],) uint8
        255 times the share, rounded.
    """

    first: int
    windows: npt.NDArray[np.int32]
    starts: npt.NDArray[np.int64]
    levels: npt.NDArray[np.uint8]

    def image(self, layer: int) -> npt.NDArray[np.uint8]:
        """(y1 - y0, x1 - x0) uint8 of a layer, as a view."""
        n = layer - self.first
        y0, y1, x0, x1 = self.windows[n].tolist()
        return self.levels[self.starts[n] : self.starts[n + 1]].reshape(y1 - y0, x1 - x0)


class Canvas:
    """The whole image of a layer, used again for the next.

    Attributes
    ----------
    levels : (ny, w) uint8
        w is nx made up to a multiple of eight; what is beyond nx stays 0.
    firsts, stops : (ny,) int32
        Columns outside of which a row is 0.
    """

    def __init__(self, screen: Screen) -> None:
        self.screen = screen
        self.levels = np.zeros((screen.ny, -(-screen.nx // 8) * 8), np.uint8)
        self.firsts, self.stops = np.zeros(screen.ny, np.int32), np.zeros(screen.ny, np.int32)

    @property
    def image(self) -> npt.NDArray[np.uint8]:
        """(ny, nx) uint8, as a view."""
        return self.levels[:, : self.screen.nx]


def tiles_of(cut: Cut, first: int, stop: int) -> Tiles:
    """The images of a cut's layers first .. stop.

    Raises
    ------
    InputError
        There are no such layers, or the rows show that a mesh isn't closed.
    """
    windows = np.ascontiguousarray(cut.windows[first:stop])
    starts = np.zeros(stop - first + 1, np.int64)
    np.cumsum(_areas(windows), out=starts[1:])
    levels = np.empty(int(starts[-1]), np.uint8)
    piece, props = _coverage(cut, "piece", first, stop), _coverage(cut, "props", first, stop)
    run_blocks(
        blend_layers, stop - first, windows, starts, levels,
        piece.windows, piece.starts, piece.shares, props.windows, props.starts, props.shares,
        block=1,
    )  # fmt: skip
    return Tiles(first, windows, starts, levels)


def stream_tiles(cut: Cut, layers: range) -> Iterator[Tiles]:
    """All of a cut's images from the first up, in batches."""
    for first, stop in _batches(_areas(cut.windows), layers):
        yield tiles_of(cut, first, stop)


def map_layers(plan: LayerPlan, work: Callable[[int, Canvas], Result]) -> Iterator[Result]:
    """What `work` makes of each layer's image, from the platform up.

    `work` runs in as many threads as numba may use, on a canvas that is its own until it returns; results come in
    the layers' order and do not depend on the number of threads. However many layers there are, a batch of them and
    a canvas per thread are held.
    """
    threads = max(1, numba.get_num_threads())
    canvases: SimpleQueue[Canvas] = SimpleQueue()
    for _ in range(threads):
        canvases.put(Canvas(plan.screen))

    def draw(layer: int, tiles: list[Tiles]) -> Result:
        canvas = canvases.get()
        try:
            _draw(plan, layer, tiles, canvas)
            return work(layer, canvas)
        finally:
            clear(canvas.levels, canvas.firsts, canvas.stops)
            canvases.put(canvas)

    areas = sum((_areas(cut.windows) for cut in plan.cuts), np.zeros(plan.layers.count, np.int64))
    with ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[Result]] = deque()
        for first, stop in _batches(areas, range(plan.layers.count)):
            tiles = [tiles_of(cut, first, stop) for cut in plan.cuts]
            while waiting:
                yield waiting.popleft().result()
            waiting.extend(pool.submit(draw, layer, tiles) for layer in range(first, stop))
        while waiting:
            yield waiting.popleft().result()


def _draw(plan: LayerPlan, layer: int, tiles: list[Tiles], canvas: Canvas) -> None:
    for stamp in plan.stamps:
        tile = tiles[stamp.cut]
        n = layer - tile.first
        y0, y1, x0, x1 = tile.windows[n].tolist()
        if y1 > y0:
            paste(
                tile.levels[tile.starts[n] : tile.starts[n + 1]],
                y1 - y0,
                x1 - x0,
                stamp.row + y0,
                stamp.column + x0,
                plan.screen.nx,
                plan.screen.mirrored,
                canvas.levels,
                canvas.firsts,
                canvas.stops,
            )


def _batches(areas: npt.NDArray[np.int64], layers: range) -> Iterator[tuple[int, int]]:
    """First and stop of runs of layers whose pixels take `BATCH_BYTES` as shares at most, or of one layer."""
    first, held = layers.start, 0
    for layer in layers:
        size = 4 * int(areas[layer])
        if layer > first and held + size > BATCH_BYTES:
            yield first, layer
            first, held = layer, 0
        held += size
    if first < layers.stop:
        yield first, layers.stop


def _areas(windows: npt.NDArray[np.int32]) -> npt.NDArray[np.int64]:
    sides = windows.astype(np.int64)
    return (sides[:, 1] - sides[:, 0]) * (sides[:, 3] - sides[:, 2])


def _coverage(cut: Cut, which: str, first: int, stop: int) -> Coverage:
    try:
        return coverage_of(getattr(cut, which), first, stop)
    except InputError as error:
        raise InputError(error.what, where=f"{cut.master!r}, {which}", mend=error.mend) from error
