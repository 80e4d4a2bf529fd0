"""The place of an intersection of half-spaces u · x ≥ b that is nearest to a given one.

A dual active set: the half-space that is violated most enters, and of it and the at most three that were active
those stay whose multipliers are not negative. The distance grows with every exchange, so none comes back and there
is an end; walls that face each other make a set that can't be met, which shows at once.

References
----------
D. Goldfarb, A. Idnani, A numerically stable dual method for solving strictly convex quadratic programs,
Mathematical Programming 27 (1983) 1–33.
"""

import numpy as np

from firstcast.kernels.compiling import kernel

MOST_EXCHANGES = 64

PARALLEL = 1e-12
"""Least determinant, of unit normals, of active half-spaces that still count as independent."""

CHOICES = np.array([(-1, -1), (0, -1), (1, -1), (2, -1), (0, 1), (0, 2), (1, 2)])
"""Which of the active half-spaces stay beside the one that enters: none, one of them, two."""


@kernel
def nearest_in_halfspaces(planes, count, q, slack, x):
    """Write to x (3,) the place nearest to q that meets planes (count, 4), each row a unit u and b, within `slack`.

    Returns False, and x says nothing, if none was found. Written out in one, without arrays on the way: to hand arrays from one
    compiled function to the next costs more than what is to be reckoned here.
    """
    q0, q1, q2 = q[0], q[1], q[2]
    x0, x1, x2 = q0, q1, q2
    held, active0, active1, active2 = 0, 0, 0, 0
    for _ in range(MOST_EXCHANGES):
        most, a = slack, -1
        for p in range(count):
            lack = planes[p, 3] - (planes[p, 0] * x0 + planes[p, 1] * x1 + planes[p, 2] * x2)
            if lack > most:
                most, a = lack, p
        if a < 0:
            x[0], x[1], x[2] = x0, x1, x2
            return True
        a0, a1, a2 = planes[a, 0], planes[a, 1], planes[a, 2]
        rest_a = planes[a, 3] - (a0 * q0 + a1 * q1 + a2 * q2)
        taken = False
        for choice in range(len(CHOICES)):
            first, second = CHOICES[choice, 0], CHOICES[choice, 1]
            if first >= held or second >= held:
                continue
            # the multipliers that put q onto all picked planes
            share_a, share_b, share_c = rest_a, 0.0, 0.0
            b, b0, b1, b2 = 0, 0.0, 0.0, 0.0
            c, c0, c1, c2 = 0, 0.0, 0.0, 0.0
            if first >= 0:
                b = active0 if first == 0 else (active1 if first == 1 else active2)
                b0, b1, b2 = planes[b, 0], planes[b, 1], planes[b, 2]
                rest_b = planes[b, 3] - (b0 * q0 + b1 * q1 + b2 * q2)
                ab = a0 * b0 + a1 * b1 + a2 * b2
                if second < 0:
                    det = 1.0 - ab * ab
                    if det < PARALLEL:
                        continue
                    share_a, share_b = (rest_a - ab * rest_b) / det, (rest_b - ab * rest_a) / det
                else:
                    c = active1 if second == 1 else active2
                    c0, c1, c2 = planes[c, 0], planes[c, 1], planes[c, 2]
                    rest_c = planes[c, 3] - (c0 * q0 + c1 * q1 + c2 * q2)
                    ac, bc = a0 * c0 + a1 * c1 + a2 * c2, b0 * c0 + b1 * c1 + b2 * c2
                    det = 1.0 - ab * ab - ac * ac - bc * bc + 2.0 * ab * ac * bc
                    if det < PARALLEL:
                        continue
                    i_ab, i_ac, i_bc = ac * bc - ab, ab * bc - ac, ab * ac - bc
                    share_a = ((1.0 - bc * bc) * rest_a + i_ab * rest_b + i_ac * rest_c) / det
                    share_b = (i_ab * rest_a + (1.0 - ac * ac) * rest_b + i_bc * rest_c) / det
                    share_c = (i_ac * rest_a + i_bc * rest_b + (1.0 - ab * ab) * rest_c) / det
            if share_a < 0.0 or share_b < 0.0 or share_c < 0.0:
                continue
            x0 = q0 + share_a * a0 + share_b * b0 + share_c * c0
            x1 = q1 + share_a * a1 + share_b * b1 + share_c * c1
            x2 = q2 + share_a * a2 + share_b * b2 + share_c * c2
            # all that were active must be met there
            met = True
            for n in range(held):
                p = active0 if n == 0 else (active1 if n == 1 else active2)
                if planes[p, 3] - (planes[p, 0] * x0 + planes[p, 1] * x1 + planes[p, 2] * x2) > slack:
                    met = False
            if met:
                taken = True
                held = 1 + (first >= 0) + (second >= 0)
                active0, active1, active2 = a, b, c
                break
        if not taken:
            return False
    return False
