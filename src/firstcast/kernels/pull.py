"""How much mould material a pull locks: shadows of the body from both sides, held against its own thickness.

Along one line of the pull, mould material is locked from where the body begins to where it ends, but for the body itself.
So a line needs its first and last place on the body and how much of it lies inside, and no order among its crossings.
"""

import numpy as np

from firstcast.kernels.compiling import kernel

FIXED_BITS = 10
FIXED = 1 << FIXED_BITS
"""Steps per cell to which places across the pull are rounded, so that each line meets a shared edge exactly once."""

ASIDE_U, ASIDE_V = 389, 633
"""Lines stand so many steps beside the middle, 0.38 and 0.62 of a cell: edges of bodies made to round measures don't lie on them."""


@kernel
def _beside_edge(du, dv, pu, pv):
    """Twice the area left of an edge (du, dv) at a place from its start; on the edge itself, one side owns it."""
    area = du * pv - dv * pu
    if area != 0:
        return area
    return 1 if dv < 0 or (dv == 0 and du > 0) else -1


@kernel
def locked_along(start, stop, frames, points, triangles, cell, shape, locked):
    """Locked volume, mm3, of directions start .. stop: rows 0 and 1 of frames[d] lie across the pull, row 2 along it.

    frames (n, 3, 3), points (v, 3) float64 about their middle, triangles (m, 3) int32 closed and outward; cells of
    `cell` mm in a square of shape (2,) int64 cells about the middle; locked (n,) float64.
    """
    nu, nv = shape[0], shape[1]
    first = np.empty((nu, nv), np.float64)
    last = np.empty((nu, nv), np.float64)
    inside = np.empty((nu, nv), np.float64)
    us = np.empty(points.shape[0], np.int64)
    vs = np.empty(points.shape[0], np.int64)
    along = np.empty(points.shape[0], np.float64)
    steps = FIXED / cell
    for d in range(start, stop):
        first[:], last[:], inside[:] = np.inf, -np.inf, 0.0
        for p in range(points.shape[0]):
            x, y, z = points[p, 0], points[p, 1], points[p, 2]
            u = frames[d, 0, 0] * x + frames[d, 0, 1] * y + frames[d, 0, 2] * z
            v = frames[d, 1, 0] * x + frames[d, 1, 1] * y + frames[d, 1, 2] * z
            us[p] = np.int64(np.floor(u * steps)) + (nu << (FIXED_BITS - 1)) + ASIDE_U
            vs[p] = np.int64(np.floor(v * steps)) + (nv << (FIXED_BITS - 1)) + ASIDE_V
            along[p] = frames[d, 2, 0] * x + frames[d, 2, 1] * y + frames[d, 2, 2] * z
        for t in range(triangles.shape[0]):
            a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
            ua, ub, uc = us[a], us[b], us[c]
            i_low, i_high = (min(ua, ub, uc) - 1 >> FIXED_BITS) + 1, max(ua, ub, uc) >> FIXED_BITS
            if i_low > i_high:
                continue
            va, vb, vc = vs[a], vs[b], vs[c]
            j_low, j_high = (min(va, vb, vc) - 1 >> FIXED_BITS) + 1, max(va, vb, vc) >> FIXED_BITS
            if j_low > j_high:
                continue
            area = (ub - ua) * (vc - va) - (vb - va) * (uc - ua)
            if area == 0:
                continue
            turn = 1
            if area < 0:
                # seen from behind: corners the other way round
                b, c = c, b
                ub, uc, vb, vc = uc, ub, vc, vb
                area, turn = -area, -1
            for i in range(i_low, i_high + 1):
                pu = i << FIXED_BITS
                for j in range(j_low, j_high + 1):
                    pv = j << FIXED_BITS
                    if _beside_edge(ub - ua, vb - va, pu - ua, pv - va) < 0:
                        continue
                    if _beside_edge(uc - ub, vc - vb, pu - ub, pv - vb) < 0:
                        continue
                    if _beside_edge(ua - uc, va - vc, pu - uc, pv - vc) < 0:
                        continue
                    toward_b = (ua - uc) * (pv - vc) - (va - vc) * (pu - uc)
                    toward_c = (ub - ua) * (pv - va) - (vb - va) * (pu - ua)
                    place = along[a] + (
                        toward_b * (along[b] - along[a]) + toward_c * (along[c] - along[a])
                    ) / np.float64(area)
                    first[i, j] = min(first[i, j], place)
                    last[i, j] = max(last[i, j], place)
                    inside[i, j] += turn * place
        total = 0.0
        for i in range(nu):
            for j in range(nv):
                if last[i, j] > first[i, j]:
                    total += max(0.0, last[i, j] - first[i, j] - inside[i, j])
        locked[d] = total * cell * cell
