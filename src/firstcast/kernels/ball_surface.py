"""The surface that a ball rolls on: its vertices' normals, its triangles' spheres and bulges, the nearest place on one."""

from typing import NamedTuple

import numpy as np

from firstcast.kernels.ball_grid import Cells
from firstcast.kernels.compiling import kernel

SMOOTH_TURN, SHARP_TURN = 0.25, 0.5
"""How far the unit normal moves along an edge of a surface that is still smooth, and along one next to a crease: between
them the bulge fades. From a right angle's edge to the flat beside it the normal moves by 0.77."""


class Surface(NamedTuple):
    """Triangles sorted into cells by their middles; rows of all but `points` are in that order."""

    cells: Cells
    points: np.ndarray  # (n, 3) float64
    triangles: np.ndarray  # (m, 3) int32
    corners: np.ndarray  # (m, 9) float64: their coordinates again, where they are found without a detour
    spheres: np.ndarray  # (m, 8) float32: see `spheres_of`
    bulges: np.ndarray  # (m, 3) float32: see `bulges_of`
    reach: float  # greatest radius of a sphere, mm


@kernel
def add_normals(points, triangles, normals):
    """Add to normals (n, 3), as given 0, each triangle's normal at its corners, weighted by the corner's angle."""
    e = np.empty((3, 3))
    for t in range(len(triangles)):
        for c in range(3):
            for d in range(3):
                e[c, d] = points[triangles[t, (c + 1) % 3], d] - points[triangles[t, c], d]
        x = e[0, 1] * e[1, 2] - e[0, 2] * e[1, 1]
        y = e[0, 2] * e[1, 0] - e[0, 0] * e[1, 2]
        z = e[0, 0] * e[1, 1] - e[0, 1] * e[1, 0]
        double = np.sqrt(x * x + y * y + z * z)
        if double == 0.0:
            continue
        for c in range(3):
            p = (c + 2) % 3
            along = -(e[c, 0] * e[p, 0] + e[c, 1] * e[p, 1] + e[c, 2] * e[p, 2])
            weight = np.arctan2(double, along) / double
            v = triangles[t, c]
            normals[v, 0] += weight * x
            normals[v, 1] += weight * y
            normals[v, 2] += weight * z


@kernel
def make_unit(start, stop, normals):
    """Give rows start .. stop the length one; rows of noughts stay."""
    for v in range(start, stop):
        length = np.sqrt(normals[v, 0] ** 2 + normals[v, 1] ** 2 + normals[v, 2] ** 2)
        if length > 0.0:
            for d in range(3):
                normals[v, d] /= length


@kernel
def middles_of(start, stop, points, triangles, middles, longest):
    """Fill rows of middles (m, 3) and longest (m,): each triangle's centroid and longest edge."""
    for t in range(start, stop):
        most = 0.0
        for c in range(3):
            i, j, square = triangles[t, c], triangles[t, (c + 1) % 3], 0.0
            for d in range(3):
                square += (points[j, d] - points[i, d]) ** 2
            most = max(most, square)
        longest[t] = np.sqrt(most)
        for d in range(3):
            middles[t, d] = (
                points[triangles[t, 0], d] + points[triangles[t, 1], d] + points[triangles[t, 2], d]
            ) / 3.0


@kernel
def spheres_of(start, stop, points, triangles, bulges, low, spheres):
    """Fill rows of spheres (m, 8) float32, all about a triangle in one line of memory.

    Its middle less `low`, how far its corners are from there, its unit normal, and a bound of how far it bulges.
    """
    for t in range(start, stop):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        far = 0.0
        for d in range(3):
            spheres[t, d] = (points[a, d] + points[b, d] + points[c, d]) / 3.0 - low[d]
        for n in range(3):
            square = 0.0
            for d in range(3):
                square += (points[triangles[t, n], d] - low[d] - spheres[t, d]) ** 2
            far = max(far, square)
        spheres[t, 3] = np.sqrt(far) * (1.0 + 1e-6)
        ux, uy, uz = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1], points[b, 2] - points[a, 2]
        vx, vy, vz = points[c, 0] - points[a, 0], points[c, 1] - points[a, 1], points[c, 2] - points[a, 2]
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = np.sqrt(x * x + y * y + z * z)
        scale = 1.0 / length if length > 0.0 else 0.0
        spheres[t, 4], spheres[t, 5], spheres[t, 6] = scale * x, scale * y, scale * z
        # products of two weights are at most a quarter
        spheres[t, 7] = 0.25 * (max(bulges[t, 0], 0.0) + max(bulges[t, 1], 0.0) + max(bulges[t, 2], 0.0))


