"""The dose that a stack of layer images leaves in the resin, and where it reaches the critical one.

Slabs of eight layers, the last layers first: dose (8, ny, nx) float32 is held as a ratio to the critical dose at the
middles of pixels and layers, columns along x, rows along y.
"""

import numpy as np

from firstcast.kernels.bricks import SIDE, lattice_point, value_at
from firstcast.kernels.compiling import kernel
from firstcast.kernels.contour import write_point

FAINT = 1e-6
"""Doses below this share of the critical one count as this when logarithms are taken."""


@kernel
def blur_layers(start, stop, images, along_x, along_y, windows, scratch):
    """Spread the light of layers start .. stop by weights along x, then y, within windows (n, 4): y0, y1, x0, x1.

    images (n, ny, nx) float32 is overwritten; scratch (n, ny, nx) float32. Beyond the windows all is dark.
    """
    reach_x, reach_y = len(along_x) // 2, len(along_y) // 2
    for n in range(start, stop):
        y0, y1, x0, x1 = windows[n]
        if y1 <= y0:
            continue
        for y in range(y0, y1):
            scratch[n, y, x0:x1] = 0.0
            for j in range(len(along_x)):
                weight, shift = along_x[j], reach_x - j
                for x in range(max(x0, x0 - shift), min(x1, x1 - shift)):
                    scratch[n, y, x] += weight * images[n, y, x + shift]
        for y in range(y0, y1):
            images[n, y, x0:x1] = 0.0
            for j in range(len(along_y)):
                other = y + reach_y - j
                if other < y0 or other >= y1:
                    continue
                weight = along_y[j]
                for x in range(x0, x1):
                    images[n, y, x] += weight * scratch[n, other, x]


@kernel
def stack_later(start, stop, own, whole, later, kept, share):
    """Turn own (8, ny, nx), each layer's section, into the dose within it, for rows start .. stop.

    whole (8, ny, nx) is what each layer covers over its whole thickness; later (ny, nx) holds what the layers above
    the slab leave in its last one, and takes what the slab leaves below. `kept` is the share that passes a layer.
    """
    for n in range(own.shape[0] - 1, -1, -1):
        for y in range(start, stop):
            for x in range(own.shape[2]):
                own[n, y, x] += share * later[y, x]
                later[y, x] = kept * (later[y, x] + whole[n, y, x])


@kernel
def lit_window(later, least, window):
    """Write to window (4,) the rows y0, y1 and columns x0, x1 of a (ny, nx) image that hold `least` or more."""
    y0, y1, x0, x1 = later.shape[0], 0, later.shape[1], 0
    for y in range(later.shape[0]):
        for x in range(later.shape[1]):
            if later[y, x] >= least:
                y0, y1 = min(y0, y), max(y1, y + 1)
                x0, x1 = min(x0, x), max(x1, x + 1)
    window[0], window[1], window[2], window[3] = y0, y1, x0, x1


@kernel
def _cured_rows(plane, y0, y1, x0, x1):
    """How many pixels of a window of a layer are cured."""
    count = 0
    for y in range(y0, y1):
        for x in range(x0, x1):
            count += plane[y, x] >= 1.0
    return count


@kernel
def classify_slab(start, stop, dose, below, above, kinds):
    """Write kinds (bx, by) int8 for brick columns start .. stop: 1 cured, 0 not, 2 where a lattice edge crosses.

    dose (8, ny, nx) is the slab, below and above (ny, nx) the layers beside it. Ratios of 1 and more are cured.
    """
    ny, nx = dose.shape[1], dose.shape[2]
    for bx in range(start, stop):
        x0, x1 = max(bx * SIDE - 1, 0), min(bx * SIDE + SIDE + 1, nx)
        for by in range(kinds.shape[1]):
            y0, y1 = max(by * SIDE - 1, 0), min(by * SIDE + SIDE + 1, ny)
            pixels = (y1 - y0) * (x1 - x0)
            first = _cured_rows(below, y0, y1, x0, x1)
            mixed = 0 < first < pixels
            for k in range(SIDE + 1):
                if mixed:
                    break
                mixed = _cured_rows(above if k == SIDE else dose[k], y0, y1, x0, x1) != first
            kinds[bx, by] = 2 if mixed else (1 if first else 0)


@kernel
def gather_bricks(start, stop, dose, places, pool):
    """Copy bricks start .. stop of a slab: places (n, 3) int32, pool (n, 8, 8, 8) float32 as [x, y, z]."""
    for n in range(start, stop):
        for i in range(SIDE):
            for j in range(SIDE):
                for k in range(SIDE):
                    pool[n, i, j, k] = dose[k, SIDE * places[n, 1] + j, SIDE * places[n, 0] + i]


@kernel
def sign_cured(start, stop, pool, bits):
    """Write the signs of bricks start .. stop: a ratio of 1 and more is inside."""
    for row in range(start, stop):
        for i in range(SIDE):
            word = np.int64(0)
            for j in range(SIDE):
                for k in range(SIDE):
                    if pool[row, i, j, k] >= 1.0:
                        word |= np.int64(1) << (8 * j + k)
            bits[row, i] = word


