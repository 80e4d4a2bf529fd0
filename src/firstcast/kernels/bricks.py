"""The table of bricks and the signs in it: one bit per voxel, a brick's signs in eight words.

Word i of a brick holds its voxels (i, j, k) at bit 8 j + k; a set bit is inside. `index` names per brick
a row of the pool, or says that the brick is wholly outside or wholly inside.
"""

import numpy as np

from firstcast.kernels.compiling import kernel

SIDE = 8
"""Voxels along a side of a brick."""

OUTSIDE, INSIDE = -1, -2
"""Entries of the table of bricks that name no row of the pool."""

BIT_COUNT = np.array([bin(byte).count("1") for byte in range(1024)], dtype=np.int32)
"""How many bits are set in a number of ten bits."""


@kernel
def row_at(index, i, j, k):
    """Row of the pool of brick (i, j, k); OUTSIDE beyond the table."""
    if i < 0 or j < 0 or k < 0 or i >= index.shape[0] or j >= index.shape[1] or k >= index.shape[2]:
        return OUTSIDE
    return index[i, j, k]


@kernel
def value_at(x, y, z, index, pool, inside):
    """The pool's value at a lattice point; nothing, or `inside`, in absent bricks."""
    row = row_at(index, x >> 3, y >> 3, z >> 3)
    if row < 0:
        return inside if row == INSIDE else 0.0
    return np.float64(pool[row, x & 7, y & 7, z & 7])


@kernel
def lattice_point(place, i, j, k, at):
    """Write to `at` (3,) the lattice point of voxel (i, j, k) of the brick at `place`."""
    at[0], at[1], at[2] = place[0] * SIDE + i, place[1] * SIDE + j, place[2] * SIDE + k


@kernel
def neighbours(place, index, rows):
    """Fill `rows` (3, 3, 3) with the rows of the brick at `place` and its 26 neighbours."""
    for di in range(3):
        for dj in range(3):
            for dk in range(3):
                rows[di, dj, dk] = row_at(index, place[0] + di - 1, place[1] + dj - 1, place[2] + dk - 1)


@kernel
def strip_at(row, i, j, bits):
    """The eight signs (i, j, 0..7) of a brick, or of an absent one, as eight bits."""
    if row >= 0:
        return (bits[row, i] >> (8 * j)) & 255
    return 255 if row == INSIDE else 0


@kernel
def gather_strips(rows, bits, strips):
    """Fill `strips` (10, 10): the signs of a brick and one voxel around it.

    Bit k + 1 of strips[i + 1, j + 1] is the sign of voxel (i, j, k), for i, j, k from -1 to 8.
    """
    for i in range(-1, SIDE + 1):
        for j in range(-1, SIDE + 1):
            di, dj = (i >> 3) + 1, (j >> 3) + 1
            low = strip_at(rows[di, dj, 0], i & 7, j & 7, bits) >> 7
            middle = strip_at(rows[di, dj, 1], i & 7, j & 7, bits)
            high = strip_at(rows[di, dj, 2], i & 7, j & 7, bits) & 1
            strips[i + 1, j + 1] = low | middle << 1 | high << 9


@kernel
def crossed_cells(strips, i, j):
    """Which cells (i, j, k) have corners on both sides: bit k + 1 for k from -1 to 7."""
    a, b = strips[i + 1, j + 1], strips[i + 2, j + 1]
    c, d = strips[i + 1, j + 2], strips[i + 2, j + 2]
    some, every = a | b | c | d, a & b & c & d
    return (some | some >> 1) & ~(every & every >> 1) & 511


@kernel
def pattern_at(strips, i, j, k):
    """The pattern of inside corners of cell (i, j, k): bit c for corner (c & 1, c >> 1 & 1, c >> 2)."""
    a, b = strips[i + 1, j + 1] >> (k + 1), strips[i + 2, j + 1] >> (k + 1)
    c, d = strips[i + 1, j + 2] >> (k + 1), strips[i + 2, j + 2] >> (k + 1)
    low = (a & 1) | (b & 1) << 1 | (c & 1) << 2 | (d & 1) << 3
    return low | (a & 2) << 3 | (b & 2) << 4 | (c & 2) << 5 | (d & 2) << 6


@kernel
def signs_of_pool(start, stop, pool, bits):
    """Write the signs of rows start .. stop of the pool; zero counts as outside."""
    for row in range(start, stop):
        for i in range(SIDE):
            word = np.int64(0)
            for j in range(SIDE):
                for k in range(SIDE):
                    if pool[row, i, j, k] < 0:
                        word |= np.int64(1) << (8 * j + k)
            bits[row, i] = word
