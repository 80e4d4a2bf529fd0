"""Finding places for shadows on a platform: one after the other, or all together by lessening overlaps.

Everything is in whole cells. A pose is a shadow in one of its quarter turns; a place is the column and row of its
middle. The map of a standing and a moving pose says how deep an offset lies inside what is forbidden (see
`firstcast.printing.nesting_maps`). Adding the maps of all that stands gives what every place of one more costs.

Random numbers come from a generator of our own (xorshift64*, Marsaglia 2003, Vigna 2016), one state a search, so that the
outcome depends on the seed alone.
"""

from typing import NamedTuple

import numpy as np

from firstcast.kernels.compiling import kernel

ABSENT = -1

HEAVIER, HEAVIEST, LIGHTER = 1.2, 2.0, 0.95
"""How much the weight of an overlapping pair grows, least and most, and how it falls back once they are apart."""


class Plate(NamedTuple):
    """The platform and the maps of everything that may stand on it."""

    size: np.ndarray  # (2,) int64, columns and rows
    windows: np.ndarray  # (poses, 4) int32, first column and row, columns and rows, from the middle
    tables: np.ndarray  # (poses, poses, 5) int64, start, rows, columns, column and row of the first offset
    depths: np.ndarray  # (d,) float32
    turns: np.ndarray  # (t,) int64, quarter turns allowed


@kernel
def _next(state):
    """The next random number of 64 bits; `state` (1,) uint64 is not zero."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return x * np.uint64(0x2545F4914F6CDD1D)


@kernel
def _below(state, count):
    """A random whole number below `count`."""
    return np.int64((_next(state) >> np.uint64(33)) % np.uint64(count))


@kernel
def _range(plate, pose):
    """First column and row of the places where a pose lies on the platform, and how many columns and rows of them."""
    window = plate.windows[pose]
    x, y = -np.int64(window[0]), -np.int64(window[1])
    return x, y, plate.size[0] - np.int64(window[2]) + 1, plate.size[1] - np.int64(window[3]) + 1


@kernel
def depth_at(plate, standing, moving, dx, dy):
    """How deep an offset of two poses lies inside what is forbidden; 0 if they may stand so."""
    table = plate.tables[standing, moving]
    column, row = dx - table[3], dy - table[4]
    if column < 0 or row < 0 or row >= table[1] or column >= table[2]:
        return np.float32(0.0)
    return plate.depths[table[0] + row * table[2] + column]


@kernel
def _add_map(plate, standing, x, y, moving, weight, cost):
    """Add the weighted depths that a standing pose at x, y gives every place of a moving one; the first is _range's."""
    table = plate.tables[standing, moving]
    x0, y0, columns, rows = _range(plate, moving)
    left, low = x + table[3] - x0, y + table[4] - y0
    c0, c1 = max(left, 0), min(left + table[2], columns)
    r0, r1 = max(low, 0), min(low + table[1], rows)
    if c1 <= c0:
        return
    for r in range(r0, r1):
        start = table[0] + (r - low) * table[2] - left
        line = cost[r * columns : r * columns + columns]
        depths = plate.depths[start + c0 : start + c1]
        for c in range(c1 - c0):
            line[c0 + c] += weight * depths[c]


@kernel
def _place_next(plate, shadow, poses, places, count, along, cost):
    """The free pose and place that ends lowest along an axis, then lies lowest across it; ABSENT if there is none."""
    best, found = np.int64(1) << 60, np.array([ABSENT, 0, 0])
    for turn in plate.turns:
        pose = 4 * shadow + turn
        x0, y0, columns, rows = _range(plate, pose)
        if columns <= 0 or rows <= 0:
            continue
        cost[: rows * columns] = np.float32(0.0)
        for j in range(count):
            if poses[j] != ABSENT:
                _add_map(plate, poses[j], places[j, 0], places[j, 1], pose, np.float32(1.0), cost)
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
    kinds = plate.windows.shape[0] // 4
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


@kernel
def _overlap(plate, poses, places, i, j):
    return depth_at(plate, poses[i], poses[j], places[j, 0] - places[i, 0], places[j, 1] - places[i, 1])


@kernel
def _overlap_of(plate, poses, places, i):
    total = 0.0
    for j in range(poses.shape[0]):
        if j != i:
            total += _overlap(plate, poses, places, i, j)
    return total


