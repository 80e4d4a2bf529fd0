"""Which mould voxels can leave along a pull, and how deep the locked ones lie."""

import numpy as np

from firstcast.kernels.compiling import kernel

BODY, UP, DOWN, LOCKED = 1, 2, 4, 8
"""Bits of a voxel's state: in the body; free to leave along the pull; against it; neither."""


@kernel
def mark_lines(start, stop, across, starts, kept, positions, hits, states, lengths):
    """Write states (nx, ny, nz) uint8 of layers start .. stop from the crossings of lines along z.

    lengths (nx,) float64: what the layer's lines hold of locked mould material, in pitches, exactly.
    """
    for i in range(start, stop):
        lengths[i] = 0.0
        for j in range(states.shape[1]):
            line = i * across + j
            row, end = starts[line], starts[line] + kept[line]
            if row == end:
                states[i, j, :] = UP | DOWN
                continue
            for p in range(row + 1, end):
                if hits[p] >= 0:
                    lengths[i] += positions[p] - positions[p - 1]
            p, state = row, DOWN
            for k in range(states.shape[2]):
                while p < end and positions[p] < k:
                    state = BODY if hits[p] >= 0 else (UP if p == end - 1 else LOCKED)
                    p += 1
                states[i, j, k] = state


@kernel
def deepen(inside, depth, owner):
    """Carry depth (nx, ny, nz) float32 into `inside` (uint8) by steps to the 26 neighbours, until nothing is shorter.

    depth holds how far the way has come where ways begin and a large number elsewhere, in voxels; owner (nx, ny, nz) int32
    is carried along. Ways by such steps are up to 10 % too long.
    """
    nx, ny, nz = inside.shape
    changed = True
    forward = True
    while changed:
        changed = False
        for _ in range(2):
            for m in range(nx):
                i = m if forward else nx - 1 - m
                for n in range(ny):
                    j = n if forward else ny - 1 - n
                    for o in range(nz):
                        k = o if forward else nz - 1 - o
                        if inside[i, j, k] == 0:
                            continue
                        best, whose = depth[i, j, k], owner[i, j, k]
                        for a in range(max(i - 1, 0), min(i + 2, nx)):
                            for b in range(max(j - 1, 0), min(j + 2, ny)):
                                for c in range(max(k - 1, 0), min(k + 2, nz)):
                                    step = abs(a - i) + abs(b - j) + abs(c - k)
                                    way = depth[a, b, c] + np.float32(np.sqrt(np.float64(step)))
                                    if way < best - np.float32(1e-4):
                                        best, whose = way, owner[a, b, c]
                        if best < depth[i, j, k]:
                            depth[i, j, k], owner[i, j, k] = best, whose
                            changed = True
            forward = not forward
