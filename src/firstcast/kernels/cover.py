"""Whether a flat piece is covered by a mesh at most so high above it.

Take a piece of a triangle and its plane. Start at a fine triangle near the piece's middle and spread
over every fine edge that may meet the piece as seen along the plane's normal. The fine triangles
reached then have no border over the piece, so they cover each of its places equally often (the
degree of a map is constant where its border is not). If they cover the middle a number of times that
is not zero, they cover the whole piece, and no place of it is farther from the fine mesh than the
greatest height of those triangles over it; heights are linear, so corners of the overlap decide.

The mesh need not be finer than the piece: large triangles cover small pieces as well.
"""

from typing import NamedTuple

import numpy as np

from firstcast.compiling import kernel

FLAT = 1e-14
"""Twice the area, mm²: below this a side test is not trusted."""


class Over(NamedTuple):
    """Scratch for covering one piece."""

    queue: np.ndarray  # (k,) int32, triangles reached: at most k
    table: np.ndarray  # (power of two, twice k or more) int32
    frame: np.ndarray  # (3, 3) float64, two directions in the piece's plane and its normal
    fine: np.ndarray  # (9,) float64
    flat: np.ndarray  # (6,) float64
    work: np.ndarray  # (2, 27) float64


@kernel
def make_over(most):
    """Scratch for at most `most` triangles over one piece; `most` is a power of two."""
    return Over(
        np.empty(most, np.int32),
        np.empty(4 * most, np.int32),
        np.empty((3, 3)),
        np.empty(9),
        np.empty(6),
        np.empty((2, 27)),
    )


@kernel
def _side(ax, ay, bx, by, cx, cy):
    return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)


@kernel
def _apart(flat, ax, ay, bx, by):
    """Whether a fine edge certainly misses the piece `flat` (6,), corners counter-clockwise in its plane."""
    left = 0
    right = 0
    for k in range(3):
        px, py = flat[2 * k], flat[2 * k + 1]
        qx, qy = flat[(2 * k + 2) % 6], flat[(2 * k + 3) % 6]
        if _side(px, py, qx, qy, ax, ay) < -FLAT and _side(px, py, qx, qy, bx, by) < -FLAT:
            return True
        s = _side(ax, ay, bx, by, px, py)
        if s > FLAT:
            left += 1
        elif s < -FLAT:
            right += 1
    return left == 3 or right == 3


@kernel
def _highest_over(flat, fine, work):
    """Greatest height of a fine triangle (9,: x, y, height each) over the piece; -1 if it is not over it."""
    count = 3
    for i in range(9):
        work[0, i] = fine[i]
    source = 0
    for k in range(3):
        px, py = flat[2 * k], flat[2 * k + 1]
        qx, qy = flat[(2 * k + 2) % 6], flat[(2 * k + 3) % 6]
        target = 1 - source
        kept = 0
        for i in range(count):
            j = (i + 1) % count
            ax, ay, ah = work[source, 3 * i], work[source, 3 * i + 1], work[source, 3 * i + 2]
            bx, by, bh = work[source, 3 * j], work[source, 3 * j + 1], work[source, 3 * j + 2]
            sa = _side(px, py, qx, qy, ax, ay)
            sb = _side(px, py, qx, qy, bx, by)
            # what lies on the side by rounding is kept: the bound can only grow
            if sa >= -FLAT:
                work[target, 3 * kept], work[target, 3 * kept + 1], work[target, 3 * kept + 2] = ax, ay, ah
                kept += 1
            if (sa > FLAT and sb < -FLAT) or (sa < -FLAT and sb > FLAT):
                t = sa / (sa - sb)
                work[target, 3 * kept] = ax + t * (bx - ax)
                work[target, 3 * kept + 1] = ay + t * (by - ay)
                work[target, 3 * kept + 2] = ah + t * (bh - ah)
                kept += 1
        count = kept
        source = target
        if count == 0:
            return -1.0
    best = 0.0
    for i in range(count):
        best = max(best, abs(work[source, 3 * i + 2]))
    return best


