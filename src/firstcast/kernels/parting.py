"""Mould voxels in two halves: which are undecided, the network between them, and evening out along the body."""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.locked import BODY, DOWN, UP

OPEN, UPPER, LOWER, NONE = 0, 1, 2, 3
"""Of a voxel: undecided, of the half that leaves along the pull, of the other, no mould material."""

STEPS = np.array(
    [
        (a, b, c)
        for a in (-1, 0, 1)
        for b in (-1, 0, 1)
        for c in (-1, 0, 1)
        if 0 < abs(a) + abs(b) + abs(c) < 3
    ],
    np.int64,
)
"""The 18 neighbours that share a face or an edge; the one at 17 - d is opposite."""

ABOVE = 9
"""The row of `STEPS` that leads along the pull."""

NEVER = 1 << 28
"""A cost that no cut pays."""


@kernel
def settle(start, stop, states, coarse, first, scale, shift, least, most, slack, known):
    """What is known of each voxel before the cut, for layers start .. stop of known (nx, ny, nz) uint8.

    A voxel that can leave one way only belongs to that half, but for the `slack` of them nearest to the body; one on a
    line that meets no body is known below `least` and above `most`, where there is no body at all. What else the
    coarser voxels know, coarse (ax, ay, az) uint8, is taken from them: voxel i lies in first + i * scale + shift of
    them. An empty `coarse` knows nothing.
    """
    _, ny, nz = states.shape
    for i in range(start, stop):
        for j in range(ny):
            top, bottom = -1, nz
            for k in range(nz):
                if states[i, j, k] == BODY:
                    top = k
                    bottom = min(bottom, k)
            for k in range(nz):
                state = states[i, j, k]
                told = OPEN
                if state == BODY or known[i, j, k] == NONE:
                    known[i, j, k] = NONE
                    continue
                if state == UP:
                    if k > top + slack:
                        told = UPPER
                elif state == DOWN:
                    if k < bottom - slack:
                        told = LOWER
                elif state == UP | DOWN:
                    if k < least:
                        told = LOWER
                    elif k > most:
                        told = UPPER
                if told == OPEN and coarse.shape[0] > 0:
                    a = int(np.rint(first[0] + i * scale + shift))
                    b = int(np.rint(first[1] + j * scale + shift))
                    c = int(np.rint(first[2] + k * scale + shift))
                    if (
                        0 <= a < coarse.shape[0]
                        and 0 <= b < coarse.shape[1]
                        and 0 <= c < coarse.shape[2]
                        and coarse[a, b, c] != NONE
                    ):
                        told = coarse[a, b, c]
                known[i, j, k] = told
            _loosen(known, i, j, nz)


@kernel
def _loosen(known, i, j, nz):
    """Undecide what is known the wrong way round within a free run: upper below lower."""
    k = 0
    while k < nz:
        if known[i, j, k] == NONE:
            k += 1
            continue
        low = -1
        high = -1
        stop = k
        while stop < nz and known[i, j, stop] != NONE:
            if known[i, j, stop] == UPPER and low < 0:
                low = stop
            if known[i, j, stop] == LOWER:
                high = stop
            stop += 1
        if 0 <= low < high:
            for m in range(low, high + 1):
                known[i, j, m] = OPEN
        k = stop


@kernel
def narrow(start, stop, labels, reach, band):
    """Copy labels (nx, ny, nz) into band, open where another half's voxel lies within `reach` in every axis."""
    nx, ny, nz = labels.shape
    for i in range(start, stop):
        for j in range(ny):
            for k in range(nz):
                mine = labels[i, j, k]
                band[i, j, k] = mine
                if mine == NONE:
                    continue
                other = LOWER if mine == UPPER else UPPER
                found = False
                for a in range(max(i - reach, 0), min(i + reach + 1, nx)):
                    for b in range(max(j - reach, 0), min(j + reach + 1, ny)):
                        for c in range(max(k - reach, 0), min(k + reach + 1, nz)):
                            if labels[a, b, c] == other:
                                found = True
                if found:
                    band[i, j, k] = OPEN


