"""Finding places for shadows on a platform, all together: by moving what overlaps until nothing does.

Overlaps are lessened by moving one item at a time to where its depths, weighted, add up to least; pairs that stay
overlapped get heavier (guided local search, Voudouris and Tsang 1999; for rasters Umetani and Murakami 2022). Poses, places
and maps are those of `firstcast.kernels.nesting`.
"""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.draws import below, shuffle
from firstcast.kernels.nesting import ABSENT, add_map, depth_at, places_of

HEAVIER, HEAVIEST, LIGHTER = 1.2, 2.0, 0.95
"""How much the weight of an overlapping pair grows, least and most, and how it falls back once they are apart."""

TURNS_TRIED = 8
"""Of more turns, so many are tried for each move: the one that the piece has, the others drawn at random."""


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
    own, turns = poses[i] - plate.around * shadow, plate.turns.shape[0]
    for n in range(min(turns, TURNS_TRIED)):
        turn = plate.turns[n]
        if turns > TURNS_TRIED:
            turn = own if n == 0 else plate.turns[below(state, turns)]
        pose = plate.around * shadow + turn
        x0, y0, columns, rows = places_of(plate, pose)
        if columns <= 0 or rows <= 0:
            continue
        cost[: rows * columns] = np.float32(0.0)
        for j in range(poses.shape[0]):
            if j != i:
                add_map(plate, poses[j], places[j, 0], places[j, 1], pose, weights[i, j], cost)
        line = cost[: rows * columns]
        least = line.min()
        if least > best:
            continue
        if least < best:
            best, alike = least, 0
        for at in range(rows * columns):
            if line[at] == least:
                alike += 1
                if below(state, alike) == 0:
                    found[0], found[1], found[2] = pose, x0 + at % columns, y0 + at // columns
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
def _drop(plate, shadow, poses, places, i, state):
    """Put item i anywhere on the platform, in a turn in which it fits; False if there is none."""
    first = below(state, plate.turns.shape[0])
    for n in range(plate.turns.shape[0]):
        pose = plate.around * shadow + plate.turns[(first + n) % plate.turns.shape[0]]
        x0, y0, columns, rows = places_of(plate, pose)
        if columns > 0 and rows > 0:
            poses[i] = pose
            places[i, 0], places[i, 1] = x0 + below(state, columns), y0 + below(state, rows)
            return True
    return False


@kernel
def _sweep(plate, shadows, poses, places, weights, order, state, cost):
    """Move every item that overlaps once, in random order."""
    crowded = 0
    for i in range(shadows.shape[0]):
        if _overlap_of(plate, poses, places, i) > 0.0:
            order[crowded] = i
            crowded += 1
    shuffle(order, crowded, state)
    for n in range(crowded):
        i = order[n]
        if _overlap_of(plate, poses, places, i) > 0.0:
            _move(plate, shadows[i], poses, places, i, weights, cost, state)


@kernel
def _settle(plate, shadows, poses, places, sweeps, state, cost):
    """Sweep until nothing overlaps: the sweeps that it took, or ABSENT."""
    count = shadows.shape[0]
    weights, order = np.ones((count, count), np.float32), np.empty(count, np.int64)
    for sweep in range(sweeps):
        _sweep(plate, shadows, poses, places, weights, order, state, cost)
        if _reweigh(plate, poses, places, weights) == 0.0:
            return sweep + 1
    return ABSENT


@kernel
def settle(start, stop, plate, shadows, poses, places, seeds, sweeps, took):
    """For searches start .. stop, place items (n,) all together, from poses (searches, n) and places on.

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
