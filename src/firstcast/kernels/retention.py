"""Averages over a round window on a surface, fast enough for millions of vertices.

Vertices are gathered into clumps: those in one cubic cell whose normals have the same greatest component. A vertex's
average is taken over the clumps around it, weighted by area, by how near they lie and by how far their normals agree,
so that the back of a thin wall has no say in its front.
"""

from typing import NamedTuple

import numpy as np

from firstcast.kernels.compiling import kernel

FACES = 6
"""Ways that a normal can face: the greatest component's axis and sign."""


class Clumps(NamedTuple):
    """Vertices gathered by cell and facing, sorted by key."""

    keys: np.ndarray  # (c,) int64, ascending: ((i * ny + j) * nz + k) * 6 + face
    starts: np.ndarray  # (c + 1,) int64, into order
    order: np.ndarray  # (n,) int64, vertices by clump
    middles: np.ndarray  # (c, 3) float64, mm, by area
    facing: np.ndarray  # (c, 3) float64, mean normals by area
    areas: np.ndarray  # (c,) float64, mm²
    shape: np.ndarray  # (3,) int64, cells of the grid, with an empty rim of `reach` cells
    reach: int  # cells that the window's radius spans
    radius: float  # mm


@kernel
def face_of(x, y, z):
    """0 .. 5: the axis of the greatest component, and whether it is negative."""
    a, b, c = abs(x), abs(y), abs(z)
    if a >= b and a >= c:
        return 0 if x >= 0 else 1
    if b >= c:
        return 2 if y >= 0 else 3
    return 4 if z >= 0 else 5


@kernel
def key_vertices(start, stop, points, normals, low, size, shape, reach, keys):
    """Fill keys[start:stop] (int64) with the clump that each vertex falls in."""
    for n in range(start, stop):
        i = np.int64((points[n, 0] - low[0]) / size) + reach
        j = np.int64((points[n, 1] - low[1]) / size) + reach
        k = np.int64((points[n, 2] - low[2]) / size) + reach
        face = face_of(normals[n, 0], normals[n, 1], normals[n, 2])
        keys[n] = ((i * shape[1] + j) * shape[2] + k) * FACES + face


@kernel
def gather(start, stop, order, starts, areas, values, out):
    """Fill out[start:stop] (c, v) with each clump's mean of values (n, v), by area."""
    for c in range(start, stop):
        total = 0.0
        out[c] = 0.0
        for m in range(starts[c], starts[c + 1]):
            n = order[m]
            total += areas[n]
            for v in range(values.shape[1]):
                out[c, v] += areas[n] * values[n, v]
        for v in range(values.shape[1]):
            out[c, v] /= total


@kernel
def neighbours_of(c, clumps, cursors, near):
    """Fill `near` with the clumps in the cells around clump c, as far as the window reaches; returns how many.

    `cursors` holds, for each row of cells along z in the window, the first clump that was in it for an earlier clump than
    c, below 0 at the start: keys rise, so it is found a few steps on. `near` must hold as many as there can be; what does
    not fit is left out.
    """
    ny, nz = clumps.shape[1], clumps.shape[2]
    cell = clumps.keys[c] // FACES
    count, number = 0, 0
    for di in range(-clumps.reach, clumps.reach + 1):
        for dj in range(-clumps.reach, clumps.reach + 1):
            row = cell + (di * ny + dj) * nz
            low, last = (row - clumps.reach) * FACES, (row + clumps.reach + 1) * FACES
            first = cursors[number]
            if first < 0:
                first = np.searchsorted(clumps.keys, low)
            while first < len(clumps.keys) and clumps.keys[first] < low:
                first += 1
            cursors[number] = first
            number += 1
            while first < len(clumps.keys) and clumps.keys[first] < last and count < len(near):
                near[count] = first
                count += 1
                first += 1
    return count


@kernel
def average(start, stop, clumps, points, normals, means, values, out):
    """Fill out (n, v) for the vertices of clumps start .. stop: values averaged over the window about each vertex.

    The weight falls as 1 - (r/R)². Vertices that have no clump in their window keep their own value.
    """
    near = np.empty((2 * clumps.reach + 1) ** 3 * FACES, np.int64)
    cursors = np.full((2 * clumps.reach + 1) ** 2, -1, np.int64)
    square = clumps.radius**2
    sums = np.empty(values.shape[1])
    for c in range(start, stop):
        count = neighbours_of(c, clumps, cursors, near)
        for m in range(clumps.starts[c], clumps.starts[c + 1]):
            n = clumps.order[m]
            total = 0.0
            sums[:] = 0.0
            for b in near[:count]:
                dx = clumps.middles[b, 0] - points[n, 0]
                dy = clumps.middles[b, 1] - points[n, 1]
                dz = clumps.middles[b, 2] - points[n, 2]
                share = 1.0 - (dx * dx + dy * dy + dz * dz) / square
                if share <= 0.0:
                    continue
                along = (
                    clumps.facing[b, 0] * normals[n, 0]
                    + clumps.facing[b, 1] * normals[n, 1]
                    + clumps.facing[b, 2] * normals[n, 2]
                )
                if along <= 0.0:
                    continue
                weight = share * along * clumps.areas[b]
                total += weight
                for v in range(len(sums)):
                    sums[v] += weight * means[b, v]
            for v in range(len(sums)):
                out[n, v] = sums[v] / total if total > 0.0 else values[n, v]
