"""Whether a flat piece is covered by a mesh, and how far what it is covered by lies from it.

Take a piece of a triangle and its plane. Start at a fine triangle near the piece and spread over every fine
edge that may meet the piece as seen along the plane's normal. The fine triangles reached then have no border
over the piece, so they cover each of its places equally often (the degree of a map is constant where its
border is not). If they cover the middle a number of times that is not zero, they cover the whole piece, and
each of its places lies under one of them. What lies under one fine triangle is a polygon, and distance to
the triangle is convex: the polygon's corners bound it.

The mesh need not be finer than the piece: large triangles cover small pieces as well.
"""

from typing import NamedTuple

import numpy as np

from firstcast.compiling import kernel
from firstcast.kernels.distances import squared_to_triangle

FLAT = 1e-14
"""Twice the area, mm², of places up to a millimetre away: below this a side test is not trusted. Farther ones round
by the square of their distance: `_margin`."""

OFF_MM = 1e-10
"""Corners of a piece lie this near the plane of its frame, or it has none: a tenth of what is added for rounding."""

MOST = 256
"""Most triangles that may cover a piece, a power of two."""

X, Y, HEIGHT, SIDES = 0, 1, 2, 3
"""What is known of a fine corner: its place over the piece's plane, and its sides of the piece's three edges."""


class Over(NamedTuple):
    """Scratch for covering one piece."""

    queue: np.ndarray  # (MOST,) int32, half-edges over which triangles were reached
    known: np.ndarray  # (MOST, 2, 6) float64, the corners of those half-edges
    table: (
        np.ndarray
    )  # (4 MOST,) int64, triangles reached, by hash, with the number of the piece in the upper half
    number: np.ndarray  # (1,) int64, the number of the piece: so the table need not be emptied
    frame: np.ndarray  # (3, 3) float64, two directions in the piece's plane and its normal
    fine: np.ndarray  # (3, 6) float64, a fine triangle's corners
    flat: np.ndarray  # (4, 2) float64, the piece's corners in its plane, counter-clockwise, and its middle
    work: np.ndarray  # (2, 9, 2) float64


@kernel
def make_over():
    """Scratch for one piece."""
    return Over(
        np.empty(MOST, np.int32),
        np.empty((MOST, 2, 6)),
        np.zeros(4 * MOST, np.int64),
        np.zeros(1, np.int64),
        np.empty((3, 3)),
        np.empty((3, 6)),
        np.empty((4, 2)),
        np.empty((2, 9, 2)),
    )


@kernel
def _side(a, b, c):
    """Twice the area of a triangle of flat places, positive counter-clockwise."""
    return (b[X] - a[X]) * (c[Y] - a[Y]) - (b[Y] - a[Y]) * (c[X] - a[X])


@kernel
def _see(piece, over, points, v, corner):
    """Fill what is to be known of a fine corner."""
    frame, flat = over.frame, over.flat
    dx, dy, dz = points[v, 0] - piece[0, 0], points[v, 1] - piece[0, 1], points[v, 2] - piece[0, 2]
    for k in range(3):
        corner[k] = frame[k, 0] * dx + frame[k, 1] * dy + frame[k, 2] * dz
    for k in range(3):
        corner[SIDES + k] = _side(flat[k], flat[(k + 1) % 3], corner)


@kernel
def _margin(fine, flat):
    """What side tests of a fine triangle and the piece may be wrong by, mm²."""
    most2 = 1.0
    for c in range(3):
        most2 = max(most2, fine[c, X] ** 2 + fine[c, Y] ** 2, flat[c, X] ** 2 + flat[c, Y] ** 2)
    return FLAT * most2


@kernel
def _apart(flat, a, b, margin):
    """Whether a fine edge certainly misses the piece."""
    for k in range(SIDES, SIDES + 3):
        if a[k] < -margin and b[k] < -margin:
            return True
    left = 0
    right = 0
    for k in range(3):
        s = _side(a, b, flat[k])
        if s > margin:
            left += 1
        elif s < -margin:
            right += 1
    return left == 3 or right == 3


@kernel
def _farthest_under(flat, fine, work):
    """Greatest squared distance from a fine triangle of the places of the piece under it; -1 if there are none."""
    count = 3
    for i in range(3):
        work[0, i, X], work[0, i, Y] = fine[i, X], fine[i, Y]
    source = 0
    for k in range(3):
        target = 1 - source
        kept = 0
        for i in range(count):
            a, b = work[source, i], work[source, (i + 1) % count]
            sa, sb = _side(flat[k], flat[(k + 1) % 3], a), _side(flat[k], flat[(k + 1) % 3], b)
            # what lies on the side by rounding is kept: the bound can only grow
            if sa >= -FLAT:
                work[target, kept, X], work[target, kept, Y] = a[X], a[Y]
                kept += 1
            if (sa > FLAT and sb < -FLAT) or (sa < -FLAT and sb > FLAT):
                t = sa / (sa - sb)
                work[target, kept, X], work[target, kept, Y] = (
                    a[X] + t * (b[X] - a[X]),
                    a[Y] + t * (b[Y] - a[Y]),
                )
                kept += 1
        count = kept
        source = target
    worst2 = -1.0
    for i in range(count):
        squared = squared_to_triangle(
            work[source, i, X], work[source, i, Y], 0.0,
            fine[0, X], fine[0, Y], fine[0, HEIGHT],
            fine[1, X], fine[1, Y], fine[1, HEIGHT],
            fine[2, X], fine[2, Y], fine[2, HEIGHT],
        )  # fmt: skip
        worst2 = max(worst2, squared)
    return worst2