@kernel
def link(
    start, stop, places, number, states, known, contact, wants, seam, facing, weighs, locked,
    neighbours, capacity, source, sink,
):  # fmt: skip
    """Rows start .. stop of the network between undecided voxels.

    places : (n, 3) int32, number : (nx, ny, nz) int32
        The undecided voxels, and the row of each there; -1 elsewhere.
    contact : (nx, ny, nz) int32
        Row of a voxel that touches the body in `wants` and `seam`; -1 elsewhere.
    wants : (c, 2) float64
        Cost if the voxel is of the lower half, of the upper.
    seam : (c, 2) float64
        Cost of a seam of one voxel's side across it: that an edge may hide, and that it may not.
    facing : (c, 3) float64
        The way the body's surface faces there, of length 1.
    weighs : (4,) float64
        Parting surface by a face, by an edge; seam by a face, by an edge.
    locked : float
        Cost of a voxel of the half that can't take it along.
    neighbours, capacity : (n, 18) int32, source, sink : (n,) int64
        Written, for `firstcast.kernels.mincut`, the source being the upper half.
    """
    nx, ny, nz = known.shape
    for p in range(start, stop):
        i, j, k = places[p, 0], places[p, 1], places[p, 2]
        here = contact[i, j, k]
        if_lower, if_upper = 0, 0
        if states[i, j, k] == UP:
            if_lower += int(np.rint(locked))
        elif states[i, j, k] == DOWN:
            if_upper += int(np.rint(locked))
        if here >= 0:
            if_lower += int(np.rint(wants[here, 0]))
            if_upper += int(np.rint(wants[here, 1]))
        for d in range(18):
            neighbours[p, d] = -1
            capacity[p, d] = 0
            a, b, c = i + STEPS[d, 0], j + STEPS[d, 1], k + STEPS[d, 2]
            if not (0 <= a < nx and 0 <= b < ny and 0 <= c < nz) or known[a, b, c] == NONE:
                continue
            face = abs(STEPS[d, 0]) + abs(STEPS[d, 1]) + abs(STEPS[d, 2]) == 1
            if not face and _walled(known, i, j, k, a, b, c):
                continue
            cost = weighs[0] if face else weighs[1]
            there = contact[a, b, c]
            if here >= 0 and there >= 0:
                hides = (seam[here, 0] + seam[there, 0]) * _shows(facing, here, there, STEPS[d])
                both = hides + seam[here, 1] + seam[there, 1]
                cost += 0.5 * both * (weighs[2] if face else weighs[3])
            price = int(np.rint(cost))
            if known[a, b, c] == OPEN:
                neighbours[p, d] = number[a, b, c]
                capacity[p, d] = price + NEVER if d == ABOVE else price
            elif known[a, b, c] == UPPER:
                if_lower += price + (NEVER if d == 17 - ABOVE else 0)
            else:
                if_upper += price + (NEVER if d == ABOVE else 0)
        source[p] = if_lower
        sink[p] = if_upper


@kernel
def _shows(facing, here, there, step):
    """1 for a seam across an even surface or a fold, less across an edge that stands out: it hides a seam."""
    alike, opens = 0.0, 0.0
    for n in range(3):
        alike += facing[here, n] * facing[there, n]
        opens += (facing[there, n] - facing[here, n]) * step[n]
    if opens <= 0.0:
        return 1.0
    alike = max(alike, 0.0)
    return alike * alike


@kernel
def _walled(known, i, j, k, a, b, c):
    """Whether two voxels that share an edge have the body on both sides of it."""
    if i == a:
        return known[i, b, k] == NONE and known[i, j, c] == NONE
    if j == b:
        return known[a, j, k] == NONE and known[i, j, c] == NONE
    return known[a, j, k] == NONE and known[i, b, k] == NONE


@kernel
def even_out(start, stop, mould, given, evened):
    """One round of means over each mould voxel and its six neighbours, for layers start .. stop.

    mould (nx, ny, nz) uint8 is 0 in the body; given, evened (f, nx, ny, nz) float32. Nothing passes through the body.
    """
    fields, nx, ny, nz = given.shape
    for i in range(start, stop):
        for j in range(ny):
            for k in range(nz):
                if mould[i, j, k] == 0:
                    continue
                for f in range(fields):
                    total, count = given[f, i, j, k], np.float32(1.0)
                    if i > 0 and mould[i - 1, j, k]:
                        total += given[f, i - 1, j, k]
                        count += np.float32(1.0)
                    if i < nx - 1 and mould[i + 1, j, k]:
                        total += given[f, i + 1, j, k]
                        count += np.float32(1.0)
                    if j > 0 and mould[i, j - 1, k]:
                        total += given[f, i, j - 1, k]
                        count += np.float32(1.0)
                    if j < ny - 1 and mould[i, j + 1, k]:
                        total += given[f, i, j + 1, k]
                        count += np.float32(1.0)
                    if k > 0 and mould[i, j, k - 1]:
                        total += given[f, i, j, k - 1]
                        count += np.float32(1.0)
                    if k < nz - 1 and mould[i, j, k + 1]:
                        total += given[f, i, j, k + 1]
                        count += np.float32(1.0)
                    evened[f, i, j, k] = total / count


@kernel
def sample_near(start, stop, places, mould, given, found):
    """found (n, f) float32: fields at places (n, 3), in voxels, from the mould voxels among the eight round each; NaN if none."""
    fields, nx, ny, nz = given.shape
    for p in range(start, stop):
        x, y, z = places[p, 0], places[p, 1], places[p, 2]
        i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
        weight = 0.0
        for f in range(fields):
            found[p, f] = 0.0
        for a in range(max(i, 0), min(i + 2, nx)):
            for b in range(max(j, 0), min(j + 2, ny)):
                for c in range(max(k, 0), min(k + 2, nz)):
                    if mould[a, b, c]:
                        w = (1.0 - abs(x - a)) * (1.0 - abs(y - b)) * (1.0 - abs(z - c))
                        weight += w
                        for f in range(fields):
                            found[p, f] += np.float32(w) * given[f, a, b, c]
        for f in range(fields):
            found[p, f] = found[p, f] / np.float32(weight) if weight > 1e-6 else np.float32(np.nan)