@kernel
def bulges_of(start, stop, points, triangles, normals, bulges):
    """Fill rows of bulges (m, 3) float32: half of each edge's vector times how the normal changes along it, mm.

    With barycentric weights w, a surface of second order lies w₀w₁ b₀ + w₁w₂ b₁ + w₂w₀ b₂ outside of the flat
    triangle. Along creases it is taken as flat.
    """
    for t in range(start, stop):
        for c in range(3):
            i, j = triangles[t, c], triangles[t, (c + 1) % 3]
            turn, along = 0.0, 0.0
            for d in range(3):
                change = normals[j, d] - normals[i, d]
                turn += change * change
                along += change * (points[j, d] - points[i, d])
            fade = (SHARP_TURN - np.sqrt(turn)) / (SHARP_TURN - SMOOTH_TURN)
            bulges[t, c] = 0.5 * along * min(1.0, max(0.0, fade))


@kernel
def nearest_weights(px, py, pz, corners, row):
    """Weights of corners b and c at the place of a triangle a, b, c, a row of corners (m, 9), that is nearest to p.

    References
    ----------
    C. Ericson, Real-Time Collision Detection (2005), section 5.1.5.
    """
    ax, ay, az = corners[row, 0], corners[row, 1], corners[row, 2]
    ux, uy, uz = corners[row, 3] - ax, corners[row, 4] - ay, corners[row, 5] - az
    vx, vy, vz = corners[row, 6] - ax, corners[row, 7] - ay, corners[row, 8] - az
    qx, qy, qz = px - ax, py - ay, pz - az
    d1, d2 = ux * qx + uy * qy + uz * qz, vx * qx + vy * qy + vz * qz
    if d1 <= 0.0 and d2 <= 0.0:
        return 0.0, 0.0
    uu, uv, vv = ux * ux + uy * uy + uz * uz, ux * vx + uy * vy + uz * vz, vx * vx + vy * vy + vz * vz
    d3, d4 = d1 - uu, d2 - uv
    if d3 >= 0.0 and d4 <= d3:
        return 1.0, 0.0
    w = d1 * d4 - d3 * d2
    if w <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        return (d1 / uu if uu > 0.0 else 0.0), 0.0
    d5, d6 = d1 - uv, d2 - vv
    if d6 >= 0.0 and d5 <= d6:
        return 0.0, 1.0
    v = d5 * d2 - d1 * d6
    if v <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        return 0.0, (d2 / vv if vv > 0.0 else 0.0)
    u = d3 * d6 - d5 * d4
    if u <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        across = (d4 - d3) + (d5 - d6)
        share = (d4 - d3) / across if across > 0.0 else 0.0
        return 1.0 - share, share
    total = u + v + w
    return v / total, w / total


@kernel
def contact(px, py, pz, corners, bulges, row):
    """Distance of p from a triangle, the unit vector from its nearest place to p, and how far it bulges there.

    The vector is nought where p lies on the triangle.
    """
    wb, wc = nearest_weights(px, py, pz, corners, row)
    wa = 1.0 - wb - wc
    x = px - (wa * corners[row, 0] + wb * corners[row, 3] + wc * corners[row, 6])
    y = py - (wa * corners[row, 1] + wb * corners[row, 4] + wc * corners[row, 7])
    z = pz - (wa * corners[row, 2] + wb * corners[row, 5] + wc * corners[row, 8])
    bulge = wa * wb * bulges[row, 0] + wb * wc * bulges[row, 1] + wc * wa * bulges[row, 2]
    distance = np.sqrt(x * x + y * y + z * z)
    scale = 1.0 / distance if distance > 0.0 else 0.0
    return distance, scale * x, scale * y, scale * z, bulge
