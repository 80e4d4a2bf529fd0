"""How much of the sculpture's relief is left, read in round windows of several sizes.

Relief is height along the normal over the window's own smooth base. Of the forecast's relief the share that goes with
the sculpture's is found by regression over the window, so that even growth, however large, is no loss of relief.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles, check_points, check_triangles
from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.kernels.retention import Clumps, average, gather, key_vertices

SCALES_MM = (0.15, 0.3, 0.6, 1.2)
"""Diameters of the windows, from fine texture to folds."""

FLOOR_MM = 0.003
"""Relief whose RMS in the window is below this counts as none: a tenth of a layer, which no paint shows."""

CELLS_ACROSS = 6
"""Cells of clumps across a window: the base is smooth to a sixth of it."""

BLOCK = 1 << 9


class Window(NamedTuple):
    """A round window that can be laid about every vertex of one surface."""

    clumps: Clumps
    points: Points
    normals: npt.NDArray[np.float64]
    areas_mm2: npt.NDArray[np.float64]


class ReliefWindow(NamedTuple):
    """A window with the sculpture's relief in it: made once, read many times.

    Attributes
    ----------
    window : Window
    height_mm : (n,) float64
        Relief of each vertex, see `relief_of`.
    mean_mm, variance_mm2 : (n,) float64
        Of the heights in the window about each vertex.
    """

    window: Window
    height_mm: npt.NDArray[np.float64]
    mean_mm: npt.NDArray[np.float64]
    variance_mm2: npt.NDArray[np.float64]


class Retention(NamedTuple):
    """Share of relief that is left, at every vertex and scale.

    Attributes
    ----------
    share : (s, k, n) float64
        Per scenario, scale and vertex: 1 all is left, above 1 overshoot, below 0 turned inside out; NaN where the
        sculpture has no relief to keep at that scale.
    relief_mm : (k, n) float64
        RMS of the sculpture's relief in the window.
    finest : (s, n) float64
        The share at the finest scale where one is read; NaN where none is.
    """

    share: npt.NDArray[np.float64]
    relief_mm: npt.NDArray[np.float64]
    finest: npt.NDArray[np.float64]

    def scenarios(self, first: int, last: int) -> "Retention":
        """The rows first .. last - 1 alone."""
        return Retention(self.share[first:last], self.relief_mm, self.finest[first:last])

    def beyond(self, coarser: "Retention") -> "Retention":
        """With what was read of the same scenarios at coarser scales."""
        return Retention(
            np.concatenate([self.share, coarser.share], axis=1),
            np.concatenate([self.relief_mm, coarser.relief_mm]),
            np.where(np.isnan(self.finest), coarser.finest, self.finest),
        )


class PartRetention(NamedTuple):
    """Means over parts, weighted by area and by the square of the relief.

    Attributes
    ----------
    share : (s, k, parts) float64
        NaN for a part without relief at that scale.
    overshoot_share : (s, k, parts) float64
        Share of the area with relief where more than all is left.
    worst : (s, k) int64
        The part that keeps least; -1 where none has relief.
    """

    share: npt.NDArray[np.float64]
    overshoot_share: npt.NDArray[np.float64]
    worst: npt.NDArray[np.int64]


def vertex_areas(points: Points, triangles: Triangles) -> npt.NDArray[np.float64]:
    """(n,) float64, mm²: a third of the triangles around each vertex."""
    corners = points[triangles]
    area = (
        np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 6.0
    )
    return np.bincount(triangles.ravel(), np.repeat(area, 3), minlength=len(points)).astype(np.float64)


def window_on(
    points: npt.ArrayLike, triangles: Triangles, normals: npt.NDArray[np.float64], size_mm: float
) -> Window:
    """A window of this diameter for every vertex of a surface.

    Parameters
    ----------
    points : (n, 3) float64
        mm.
    triangles : (m, 3) int32
    normals : (n, 3) float64
        Outward unit vectors.
    size_mm : float

    Raises
    ------
    InputError
        Arrays of another shape, or a window of no size.
    """
    points = check_points(points)
    triangles = check_triangles(triangles, len(points))
    if not size_mm > 0 or normals.shape != points.shape:
        raise InputError(
            f"a window of {size_mm} mm with normals of shape {normals.shape} for {len(points)} points",
            where="window",
            mend="Give a size above 0 and one normal per point.",
        )
    # a vertex without a triangle still needs a weight, or its clump has no middle
    areas = vertex_areas(points, triangles) + 1e-30
    cell, reach = size_mm / CELLS_ACROSS, CELLS_ACROSS // 2
    low = points.min(axis=0)
    shape = ((points.max(axis=0) - low) / cell).astype(np.int64) + 1 + 2 * reach
    keys = np.empty(len(points), np.int64)
    run_blocks(key_vertices, len(points), points, normals, low, cell, shape, reach, keys, block=1 << 14)
    order = np.argsort(keys, kind="stable")
    unique, starts = np.unique(keys[order], return_index=True)
    starts = np.append(starts, len(points)).astype(np.int64)
    middles, facing = (_means(order, starts, areas, values) for values in (points, normals))
    sums = np.add.reduceat(areas[order], starts[:-1])
    clumps = Clumps(unique, starts, order, middles, facing, sums, shape, reach, size_mm / 2.0)
    return Window(clumps, points, np.ascontiguousarray(normals, np.float64), areas)


def _means(order, starts, areas, values) -> npt.NDArray[np.float64]:
    out = np.empty((len(starts) - 1, values.shape[1]))
    run_blocks(gather, len(out), order, starts, areas, np.ascontiguousarray(values), out, block=BLOCK)
    return out


def averaged(window: Window, values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Values (n,) or (n, v) averaged by area over the window about each vertex, in the shape given."""
    columns = np.ascontiguousarray(values, np.float64).reshape(len(window.points), -1)
    means = _means(window.clumps.order, window.clumps.starts, window.areas_mm2, columns)
    out = np.empty_like(columns)
    run_blocks(
        average,
        len(means),
        window.clumps,
        window.points,
        window.normals,
        means,
        columns,
        out,
        block=BLOCK,
    )
    return out.reshape(np.shape(values))


