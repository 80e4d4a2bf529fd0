"""The share of every pixel that a mesh's section covers, layer by layer: grey edges, exactly.

Sort the triangles once, then take layers in any order, a batch at a time:

    sections = section_layers(points, triangles, grid, layers)
    for batch in stream_coverage(sections, descending=True):
        for k in batch.layers:
            y0, y1, x0, x1 = batch.window(k)
            dose[y0:y1, x0:x1] += batch.image(k)
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Field, Triangles, check_points, check_triangles
from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.kernels.coverage import (
    Stack,
    count_keys,
    count_planes,
    fill_layers,
    key_triangles,
    measure_layers,
    sort_by_key,
)

LEAK_PIXELS = 1e-5
"""Rows of a closed mesh sum to zero within rounding, 1e-11 of a pixel; a gap leaves its height, unless another in the
same row makes up for it."""

POINT_BLOCK = 1 << 16
BATCH_BYTES = 1 << 28
"""Shares held at a time: some layers of the largest grids, so that all threads have one."""


class PixelGrid(NamedTuple):
    """Pixels whose outer corners are origin + (pixel_x_mm · column, pixel_y_mm · row): x runs along columns."""

    origin_mm: tuple[float, float]
    pixel_x_mm: float
    pixel_y_mm: float
    nx: int
    ny: int


class Layers(NamedTuple):
    """Layers of equal height, the first on the plane z = bottom_mm, each next one at greater z."""

    bottom_mm: float
    layer_mm: float
    count: int

    def middle_mm(self, layer: int) -> float:
        """Height of the plane through the middle of a layer, where its section is taken."""
        return self.bottom_mm + (layer + 0.5) * self.layer_mm


@dataclass(frozen=True)
class Sections:
    """A mesh ready to be cut: its triangles sorted by layer.

    Attributes
    ----------
    windows : (count, 4) int32
        Per layer the rows y0:y1 and columns x0:x1 outside of which nothing is covered; zeros where nothing is.
    """

    grid: PixelGrid
    layers: Layers
    stack: Stack
    windows: npt.NDArray[np.int32]

    @property
    def window(self) -> tuple[int, int, int, int]:
        """Rows y0:y1 and columns x0:x1 that hold the windows of all layers."""
        used = self.windows[self.windows[:, 1] > 0]
        if not len(used):
            return 0, 0, 0, 0
        (y0, _, x0, _), (_, y1, _, x1) = used.min(axis=0), used.max(axis=0)
        return int(y0), int(y1), int(x0), int(x1)


@dataclass(frozen=True)
class Coverage:
    """What layers first .. first + n cover, each within its own window.

    Attributes
    ----------
    windows : (n, 4) int32
        Rows y0:y1 and columns x0:x1 per layer.
    starts : (n + 1,) int64
        Where each layer's image starts in `shares`.
    shares : (starts[n],) float32
        Covered share of each pixel, 0 to 1; row after row, layer after layer.
    """

    first: int
    windows: npt.NDArray[np.int32]
    starts: npt.NDArray[np.int64]
    shares: Field

    @property
    def layers(self) -> range:
        """The layers' numbers."""
        return range(self.first, self.first + len(self.windows))

    def window(self, layer: int) -> tuple[int, int, int, int]:
        """Rows y0:y1 and columns x0:x1 of a layer's image, as y0, y1, x0, x1."""
        y0, y1, x0, x1 = self.windows[layer - self.first].tolist()
        return y0, y1, x0, x1

    def image(self, layer: int) -> Field:
        """(y1 - y0, x1 - x0) float32: a layer's shares within its window, as a view."""
        y0, y1, x0, x1 = self.window(layer)
        n = layer - self.first
        return self.shares[self.starts[n] : self.starts[n + 1]].reshape(y1 - y0, x1 - x0)


def section_layers(
    points: npt.ArrayLike, triangles: npt.ArrayLike, grid: PixelGrid, layers: Layers
) -> Sections:
    """Sort a mesh's triangles by the layers that they pass, and find each layer's window.

    Parameters
    ----------
    points : (n, 3) float64 or float32
        Millimetres in the printer's axes, z away from the build platform.
    triangles : (m, 3) int32
        Closed, outward and not crossing themselves: pixels on which shells overlap come out too full.
    grid : PixelGrid
        What lies outside of it is left out.
    layers : Layers

    Raises
    ------
    InputError
        Wrong arrays, or a pixel, layer or count that is not positive.

    Notes
    -----
    Holds four bytes per point and per triangle beside the mesh, however many layers there are.
    """
    places = _checked_points(points)
    rows = check_triangles(triangles, len(places), where="sections")
    _check_grid(grid, layers)
    below = np.empty(len(places), np.int32)
    planes = (layers.middle_mm(0), float(layers.layer_mm), int(layers.count))
    run_blocks(count_planes, len(places), places, *planes, below, block=POINT_BLOCK)
    stack = Stack(
        places,
        rows,
        below,
        *_sort_triangles(rows, below, layers.count),
        *planes,
        np.array(grid.origin_mm, np.float64),
        1.0 / np.array([grid.pixel_x_mm, grid.pixel_y_mm], np.float64),
        np.array([grid.nx, grid.ny], np.int64),
    )
    windows = np.empty((layers.count, 4), np.int32)
    run_blocks(measure_layers, layers.count, stack, windows, block=4)
    return Sections(grid, layers, stack, windows)


