"""Finding places for shadows on a platform, one after the other.

Everything is in whole cells. A pose is a shadow in one of its turns; a place is the column and row of its
middle. The map of a standing and a moving pose says how deep an offset lies inside what is forbidden (see
`firstcast.printing.nesting_maps`). Adding the maps of all that stands gives what every place of one more costs.
"""

from typing import NamedTuple

import numpy as np

from firstcast.kernels.compiling import kernel

ABSENT = -1


class Plate(NamedTuple):
    """The platform and the maps of everything that may stand on it."""

    size: np.ndarray  # (2,) int64, columns and rows
    windows: np.ndarray  # (poses, 4) int32, first column and row, columns and rows, from the middle
    tables: np.ndarray  # (poses, poses, 7) int64, see firstcast.printing.nesting_maps.Maps
    depths: np.ndarray  # (d,) uint16
    turns: np.ndarray  # (t,) int64, turns allowed
    around: int  # turns in a full circle, allowed or not


@kernel
def places_of(plate, pose):
    """First column and row of the places where a pose lies on the platform, and how many columns and rows of them."""
    window = plate.windows[pose]
    x, y = -np.int64(window[0]), -np.int64(window[1])
    return x, y, plate.size[0] - np.int64(window[2]) + 1, plate.size[1] - np.int64(window[3]) + 1


@kernel
def depth_at(plate, standing, moving, dx, dy):
    """How deep an offset of two poses lies inside what is forbidden, float32; 0 if they may stand so."""
    table = plate.tables[standing, moving]
    column, row = dx - table[3], dy - table[4]
    if column < 0 or row < 0 or row >= table[1] or column >= table[2]:
        return np.float32(0.0)
    return np.float32(plate.depths[table[0] + row * table[5] + column * table[6]])


@kernel
def add_map(plate, standing, x, y, moving, weight, cost):
    """Add the weighted depths that a standing pose at x, y gives every place of a moving one; the first is that of `places_of`."""
    table = plate.tables[standing, moving]
    x0, y0, columns, rows = places_of(plate, moving)
    left, low = x + table[3] - x0, y + table[4] - y0
    c0, c1 = max(left, 0), min(left + table[2], columns)
    r0, r1 = max(low, 0), min(low + table[1], rows)
    if c1 <= c0:
        return
    count = c1 - c0
    for r in range(r0, r1):
        start = table[0] + (r - low) * table[5] + (c0 - left) * table[6]
        line = cost[r * columns + c0 : r * columns + c1]
        if table[6] > 0:
            depths = plate.depths[start : start + count]
            for c in range(count):
                line[c] += weight * np.float32(depths[c])
        else:
            depths = plate.depths[start - count + 1 : start + 1]
            for c in range(count):
                line[c] += weight * np.float32(depths[count - 1 - c])


@kernel
def _place_next(plate, shadow, poses, places, count, along, cost):
    """The free pose and place that ends lowest along an axis, then lies lowest across it; ABSENT if there is none."""
    best, found = np.int64(1) << 60, np.array([ABSENT, 0, 0])
    for turn in plate.turns:
        pose = plate.around * shadow + turn
        x0, y0, columns, rows = places_of(plate, pose)
        if columns <= 0 or rows <= 0:
            continue
        cost[: rows * columns] = np.float32(0.0)
        for j in range(count):
            if poses[j] != ABSENT:
                add_map(plate, poses[j], places[j, 0], places[j, 1], pose, np.float32(1.0), cost)
        extent = np.int64(plate.windows[pose, 2 + along])
        for r in range(rows):
            for c in range(columns):
                if cost[r * columns + c] == 0.0:
                    score = ((c + extent) << 24) + r if along == 0 else ((r + extent) << 24) + c
                    if score < best:
                        best = score
                        found[0], found[1], found[2] = pose, x0 + c, y0 + r
                    if along == 1:
                        break  # the rest of the row ends as low, and lies further across
    return found


@kernel
def place_in_order(start, stop, plate, shadows, orders, alongs, poses, places):
    """For searches start .. stop, place the shadows (n,) one by one in the order given, each as low as it goes.

    Writes poses (searches, n) int64, ABSENT where there was no room, and places (searches, n, 2) int64, per item.
    """
    count = shadows.shape[0]
    cost = np.empty(plate.size[0] * plate.size[1], np.float32)
    kinds = plate.windows.shape[0] // plate.around
    for s in range(start, stop):
        full = np.zeros(kinds, np.bool_)
        done_poses, done_places = np.empty(count, np.int64), np.empty((count, 2), np.int64)
        for n in range(count):
            item = orders[s, n]
            shadow = shadows[item]
            done_poses[n] = ABSENT
            if not full[shadow]:
                found = _place_next(plate, shadow, done_poses, done_places, n, alongs[s], cost)
                done_poses[n] = found[0]
                done_places[n, 0], done_places[n, 1] = found[1], found[2]
                # the platform only gets fuller, so there will be no room for another of them
                full[shadow] = found[0] == ABSENT
            poses[s, item] = done_poses[n]
            places[s, item] = done_places[n]