@kernel
def _covers(fine, gx, gy):
    """+1 or -1 if a fine triangle lies over the place, 0 if not, 2 if that can't be told."""
    s0 = _side(fine[0], fine[1], fine[3], fine[4], gx, gy)
    s1 = _side(fine[3], fine[4], fine[6], fine[7], gx, gy)
    s2 = _side(fine[6], fine[7], fine[0], fine[1], gx, gy)
    low, high = min(s0, s1, s2), max(s0, s1, s2)
    if low > FLAT:
        return 1
    if high < -FLAT:
        return -1
    if low < -FLAT and high > FLAT:
        return 0
    return 2


@kernel
def _enter(table, row):
    """Put a row into a table of rows (-1: empty); whether it is new."""
    mask = len(table) - 1
    at = (row * 40503) & mask
    while table[at] >= 0:
        if table[at] == row:
            return False
        at = (at + 1) & mask
    table[at] = row
    return True


@kernel
def cover_height(piece, over, points, triangles, twin, seed, bound):
    """Bound the height of the fine triangles that are reached from `seed` over a piece.

    Gives -1 if they don't cover the piece or one is higher over it than `bound`. `over.frame` holds the
    plane of the piece (9,).
    """
    queue, table, frame, fine, flat, work = over
    for c in range(3):
        for k in range(2):
            flat[2 * c + k] = 0.0
            for i in range(3):
                flat[2 * c + k] += frame[k, i] * (piece[3 * c + i] - piece[i])
    gx = (flat[0] + flat[2] + flat[4]) / 3.0
    gy = (flat[1] + flat[3] + flat[5]) / 3.0
    table[:] = -1
    queue[0] = seed
    _enter(table, seed)
    count = 1
    done = 0
    covered = 0
    highest = 0.0
    while done < count:
        t = queue[done]
        done += 1
        tallest = 0.0
        for c in range(3):
            v = triangles[t, c]
            dx, dy, dz = points[v, 0] - piece[0], points[v, 1] - piece[1], points[v, 2] - piece[2]
            fine[3 * c] = frame[0, 0] * dx + frame[0, 1] * dy + frame[0, 2] * dz
            fine[3 * c + 1] = frame[1, 0] * dx + frame[1, 1] * dy + frame[1, 2] * dz
            fine[3 * c + 2] = frame[2, 0] * dx + frame[2, 1] * dy + frame[2, 2] * dz
            tallest = max(tallest, abs(fine[3 * c + 2]))
        if tallest > bound:
            tallest = _highest_over(flat, fine, work)
            if tallest > bound:
                return -1.0
        highest = max(highest, tallest)
        times = _covers(fine, gx, gy)
        if times == 2:
            return -1.0
        covered += times
        for c in range(3):
            a, b = 3 * c, (3 * c + 3) % 9
            if _apart(flat, fine[a], fine[a + 1], fine[b], fine[b + 1]):
                continue
            other = twin[3 * t + c]
            if other < 0:
                return -1.0
            other //= 3
            if _enter(table, other):
                if count == len(queue):
                    return -1.0
                queue[count] = other
                count += 1
    return highest if covered != 0 else -1.0


@kernel
def set_frame(piece, frame):
    """The plane of a piece as two directions and a normal; False if the piece is too thin to have one."""
    ux, uy, uz = piece[3] - piece[0], piece[4] - piece[1], piece[5] - piece[2]
    vx, vy, vz = piece[6] - piece[0], piece[7] - piece[1], piece[8] - piece[2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    length = np.sqrt(ux * ux + uy * uy + uz * uz)
    size = np.sqrt(nx * nx + ny * ny + nz * nz)
    if size < 1e-9 or length == 0.0:
        return False
    ux, uy, uz = ux / length, uy / length, uz / length
    nx, ny, nz = nx / size, ny / size, nz / size
    frame[0, 0], frame[0, 1], frame[0, 2] = ux, uy, uz
    frame[1, 0], frame[1, 1], frame[1, 2] = ny * uz - nz * uy, nz * ux - nx * uz, nx * uy - ny * ux
    frame[2, 0], frame[2, 1], frame[2, 2] = nx, ny, nz
    return True
