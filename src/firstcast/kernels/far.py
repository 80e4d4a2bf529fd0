"""Loops of the far field: the exact band, distances carried outward, signs by columns, reading."""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.tree import nearest_on_triangle


@kernel
def mark_band(start, stop, corners, origin, pitch, reach, mask):
    """Set mask (x, y, z) uint8 at lattice points within `reach` of triangles start .. stop, and a few more.

    A point is marked if it lies in a triangle's box grown by `reach` and as near to its plane. Several
    blocks may set the same entry: they write the same.
    """
    low = np.empty(3, np.int64)
    high = np.empty(3, np.int64)
    for t in range(start, stop):
        a, b, c = corners[t, 0], corners[t, 1], corners[t, 2]
        for k in range(3):
            least = min(a[k], b[k], c[k]) - reach - origin[k]
            most = max(a[k], b[k], c[k]) + reach - origin[k]
            low[k] = max(0, np.int64(np.ceil(least / pitch[k])))
            high[k] = min(mask.shape[k] - 1, np.int64(np.floor(most / pitch[k])))
        nx = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
        ny = (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2])
        nz = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        # grown by a millionth: rounding must not hide a point
        limit = 1.000001 * reach * np.sqrt(nx * nx + ny * ny + nz * nz) + 1e-30
        for i in range(low[0], high[0] + 1):
            x = (origin[0] + i * pitch[0] - a[0]) * nx
            for j in range(low[1], high[1] + 1):
                y = (origin[1] + j * pitch[1] - a[1]) * ny
                for k in range(low[2], high[2] + 1):
                    z = (origin[2] + k * pitch[2] - a[2]) * nz
                    if abs(x + y + z) <= limit:
                        mask[i, j, k] = 1


DOMINANT = 0.3
"""Share of a step by which the point straight behind must be nearer for its layer to be looked at. The way to
the nearest place makes at most 54.7 degrees with some axis, so a step back along it gains at least 0.577 of a
step in the limit of far places, and 0.41 at a distance of two steps."""


@kernel
def _take_from_layer(i, j, k, axis, step, origin, pitch, corners, state, nearest, worth, place, found):
    """Take for lattice point (i, j, k) the triangle of one of its nine neighbours in the layer before.

    Of these the one whose nearest place lies nearest to the point is tried: its triangle is measured exactly.
    """
    best = state[i, j, k, 3]
    x = np.float32(i * pitch[0])
    y = np.float32(j * pitch[1])
    z = np.float32(k * pitch[2])
    nx, ny, nz = nearest.shape
    promise = np.float32(np.inf)
    a_chosen, b_chosen, c_chosen = -1, -1, -1
    for m in range(-1, 2):
        for n in range(-1, 2):
            if axis == 0:
                a, b, c = i + step, j + m, k + n
            elif axis == 1:
                a, b, c = i + m, j + step, k + n
            else:
                a, b, c = i + m, j + n, k + step
            if a < 0 or b < 0 or c < 0 or a >= nx or b >= ny or c >= nz:
                continue
            if state[a, b, c, 3] >= best:
                continue
            dx = x - state[a, b, c, 0]
            dy = y - state[a, b, c, 1]
            dz = z - state[a, b, c, 2]
            away2 = dx * dx + dy * dy + dz * dz
            if away2 < promise:
                promise = away2
                a_chosen, b_chosen, c_chosen = a, b, c
    # a promise well above what is known will not be kept; the same triangle can gain nothing
    if a_chosen < 0 or np.sqrt(promise) > best + worth:
        return
    chosen = nearest[a_chosen, b_chosen, c_chosen]
    if chosen == nearest[i, j, k]:
        return
    place[0] = origin[0] + i * pitch[0]
    place[1] = origin[1] + j * pitch[1]
    place[2] = origin[2] + k * pitch[2]
    away = np.float32(np.sqrt(nearest_on_triangle(place, corners[chosen], found)))
    if away < best:
        nearest[i, j, k] = chosen
        for axis in range(3):
            state[i, j, k, axis] = found[axis] - origin[axis]
        state[i, j, k, 3] = away


@kernel
def carry_layer(start, stop, axis, step, at, origin, pitch, corners, exact, state, nearest, worth):
    """Carry nearest triangles into rows start .. stop of layer `at` from the layer at `at` + `step`.

    A layer's points depend on the layer before alone, not on one another. Changes in place, but not where
    `exact`: `state` (x, y, z, 4) float32, the nearest place about the origin and its distance; `nearest`
    (x, y, z) int32, the row of its triangle. A triangle is measured if its neighbour's nearest place promises
    to be at most `worth` farther than what is known.
    """
    place, found = np.empty(3), np.empty(3)
    across = nearest.shape[1] if axis == 2 else nearest.shape[2]
    behind = np.float32(DOMINANT * pitch[axis])
    for p in range(start, stop):
        for q in range(across):
            if axis == 0:
                i, j, k = at, p, q
                before = state[i + step, j, k, 3]
            elif axis == 1:
                i, j, k = p, at, q
                before = state[i, j + step, k, 3]
            else:
                i, j, k = p, q, at
                before = state[i, j, k + step, 3]
            if before + behind < state[i, j, k, 3] and not exact[i, j, k]:
                _take_from_layer(
                    i, j, k, axis, step, origin, pitch, corners, state, nearest, worth, place, found
                )


@kernel
def sign_columns(start, stop, first_line, lines_across, starts, kept, positions, hits, values):
    """Make layers start .. stop of `values` (x, y, z) float32 negative where the column along z is inside (`fields.union.Columns`)."""
    for i in range(start, stop):
        for j in range(values.shape[1]):
            line = first_line + i * lines_across + j
            row, end = starts[line], starts[line] + kept[line]
            inside = False
            for k in range(values.shape[2]):
                while row < end and positions[row] < k:
                    inside = hits[row] >= 0
                    row += 1
                if inside:
                    values[i, j, k] = -values[i, j, k]


@kernel
def read_far(start, stop, places, origin, pitch, values, out, slope):
    """Fill `out` (n,) and `slope` (n, 3) with the trilinear value and its gradient at places start .. stop.

    Outside the lattice the value is that of the nearest lattice place plus the way there, and the
    gradient points back along that way.
    """
    share = np.empty(3)
    cell = np.empty(3, np.int64)
    beyond = np.empty(3)
    for q in range(start, stop):
        away2 = 0.0
        for k in range(3):
            last = values.shape[k] - 1
            at = (places[q, k] - origin[k]) / pitch[k]
            held = min(max(at, 0.0), np.float64(last))
            cell[k] = min(np.int64(held), last - 1)
            share[k] = held - cell[k]
            beyond[k] = (at - held) * pitch[k]
            away2 += beyond[k] * beyond[k]
        total = 0.0
        for k in range(3):
            slope[q, k] = 0.0
        for corner in range(8):
            i, j, k = corner & 1, corner >> 1 & 1, corner >> 2
            wx = share[0] if i else 1.0 - share[0]
            wy = share[1] if j else 1.0 - share[1]
            wz = share[2] if k else 1.0 - share[2]
            value = np.float64(values[cell[0] + i, cell[1] + j, cell[2] + k])
            total += wx * wy * wz * value
            slope[q, 0] += (value if i else -value) * wy * wz / pitch[0]
            slope[q, 1] += (value if j else -value) * wx * wz / pitch[1]
            slope[q, 2] += (value if k else -value) * wx * wy / pitch[2]
        if away2 > 0.0:
            away = np.sqrt(away2)
            total += away
            for k in range(3):
                slope[q, k] = beyond[k] / away
        out[q] = total