def relief_of(window: Window) -> npt.NDArray[np.float64]:
    """(n,) float64, mm: how far each vertex lies outside the window's base, measured along its own normal.

    Height is taken along the window's mean normal, for on a flank the window's mean place lies to one side, and the
    vertex's own normal would take that for height.
    """
    mean = averaged(window, np.column_stack([window.points, window.normals]))
    upright = mean[:, 3:] / np.maximum(np.linalg.norm(mean[:, 3:], axis=1, keepdims=True), 1e-12)
    height = np.einsum("ij,ij->i", upright, window.points - mean[:, :3])
    return height * np.einsum("ij,ij->i", upright, window.normals)


def windows_on(
    points: npt.ArrayLike,
    triangles: Triangles,
    normals: npt.NDArray[np.float64],
    scales_mm: Sequence[float] = SCALES_MM,
) -> list[ReliefWindow]:
    """One window per scale, finest first, each with the relief in it."""
    windows = []
    for size in sorted(scales_mm):
        window = window_on(points, triangles, normals, size)
        height = relief_of(window)
        mean, square = averaged(window, np.column_stack([height, height**2])).T
        windows.append(ReliefWindow(window, height, mean, np.maximum(square - mean**2, 0.0)))
    return windows


def retention(
    windows: Sequence[ReliefWindow], residual_mm: npt.NDArray[np.float64], *, floor_mm: float = FLOOR_MM
) -> Retention:
    """Share of relief left, per scenario, scale and vertex.

    Parameters
    ----------
    windows : sequence of ReliefWindow
        From `windows_on`, finest first.
    residual_mm : (s, n) float64
        How far each scenario ends outside the sculpture along the normals.
    floor_mm : float
        RMS of relief below which there is nothing to keep.

    Notes
    -----
    With h the relief and f = h + e - mean(e), the share is cov(h, f) / var(h) over the window: the slope of a line
    with an intercept, so that neither even growth nor the even curvature of a ball counts. A linear process that
    passes a wave by a factor reads that factor at any window, for the same average acts on both.
    Windows shorter than half a wave see mostly slope, and less of the relief than its amplitude.
    """
    residual_mm = np.atleast_2d(residual_mm)
    count, n = residual_mm.shape
    share = np.full((count, len(windows), n), np.nan)
    relief = np.empty((len(windows), n))
    finest = np.full((count, n), np.nan)
    for scale, (window, height, mean, variance) in enumerate(windows):
        change = (residual_mm.T - averaged(window, residual_mm.T)).T
        moments = averaged(window, np.column_stack([change.T, (height * change).T])).T
        relief[scale] = np.sqrt(variance)
        read = relief[scale] >= floor_mm
        along = moments[count:] - mean * moments[:count]
        share[:, scale, read] = 1.0 + along[:, read] / variance[read]
    for scale in reversed(range(len(windows))):
        known = ~np.isnan(share[:, scale])
        finest[known] = share[:, scale][known]
    return Retention(share, relief, finest)


def by_part(
    found: Retention, part_of_vertex: npt.NDArray[np.integer], areas_mm2: npt.NDArray[np.float64]
) -> PartRetention:
    """Means per part, weighted by area and relief squared, and the part that keeps least.

    Parameters
    ----------
    found : Retention
    part_of_vertex : (n,) int
        0 .. parts - 1.
    areas_mm2 : (n,) float64
        From `vertex_areas`.
    """
    count, scales, _ = found.share.shape
    parts = int(part_of_vertex.max()) + 1
    share = np.full((count, scales, parts), np.nan)
    over = np.full((count, scales, parts), np.nan)
    for scale in range(scales):
        read = ~np.isnan(found.share[0, scale])
        part = part_of_vertex[read]
        area = areas_mm2[read]
        weight = area * found.relief_mm[scale, read] ** 2
        total = np.bincount(part, weight, parts)
        ground = np.bincount(part, area, parts)
        has = total > 0
        for s in range(count):
            left = found.share[s, scale, read]
            share[s, scale, has] = np.bincount(part, weight * left, parts)[has] / total[has]
            over[s, scale, has] = np.bincount(part, area * (left > 1.0), parts)[has] / ground[has]
    known = ~np.isnan(share)
    worst = np.where(known.any(axis=2), np.where(known, share, np.inf).argmin(axis=2), -1)
    return PartRetention(share, over, worst.astype(np.int64))