@kernel
def _normal_quantile(share):
    """Where the normal distribution reaches a share, within 4.5e-4 (Abramowitz & Stegun 1964, 26.2.23)."""
    low = min(share, 1.0 - share)
    t = np.sqrt(-2.0 * np.log(max(low, 1e-12)))
    found = t - (2.515517 + 0.802853 * t + 0.010328 * t * t) / (
        1.0 + 1.432788 * t + 0.189269 * t * t + 0.001308 * t * t * t
    )
    return found if share > 0.5 else -found


@kernel
def _across_edge(low, high, deep):
    """Share of the way from one pixel to the next at which the dose is critical; `deep` is the dose inside.

    A straight edge under Gaussian light is a normal distribution, so its quantile runs straight.
    """
    top = max(deep, 1.001 * max(low, high))
    level = _normal_quantile(1.0 / top)
    first, second = _normal_quantile(low / top) - level, _normal_quantile(high / top) - level
    if first == second:
        return 0.5
    return first / (first - second)


@kernel
def _across_box(at, axis, low, high, index, pool, deep):
    """The same where a pixel's box is all that spreads: where the lit length of four pixels in a row ends.

    Exact for a flat wall at any angle whose ramp the four hold; else the dose is taken to run straight.
    """
    dx, dy = (1, 0) if axis == 0 else (0, 1)
    first = value_at(at[0] - dx, at[1] - dy, at[2], index, pool, deep)
    last = value_at(at[0] + 2 * dx, at[1] + 2 * dy, at[2], index, pool, deep)
    lit = (first + low + high + last) / deep
    straight = (1.0 - low) / (high - low)
    if min(first, last) > 0.001 * deep or max(first, last) < 0.999 * deep:
        return straight
    share = lit - 1.5 if first > last else 2.5 - lit
    return min(max(share, 0.0), 1.0)


@kernel
def _column_crossing(x, y, z, leaving, rings, size, line_starts, kept, positions, hits):
    """Where the mesh passes a column between lattice points z and z + 1, in shares of the way; -1 if it doesn't.

    Beside the mesh, where only spread light cures, the columns around are asked, too: rings 3 for all eight.
    """
    for ring in range(rings):
        for dx in range(-1, 2):
            for dy in range(-1, 2):
                if abs(dx) + abs(dy) != ring:
                    continue
                i, j = x + dx, y + dy
                if i < 0 or j < 0 or i >= size[0] or j >= size[1]:
                    continue
                line = i * size[1] + j
                for p in range(line_starts[line], line_starts[line] + kept[line]):
                    if positions[p] >= z + 1:
                        break
                    if positions[p] >= z and (hits[p] < 0) == leaving:
                        return positions[p] - z
    return -1.0


@kernel
def _across_layers(at, low, high, has_depth, size, line_starts, kept, positions, hits):
    """Share of the way from the middle of one layer to the next at which the cured body ends.

    Up-facing faces end with the mesh: no light comes from above them. On undersides the dose falls by the same ratio on
    equal ways, so its logarithm runs straight.
    """
    if low > high or not has_depth:
        rings = 3 if has_depth else 1
        found = _column_crossing(
            at[0], at[1], at[2], low > high, rings, size, line_starts, kept, positions, hits
        )
        if found >= 0:
            return found
    if not has_depth:
        return (1.0 - low) / (high - low)
    first, second = np.log(max(low, FAINT)), np.log(max(high, FAINT))
    return first / (first - second)


@kernel
def place_vertices(
    start, stop, places, index, pool, flags, vertex_starts, deep, as_edge, has_depth, size, line_starts, kept, positions,
    hits, push, lattice, points,
):  # fmt: skip
    """Write the vertices of bricks start .. stop where the dose along their edges is critical.

    `push` is the least share of an edge that a vertex keeps from its lattice points; the columns are those along z of
    the mesh.
    """
    at = np.empty(3, np.int64)
    for b in range(start, stop):
        row = vertex_starts[b]
        for strip in range(SIDE * SIDE):
            i, j = strip >> 3, strip & 7
            for axis in range(3):
                for k in range(SIDE):
                    if not flags[b, axis, strip] >> k & 1:
                        continue
                    lattice_point(places[b], i, j, k, at)
                    low = np.float64(pool[b, i, j, k])
                    high = value_at(
                        at[0] + (axis == 0), at[1] + (axis == 1), at[2] + (axis == 2), index, pool, deep
                    )
                    if axis == 2:
                        share = _across_layers(
                            at, low, high, has_depth, size, line_starts, kept, positions, hits
                        )
                    elif as_edge:
                        share = _across_edge(low, high, deep)
                    else:
                        share = _across_box(at, axis, low, high, index, pool, deep)
                    write_point(row, axis, at, min(max(share, push), 1.0 - push), lattice, points)
                    row += 1
