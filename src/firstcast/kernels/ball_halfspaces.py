"""The place of an intersection of half-spaces u · x ≥ b that is nearest to a given one.

A dual active set: the half-space that is violated most enters, and of it and the at most three that were active
those stay whose multipliers are not negative. The distance grows with every exchange, so none comes back and there
is an end; walls that face each other make a set that can't be met, which shows at once.

References
----------
D. Goldfarb, A. Idnani, A numerically stable dual method for solving strictly convex quadratic programs,
Mathematical Programming 27 (1983) 1–33.
"""

from firstcast.kernels.compiling import kernel

MOST_EXCHANGES = 64

PARALLEL = 1e-12
"""Least determinant, of unit normals, of active half-spaces that still count as independent."""


@kernel
def _multipliers(planes, picks, count, q, lam):
    """Fill lam (count,) with the multipliers that put q onto all picked planes; False if they are parallel."""
    a = picks[0]
    r0 = planes[a, 3] - (planes[a, 0] * q[0] + planes[a, 1] * q[1] + planes[a, 2] * q[2])
    if count == 1:
        lam[0] = r0
        return True
    b = picks[1]
    r1 = planes[b, 3] - (planes[b, 0] * q[0] + planes[b, 1] * q[1] + planes[b, 2] * q[2])
    g01 = planes[a, 0] * planes[b, 0] + planes[a, 1] * planes[b, 1] + planes[a, 2] * planes[b, 2]
    if count == 2:
        det = 1.0 - g01 * g01
        if det < PARALLEL:
            return False
        lam[0], lam[1] = (r0 - g01 * r1) / det, (r1 - g01 * r0) / det
        return True
    c = picks[2]
    r2 = planes[c, 3] - (planes[c, 0] * q[0] + planes[c, 1] * q[1] + planes[c, 2] * q[2])
    g02 = planes[a, 0] * planes[c, 0] + planes[a, 1] * planes[c, 1] + planes[a, 2] * planes[c, 2]
    g12 = planes[b, 0] * planes[c, 0] + planes[b, 1] * planes[c, 1] + planes[b, 2] * planes[c, 2]
    det = 1.0 - g01 * g01 - g02 * g02 - g12 * g12 + 2.0 * g01 * g02 * g12
    if det < PARALLEL:
        return False
    i00, i11, i22 = 1.0 - g12 * g12, 1.0 - g02 * g02, 1.0 - g01 * g01
    i01, i02, i12 = g02 * g12 - g01, g01 * g12 - g02, g01 * g02 - g12
    lam[0] = (i00 * r0 + i01 * r1 + i02 * r2) / det
    lam[1] = (i01 * r0 + i11 * r1 + i12 * r2) / det
    lam[2] = (i02 * r0 + i12 * r1 + i22 * r2) / det
    return True


@kernel
def _settles(planes, picks, count, active, held, q, slack, lam, x):
    """Whether the picked planes have multipliers of at least nought, and their place meets all that were active."""
    if not _multipliers(planes, picks, count, q, lam):
        return False
    for n in range(count):
        if lam[n] < 0.0:
            return False
    for d in range(3):
        x[d] = q[d]
        for n in range(count):
            x[d] += lam[n] * planes[picks[n], d]
    for n in range(held):
        p = active[n]
        if planes[p, 3] - (planes[p, 0] * x[0] + planes[p, 1] * x[1] + planes[p, 2] * x[2]) > slack:
            return False
    return True


@kernel
def _exchange(planes, entering, active, held, q, slack, picks, lam, x):
    """Take in the entering half-space: writes the new active ones and x, returns how many, 0 if none will do."""
    picks[0] = entering
    if _settles(planes, picks, 1, active, held, q, slack, lam, x):
        active[0] = entering
        return 1
    for first in range(held):
        picks[1] = active[first]
        if _settles(planes, picks, 2, active, held, q, slack, lam, x):
            active[1], active[0] = picks[1], entering
            return 2
    for first in range(held):
        for second in range(first + 1, held):
            picks[1], picks[2] = active[first], active[second]
            if _settles(planes, picks, 3, active, held, q, slack, lam, x):
                active[0], active[1], active[2] = entering, picks[1], picks[2]
                return 3
    return 0


@kernel
def nearest_in_halfspaces(planes, count, q, slack, work, x):
    """Write to x (3,) the place nearest to q that meets planes (count, 4), each row a unit u and b, within `slack`.

    Returns False, and x says nothing, if none was found. `work` is (picks (3,) int64, active (3,) int64, lam (3,)).
    """
    picks, active, lam = work
    for d in range(3):
        x[d] = q[d]
    held = 0
    for _ in range(MOST_EXCHANGES):
        most, entering = slack, -1
        for p in range(count):
            lack = planes[p, 3] - (planes[p, 0] * x[0] + planes[p, 1] * x[1] + planes[p, 2] * x[2])
            if lack > most:
                most, entering = lack, p
        if entering < 0:
            return True
        held = _exchange(planes, entering, active, held, q, slack, picks, lam, x)
        if held == 0:
            return False
    return False