def coverage_of(sections: Sections, first: int, stop: int, *, buffer: Field | None = None) -> Coverage:
    """The covered shares of layers first .. stop.

    Parameters
    ----------
    buffer : (b,) float32, optional
        Where to keep the shares if they fit; what it held is lost. New memory costs as much as filling it.

    Raises
    ------
    InputError
        There are no such layers, or rows show that the mesh isn't closed.

    Notes
    -----
    Exact but for rounding: positions are within 1e-11 of a pixel, shares are summed in float64.
    """
    if not 0 <= first <= stop <= sections.layers.count:
        raise InputError(
            f"layers {first} to {stop} of {sections.layers.count}",
            where="sections",
            mend="Ask for layers between none and all of them.",
        )
    windows = sections.windows[first:stop]
    starts = np.zeros(stop - first + 1, np.int64)
    np.cumsum(_areas(windows), out=starts[1:])
    total = int(starts[-1])
    fits = buffer is not None and buffer.dtype == np.float32 and len(buffer) >= total
    shares = buffer[:total] if buffer is not None and fits else np.empty(total, np.float32)
    leaks = np.empty(stop - first)
    run_blocks(fill_layers, stop - first, first, sections.stack, windows, starts, shares, leaks, block=1)
    if leaks.max(initial=0.0) > LEAK_PIXELS:
        worst = first + int(leaks.argmax())
        raise InputError(
            f"at z = {sections.layers.middle_mm(worst):.4f} mm a row of pixels is entered and left by amounts "
            f"{leaks.max():.2g} of its height apart: the mesh isn't closed",
            where="sections",
            mend="Close the mesh first.",
        )
    return Coverage(first, windows, starts, shares)


def stream_coverage(
    sections: Sections, *, descending: bool = False, most_bytes: int = BATCH_BYTES
) -> Iterator[Coverage]:
    """All layers in batches, from the first up or from the last down.

    Shares take `most_bytes` at most, or one layer. The memory is used again: a batch holds until the next.
    """
    bounds = batch_bounds(sections, descending=descending, most_bytes=most_bytes)
    areas = _areas(sections.windows)
    most = max((int(areas[first:stop].sum()) for first, stop in bounds), default=0)
    buffer = np.empty(most, np.float32)
    for first, stop in bounds:
        yield coverage_of(sections, first, stop, buffer=buffer)


def batch_bounds(sections: Sections, *, descending: bool, most_bytes: int) -> list[tuple[int, int]]:
    """First and stop of runs of layers whose shares take `most_bytes` at most, in the order they are wanted."""
    areas = _areas(sections.windows)
    order = range(len(areas) - 1, -1, -1) if descending else range(len(areas))
    runs: list[list[int]] = []
    filled = 0
    for layer in order:
        size = 4 * int(areas[layer])
        if not runs or filled + size > most_bytes:
            runs.append([])
            filled = 0
        runs[-1].append(layer)
        filled += size
    return [(min(run[0], run[-1]), max(run[0], run[-1]) + 1) for run in runs]


def thresholded(coverage: Coverage) -> Coverage:
    """Without grey edges: 1 where half or more of a pixel is covered, else 0."""
    whole = (coverage.shares >= 0.5).astype(np.float32)
    return Coverage(coverage.first, coverage.windows, coverage.starts, whole)


def _areas(windows: npt.NDArray[np.int32]) -> npt.NDArray[np.int64]:
    """(n,) int64: pixels in each window."""
    sides = windows.astype(np.int64)
    return (sides[:, 1] - sides[:, 0]) * (sides[:, 3] - sides[:, 2])


def _checked_points(points: npt.ArrayLike) -> npt.NDArray[np.floating]:
    """Float32 stays as it is, to be widened where it is read; all else becomes float64."""
    array = np.asarray(points)
    checked = check_points(array, where="sections")
    return np.ascontiguousarray(array) if array.dtype == np.float32 else checked


def _check_grid(grid: PixelGrid, layers: Layers) -> None:
    lengths = (grid.pixel_x_mm, grid.pixel_y_mm, layers.layer_mm)
    places = (*grid.origin_mm, layers.bottom_mm)
    counts = (grid.nx, grid.ny, layers.count)
    sound = all(length > 0.0 for length in lengths) and all(count > 0 for count in counts)
    if not (sound and np.isfinite([*lengths, *places]).all()):
        raise InputError(
            f"pixels of {grid.pixel_x_mm} × {grid.pixel_y_mm} mm, {grid.nx} × {grid.ny} from {grid.origin_mm}, and "
            f"{layers.count} layers of {layers.layer_mm} mm from {layers.bottom_mm} mm",
            where="sections",
            mend="Give finite places, and lengths and counts above zero.",
        )


def _sort_triangles(
    triangles: Triangles, below: npt.NDArray[np.int32], count: int
) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Triangles by class and first plane, where each of these starts, and how many pass each plane."""
    keys = np.empty(len(triangles), np.int32)
    run_blocks(key_triangles, len(triangles), triangles, below, count, keys, block=POINT_BLOCK)
    classes = int(count).bit_length() + 1
    starts, passing = np.zeros(classes * count + 1, np.int64), np.zeros(count + 1, np.int64)
    count_keys(keys, triangles, below, starts, passing)
    np.cumsum(starts, out=starts)
    order = np.empty(starts[-1], np.int32)
    sort_by_key(keys, starts[:-1].copy(), order)
    return order, starts, np.cumsum(passing)[:-1]
