"""Loops over a surface's connections: one place for each corner, fans around corners, separate bodies."""

import numpy as np

from firstcast.compiling import kernel


@kernel
def weld(bits, table, place_of_corner, corner_of_place):
    """Give equal corners one place, numbered in the order they come.

    bits (n, 3) uint32: the coordinates' bits; table (a power of two > n,) int32 filled with -1.
    Fills place_of_corner (n,) int32 and corner_of_place (n,) int32; returns the number of places.
    """
    mask = np.uint64(table.shape[0] - 1)
    places = 0
    for corner in range(bits.shape[0]):
        x = np.uint64(bits[corner, 0])
        y = np.uint64(bits[corner, 1])
        z = np.uint64(bits[corner, 2])
        mixed = (x * np.uint64(0x9E3779B97F4A7C15)) ^ (y * np.uint64(0xC2B2AE3D27D4EB4F))
        mixed ^= z * np.uint64(0x165667B19E3779F9)
        mixed ^= mixed >> np.uint64(29)
        mixed *= np.uint64(0xBF58476D1CE4E5B9)
        slot = (mixed >> np.uint64(20)) & mask
        while True:
            place = table[slot]
            if place < 0:
                table[slot] = places
                corner_of_place[places] = corner
                place_of_corner[corner] = places
                places += 1
                break
            other = corner_of_place[place]
            if (
                bits[other, 0] == bits[corner, 0]
                and bits[other, 1] == bits[corner, 1]
                and bits[other, 2] == bits[corner, 2]
            ):
                place_of_corner[corner] = place
                break
            slot = (slot + np.uint64(1)) & mask
    return places


@kernel
def bodies(twins, label):
    """Number the separate bodies that triangles form across paired edges; returns their count.

    twins (3 m,) int32: the half-edge across, or -1; half-edge 3 t + k leaves corner k of triangle t.
    label (m,) int32 filled with -1.
    """
    count = label.shape[0]
    stack = np.empty(count, dtype=np.int32)
    found = 0
    for seed in range(count):
        if label[seed] >= 0:
            continue
        label[seed] = found
        stack[0] = seed
        top = 1
        while top > 0:
            top -= 1
            t = stack[top]
            for k in range(3):
                across = twins[3 * t + k]
                if across >= 0 and label[across // 3] < 0:
                    label[across // 3] = found
                    stack[top] = across // 3
                    top += 1
        found += 1
    return found


@kernel
def fans(triangles, twins, fan_count):
    """Count the separate fans of triangles around each place; fills fan_count (n,) int32.

    An open fan counts once for each of its runs between half-edges without a twin.
    """
    half_edges = twins.shape[0]
    seen = np.zeros(half_edges, dtype=np.bool_)
    for begin in range(half_edges):
        if seen[begin]:
            continue
        place = triangles[begin // 3, begin % 3]
        fan_count[place] += 1
        edge = begin
        while edge >= 0 and not seen[edge]:
            seen[edge] = True
            before = edge - 1 if edge % 3 else edge + 2
            edge = twins[before]