@kernel
def _covers(fine, place, margin):
    """+1 or -1 if a fine triangle lies over the place, 0 if not, 2 if that can't be told."""
    s0, s1, s2 = (
        _side(fine[0], fine[1], place),
        _side(fine[1], fine[2], place),
        _side(fine[2], fine[0], place),
    )
    low, high = min(s0, s1, s2), max(s0, s1, s2)
    if low > margin:
        return 1
    if high < -margin:
        return -1
    if low < -margin and high > margin:
        return 0
    return 2


@kernel
def _enter(table, number, row):
    """Put a row into a piece's table of rows; whether it is new."""
    mask = len(table) - 1
    entry = (number << 32) | np.int64(row)
    at = (row * 40503) & mask
    while table[at] >> 32 == number:
        if table[at] == entry:
            return False
        at = (at + 1) & mask
    table[at] = entry
    return True


@kernel
def _lay_out(piece, over):
    """Fill the piece's corners in its plane, and its middle."""
    flat, frame = over.flat, over.frame
    for k in range(2):
        flat[3, k] = 0.0
        for c in range(3):
            flat[c, k] = 0.0
            for i in range(3):
                flat[c, k] += frame[k, i] * (piece[c, i] - piece[0, i])
            flat[3, k] += flat[c, k] / 3.0


@kernel
def cover_squared(piece, over, points, triangles, twin, seed, bound2):
    """Bound the squared distance of a piece's places from the fine triangles, reached from `seed`, that cover them.

    Gives -1 if they don't cover all of the piece, or one is farther than the bound. `over.frame` holds the
    plane of the piece (3, 3).
    """
    queue, known, table, numbers, _, fine, flat, work = over
    _lay_out(piece, over)
    numbers[0] += 1
    number = numbers[0]
    queue[0] = 3 * seed
    for i in range(2):
        _see(piece, over, points, triangles[seed, i], known[0, i])
    _enter(table, number, seed)
    count = 1
    done = 0
    covered = 0
    worst2 = 0.0
    while done < count:
        t, first = queue[done] // 3, queue[done] % 3
        for i in range(6):
            fine[0, i], fine[1, i] = known[done, 0, i], known[done, 1, i]
        _see(piece, over, points, triangles[t, (first + 2) % 3], fine[2])
        squared = max(fine[0, HEIGHT] ** 2, fine[1, HEIGHT] ** 2, fine[2, HEIGHT] ** 2)
        if not squared <= bound2:
            squared = _farthest_under(flat, fine, work)
            if not squared <= bound2:
                return -1.0
        worst2 = max(worst2, squared)
        margin = _margin(fine, flat)
        times = _covers(fine, flat[3], margin)
        if times == 2:
            return -1.0
        covered += times
        for c in range(0 if done == 0 else 1, 3):
            a, b = fine[c], fine[(c + 1) % 3]
            if _apart(flat, a, b, margin):
                continue
            other = twin[3 * t + (first + c) % 3]
            if other < 0:
                return -1.0
            if _enter(table, number, other // 3):
                if count == len(queue):
                    return -1.0
                queue[count] = other
                for i in range(6):
                    known[count, 0, i], known[count, 1, i] = b[i], a[i]
                count += 1
        done += 1
    return worst2 if covered != 0 else -1.0


@kernel
def set_frame(piece, frame):
    """The plane of a piece as two directions and a normal; False if the piece is too thin to have one."""
    ux, uy, uz = piece[1, 0] - piece[0, 0], piece[1, 1] - piece[0, 1], piece[1, 2] - piece[0, 2]
    vx, vy, vz = piece[2, 0] - piece[0, 0], piece[2, 1] - piece[0, 1], piece[2, 2] - piece[0, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    length = np.sqrt(ux * ux + uy * uy + uz * uz)
    size = np.sqrt(nx * nx + ny * ny + nz * nz)
    if size < 1e-9 or length == 0.0:
        return False
    ux, uy, uz = ux / length, uy / length, uz / length
    nx, ny, nz = nx / size, ny / size, nz / size
    along = abs(nx * ux + ny * uy + nz * uz) * length
    if not max(along, abs(nx * vx + ny * vy + nz * vz)) <= OFF_MM:
        return False
    frame[0, 0], frame[0, 1], frame[0, 2] = ux, uy, uz
    frame[1, 0], frame[1, 1], frame[1, 2] = ny * uz - nz * uy, nz * ux - nx * uz, nx * uy - ny * ux
    frame[2, 0], frame[2, 1], frame[2, 2] = nx, ny, nz
    return True
