"""Flooding connected space of one sign through bricks, a brick's voxels at a time by their bits.

Voxels are connected through their six faces. That is exact for outside space (the contour parts what
meets in diagonals only); inside space that hangs together by diagonals is flooded from all of its surface.
"""

import numpy as np

from firstcast.kernels.bricks import INSIDE, OUTSIDE, SIDE
from firstcast.kernels.compiling import kernel

LOW_COLUMN = np.int64(0x0101010101010101)
"""Bits k = 0 of a word's eight strips."""

HIGH_COLUMN = np.int64(-0x7F7F7F7F7F7F7F80)
"""Bits k = 7 of a word's eight strips, as a signed number."""

NOT_TOP_BIT = np.int64(0x7FFFFFFFFFFFFFFF)
NOT_TOP_STRIP = np.int64(0x00FFFFFFFFFFFFFF)
"""What is left of a word after a shift to the right by one or by eight, without copies of the sign."""


@kernel
def mark_ends(bits, index, places, flags, vertex_starts, chosen, inside, marks):
    """Set, in marks (n, 8) int64, the inside (or outside) lattice point beside every chosen vertex."""
    for b in range(places.shape[0]):
        row = vertex_starts[b]
        for strip in range(SIDE * SIDE):
            i, j = strip >> 3, strip & 7
            for axis in range(3):
                for k in range(SIDE):
                    if not flags[b, axis, strip] >> k & 1:
                        continue
                    row += 1
                    if not chosen[row - 1]:
                        continue
                    x, y, z, brick = i, j, k, np.int64(b)
                    if (bits[b, i] >> (8 * j + k) & 1) != inside:
                        x, y, z = i + (axis == 0), j + (axis == 1), k + (axis == 2)
                        brick = index[
                            places[b, 0] + (x >> 3), places[b, 1] + (y >> 3), places[b, 2] + (z >> 3)
                        ]
                    if brick >= 0:
                        marks[brick, x & 7] |= np.int64(1) << (8 * (y & 7) + (z & 7))


@kernel
def _fill_brick(open_bits, words):
    """Flood a brick's marked voxels through its open ones; both are (8,) int64."""
    changed = True
    while changed:
        changed = False
        for turn in range(2 * SIDE):
            i = turn if turn < SIDE else 2 * SIDE - 1 - turn
            before = words[i]
            word = before
            if i > 0:
                word |= words[i - 1]
            if i < SIDE - 1:
                word |= words[i + 1]
            word &= open_bits[i]
            spread = np.int64(0)
            while spread != word:
                spread = word
                along_k = (word & ~HIGH_COLUMN) << 1 | ((word & ~LOW_COLUMN) >> 1 & NOT_TOP_BIT)
                along_j = word << 8 | (word >> 8 & NOT_TOP_STRIP)
                word |= (along_k | along_j) & open_bits[i]
            if word != before:
                words[i] = word
                changed = True


@kernel
def flood(index, places, bits, inside, marks, whole):
    """Flood from the marks through all connected voxels of one sign.

    marks (n, 8) int64 grows to all that is reached; whole (bx, by, bz) uint8 is set for absent bricks
    that are reached.
    """
    shape = index.shape
    count = index.size
    queue, waiting = np.empty(count, np.int64), np.zeros(count, np.uint8)
    head, length = 0, 0
    absent = INSIDE if inside else OUTSIDE
    for b in range(places.shape[0]):
        for i in range(SIDE):
            if marks[b, i] != 0:
                at = (places[b, 0] * shape[1] + places[b, 1]) * shape[2] + places[b, 2]
                if not waiting[at]:
                    waiting[at] = 1
                    queue[(head + length) % count] = at
                    length += 1
    open_bits, words = np.empty(SIDE, np.int64), np.empty(SIDE, np.int64)
    enter = np.empty(SIDE, np.int64)
    place = np.empty(3, np.int64)
    while length > 0:
        at = queue[head]
        head, length = (head + 1) % count, length - 1
        waiting[at] = 0
        place[0], place[1], place[2] = at // (shape[1] * shape[2]), at // shape[2] % shape[1], at % shape[2]
        row = index[place[0], place[1], place[2]]
        if row >= 0:
            for i in range(SIDE):
                open_bits[i] = bits[row, i] if inside else ~bits[row, i]
                words[i] = marks[row, i] & open_bits[i]
            _fill_brick(open_bits, words)
            marks[row] = words
        else:
            words[:] = -1
        for axis in range(3):
            for step in (-1, 1):
                near = place[axis] + step
                if near < 0 or near >= shape[axis]:
                    continue
                place[axis] = near
                other = index[place[0], place[1], place[2]]
                fresh = _enter(axis, step, words, other, bits, inside, absent, place, whole, marks, enter)
                if fresh:
                    to = (place[0] * shape[1] + place[1]) * shape[2] + place[2]
                    if not waiting[to]:
                        waiting[to] = 1
                        queue[(head + length) % count] = to
                        length += 1
                place[axis] = near - step


@kernel
def _enter(axis, step, words, other, bits, inside, absent, place, whole, marks, enter):
    """Carry the marks on a brick's side over to its neighbour; whether any is new there."""
    for i in range(SIDE):
        enter[i] = 0
    some = False
    for i in range(SIDE):
        if axis == 0:
            if i == (SIDE - 1 if step > 0 else 0):
                enter[SIDE - 1 - i] = words[i]
                some = some or words[i] != 0
            continue
        if axis == 1:
            moved = words[i] >> 56 & 255 if step > 0 else (words[i] & 255) << 56
        else:
            moved = words[i] >> 7 & LOW_COLUMN if step > 0 else (words[i] & LOW_COLUMN) << 7
        enter[i] = moved
        some = some or moved != 0
    if not some:
        return False
    if other < 0:
        if other != absent or whole[place[0], place[1], place[2]]:
            return False
        whole[place[0], place[1], place[2]] = 1
        return True
    fresh = False
    for i in range(SIDE):
        new = enter[i] & (bits[other, i] if inside else ~bits[other, i]) & ~marks[other, i]
        if new != 0:
            marks[other, i] |= new
            fresh = True
    return fresh