@kernel
def _move(plate, shadow, poses, places, i, weights, cost, state):
    """Put item i where it costs least, one of the free places at random if there are any."""
    best, alike = np.float32(np.inf), 0
    found = np.array([poses[i], places[i, 0], places[i, 1]])
    for turn in plate.turns:
        pose = 4 * shadow + turn
        x0, y0, columns, rows = _range(plate, pose)
        if columns <= 0 or rows <= 0:
            continue
        cost[: rows * columns] = np.float32(0.0)
        for j in range(poses.shape[0]):
            if j != i:
                _add_map(plate, poses[j], places[j, 0], places[j, 1], pose, weights[i, j], cost)
        line = cost[: rows * columns]
        least = line.min()
        if least > best:
            continue
        if least < best:
            best, alike = least, 0
        for n in range(rows * columns):
            if line[n] == least:
                alike += 1
                if _below(state, alike) == 0:
                    found[0], found[1], found[2] = pose, x0 + n % columns, y0 + n // columns
    poses[i] = found[0]
    places[i, 0], places[i, 1] = found[1], found[2]


@kernel
def _reweigh(plate, poses, places, weights):
    """Make overlapping pairs heavier, the deepest most, and let the others fall back; returns the sum of depths."""
    count = poses.shape[0]
    deepest, total = np.float32(0.0), 0.0
    for i in range(count):
        for j in range(i):
            depth = _overlap(plate, poses, places, i, j)
            deepest = max(deepest, depth)
            total += depth
    for i in range(count):
        for j in range(i):
            depth = _overlap(plate, poses, places, i, j)
            if depth > 0.0:
                grow = HEAVIER + (HEAVIEST - HEAVIER) * depth / deepest
                weights[i, j] = np.float32(weights[i, j] * grow)
            else:
                weights[i, j] = np.float32(max(weights[i, j] * LIGHTER, 1.0))
            weights[j, i] = weights[i, j]
    return total


@kernel
def _shuffle(order, count, state):
    for n in range(count - 1, 0, -1):
        m = _below(state, n + 1)
        order[n], order[m] = order[m], order[n]


@kernel
def _settle(plate, shadows, poses, places, sweeps, state, cost):
    """Move what overlaps, again and again, until nothing does: the sweeps that it took, or ABSENT."""
    count = shadows.shape[0]
    weights, order = np.ones((count, count), np.float32), np.empty(count, np.int64)
    for sweep in range(sweeps):
        crowded = 0
        for i in range(count):
            if _overlap_of(plate, poses, places, i) > 0.0:
                order[crowded] = i
                crowded += 1
        if crowded == 0:
            return sweep
        _shuffle(order, crowded, state)
        for n in range(crowded):
            i = order[n]
            if _overlap_of(plate, poses, places, i) > 0.0:
                _move(plate, shadows[i], poses, places, i, weights, cost, state)
        if _reweigh(plate, poses, places, weights) == 0.0:
            return sweep + 1
    return ABSENT


@kernel
def settle(start, stop, plate, shadows, poses, places, seeds, sweeps, took):
    """For searches start .. stop, place items (n,) all together, from poses (searches, n) and places on.

    Overlaps are lessened by moving one item at a time to where its depths, weighted, add up to least; pairs that stay
    overlapped get heavier (guided local search, Voudouris and Tsang 1999; for rasters Umetani and Murakami 2022).
    An item whose pose is ABSENT is put down anywhere first. Writes took (searches,) int64: ABSENT if they stay overlapped.
    """
    cost = np.empty(plate.size[0] * plate.size[1], np.float32)
    for s in range(start, stop):
        state = np.array([seeds[s]], np.uint64)
        fits = True
        for i in range(shadows.shape[0]):
            if poses[s, i] == ABSENT:
                fits = fits and _drop(plate, shadows[i], poses[s], places[s], i, state)
        took[s] = _settle(plate, shadows, poses[s], places[s], sweeps, state, cost) if fits else ABSENT


@kernel
def _drop(plate, shadow, poses, places, i, state):
    """Put item i anywhere on the platform, in a turn in which it fits; False if there is none."""
    first = _below(state, plate.turns.shape[0])
    for n in range(plate.turns.shape[0]):
        pose = 4 * shadow + plate.turns[(first + n) % plate.turns.shape[0]]
        x0, y0, columns, rows = _range(plate, pose)
        if columns > 0 and rows > 0:
            poses[i] = pose
            places[i, 0], places[i, 1] = x0 + _below(state, columns), y0 + _below(state, rows)
            return True
    return False
