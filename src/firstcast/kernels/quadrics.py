"""Quadric errors: which edge costs least, and where the vertex goes that replaces it.

References
----------
Garland & Heckbert 1997, Surface simplification using quadric error metrics. Quadrics are weighted by area and
begun anew from the faces of each block, after Lindstrom & Turk 1998 (memoryless).
"""

import numpy as np

from firstcast.compiling import kernel


@kernel
def add_face_quadrics(block):
    """Fill the quadrics of all vertices from the block's faces, weighted by area."""
    q = block.quadric
    q[:] = 0.0
    p = block.points
    for f in range(len(block.alive)):
        if not block.alive[f]:
            continue
        i, j, k = block.corner[3 * f], block.corner[3 * f + 1], block.corner[3 * f + 2]
        ux, uy, uz = p[j, 0] - p[i, 0], p[j, 1] - p[i, 1], p[j, 2] - p[i, 2]
        vx, vy, vz = p[k, 0] - p[i, 0], p[k, 1] - p[i, 1], p[k, 2] - p[i, 2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        size = np.sqrt(nx * nx + ny * ny + nz * nz)
        if size <= 0.0:
            continue
        nx, ny, nz = nx / size, ny / size, nz / size
        d = -(nx * p[i, 0] + ny * p[i, 1] + nz * p[i, 2])
        w = size / 6.0
        for s in range(3):
            t = block.corner[3 * f + s]
            q[t, 0] += w * nx * nx
            q[t, 1] += w * nx * ny
            q[t, 2] += w * nx * nz
            q[t, 3] += w * nx * d
            q[t, 4] += w * ny * ny
            q[t, 5] += w * ny * nz
            q[t, 6] += w * ny * d
            q[t, 7] += w * nz * nz
            q[t, 8] += w * nz * d
            q[t, 9] += w * d * d
            q[t, 10] += w


@kernel
def best_place(block, u, v, pull):
    """Cost of joining u and v, and the place that costs least (with a weak pull to the middle)."""
    q = block.quadric
    p = block.points
    mx = 0.5 * (p[u, 0] + p[v, 0])
    my = 0.5 * (p[u, 1] + p[v, 1])
    mz = 0.5 * (p[u, 2] + p[v, 2])
    a00 = q[u, 0] + q[v, 0]
    a01 = q[u, 1] + q[v, 1]
    a02 = q[u, 2] + q[v, 2]
    b0 = q[u, 3] + q[v, 3]
    a11 = q[u, 4] + q[v, 4]
    a12 = q[u, 5] + q[v, 5]
    b1 = q[u, 6] + q[v, 6]
    a22 = q[u, 7] + q[v, 7]
    b2 = q[u, 8] + q[v, 8]
    c = q[u, 9] + q[v, 9]
    area = q[u, 10] + q[v, 10]
    # about the middle: g = A m + b, so that the step from the middle solves (A + pull) s = -g
    g0 = a00 * mx + a01 * my + a02 * mz + b0
    g1 = a01 * mx + a11 * my + a12 * mz + b1
    g2 = a02 * mx + a12 * my + a22 * mz + b2
    base = c + mx * (b0 + g0) + my * (b1 + g1) + mz * (b2 + g2)
    k = pull * area + 1e-30
    d00, d11, d22 = a00 + k, a11 + k, a22 + k
    l10 = a01 / d00
    l20 = a02 / d00
    e11 = d11 - l10 * a01
    e12 = a12 - l20 * a01
    l21 = e12 / e11
    e22 = d22 - l20 * a02 - l21 * e12
    y0 = -g0
    y1 = -g1 - l10 * y0
    y2 = -g2 - l20 * y0 - l21 * y1
    s2 = y2 / e22
    s1 = y1 / e11 - l21 * s2
    s0 = y0 / d00 - l10 * s1 - l20 * s2
    value = base + s0 * g0 + s1 * g1 + s2 * g2
    ex, ey, ez = p[u, 0] - p[v, 0], p[u, 1] - p[v, 1], p[u, 2] - p[v, 2]
    length = ex * ex + ey * ey + ez * ez
    return max(value, 0.0) + pull * area * length, mx + s0, my + s1, mz + s2


@kernel
def round_place(block, x, y, z):
    """A place whose absolute coordinates float32 holds, relative to the block's origin."""
    o = block.origin
    return (
        np.float64(np.float32(x + o[0])) - o[0],
        np.float64(np.float32(y + o[1])) - o[1],
        np.float64(np.float32(z + o[2])) - o[2],
    )
