"""The surface that a ball rolls on: its vertices' normals, its triangles' bounds and bulges, the nearest place on one."""

from typing import NamedTuple

import numpy as np

from firstcast.kernels.ball_grid import Cells
from firstcast.kernels.compiling import kernel

SMOOTH_TURN, SHARP_TURN = 0.25, 0.5
"""How far the unit normal moves along an edge of a surface that is still smooth, and along one next to a crease: between
them the bulge fades. From a right angle's edge to the flat beside it the normal moves by 0.77."""


class Surface(NamedTuple):
    """Triangles sorted into cells by their middles, and their vertices, numbered by cells as well.

    What is near one another lies near in memory, and nothing is held twice: 56 bytes for a triangle, 24 for a vertex.
    """

    cells: Cells
    points: np.ndarray  # (n, 3) float64
    triangles: np.ndarray  # (m, 3) int32
    bounds: np.ndarray  # (8, m) float32: see `bounds_of`
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
def sum_normals(start, stop, points, triangles, starts, rows, normals):
    """Write unit normals (n, 3) of vertices start .. stop: what `add_normals` adds up, from each vertex's own triangles.

    Those of vertex v are rows[starts[v]] .. rows[starts[v + 1] - 1], see `kernels.facets.list_stars`; in ascending order
    the sums are the same to the last bit.
    """
    e = np.empty((3, 3))
    for v in range(start, stop):
        nx, ny, nz = 0.0, 0.0, 0.0
        for row in range(starts[v], starts[v + 1]):
            t = rows[row]
            for c in range(3):
                for d in range(3):
                    e[c, d] = points[triangles[t, (c + 1) % 3], d] - points[triangles[t, c], d]
            x = e[0, 1] * e[1, 2] - e[0, 2] * e[1, 1]
            y = e[0, 2] * e[1, 0] - e[0, 0] * e[1, 2]
            z = e[0, 0] * e[1, 1] - e[0, 1] * e[1, 0]
            double = np.sqrt(x * x + y * y + z * z)
            if double == 0.0:
                continue
            c = 0 if triangles[t, 0] == v else (1 if triangles[t, 1] == v else 2)
            p = (c + 2) % 3
            along = -(e[c, 0] * e[p, 0] + e[c, 1] * e[p, 1] + e[c, 2] * e[p, 2])
            weight = np.arctan2(double, along) / double
            nx += weight * x
            ny += weight * y
            nz += weight * z
        normals[v, 0], normals[v, 1], normals[v, 2] = nx, ny, nz
    make_unit(start, stop, normals)


@kernel
def take_triangles(start, stop, order, rank, triangles, found):
    """Fill rows of found (m, 3) int32: the triangles in some order, over vertices of another number."""
    for n in range(start, stop):
        for c in range(3):
            found[n, c] = rank[triangles[order[n], c]]


@kernel
def bounds_of(start, stop, points, triangles, bulges, low, bounds):
    """Fill columns of bounds (8, m) float32, all that tells how far a triangle is at least.

    Its middle less `low`, how far its corners are from there, its unit normal, and a bound of how far it bulges.
    """
    for t in range(start, stop):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        far = 0.0
        for d in range(3):
            bounds[d, t] = (points[a, d] + points[b, d] + points[c, d]) / 3.0 - low[d]
        for n in range(3):
            square = 0.0
            for d in range(3):
                square += (points[triangles[t, n], d] - low[d] - bounds[d, t]) ** 2
            far = max(far, square)
        bounds[3, t] = np.sqrt(far) * (1.0 + 1e-6)
        ux, uy, uz = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1], points[b, 2] - points[a, 2]
        vx, vy, vz = points[c, 0] - points[a, 0], points[c, 1] - points[a, 1], points[c, 2] - points[a, 2]
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = np.sqrt(x * x + y * y + z * z)
        scale = 1.0 / length if length > 0.0 else 0.0
        bounds[4, t], bounds[5, t], bounds[6, t] = scale * x, scale * y, scale * z
        # products of two weights are at most a quarter
        bounds[7, t] = 0.25 * (max(bulges[t, 0], 0.0) + max(bulges[t, 1], 0.0) + max(bulges[t, 2], 0.0))


@kernel
def bulges_of(start, stop, points, triangles, normals, order, curved, bulges):
    """Fill rows of bulges (m, 3) float32: half of each edge's vector times how the normal changes along it, mm.

    With barycentric weights w, a surface of second order lies w₀w₁ b₀ + w₁w₂ b₁ + w₂w₀ b₂ outside of the flat
    triangle. Along creases it is taken as flat, and so are triangles whose `order` (m,) is `curved` or above.
    """
    for t in range(start, stop):
        for c in range(3):
            if order[t] >= curved:
                bulges[t, c] = np.float32(0.0)
                continue
            i, j = triangles[t, c], triangles[t, (c + 1) % 3]
            turn, along = 0.0, 0.0
            for d in range(3):
                change = normals[j, d] - normals[i, d]
                turn += change * change
                along += change * (points[j, d] - points[i, d])
            fade = (SHARP_TURN - np.sqrt(turn)) / (SHARP_TURN - SMOOTH_TURN)
            bulges[t, c] = 0.5 * along * min(1.0, max(0.0, fade))


@kernel
def lower_bounds(first, last, x, y, z, bounds, lower):
    """Write lower (last - first,) float32: from how far on triangles first .. last may be of a place, less what they bulge.

    x, y, z float32, less the cells' corner. A loop over slices and without branches, so that it does several at a time.
    """
    middle_x, middle_y, middle_z = bounds[0, first:last], bounds[1, first:last], bounds[2, first:last]
    normal_x, normal_y, normal_z = bounds[4, first:last], bounds[5, first:last], bounds[6, first:last]
    rim, bulge = bounds[3, first:last], bounds[7, first:last]
    for n in range(len(rim)):
        dx, dy, dz = middle_x[n] - x, middle_y[n] - y, middle_z[n] - z
        height = dx * normal_x[n] + dy * normal_y[n] + dz * normal_z[n]
        square = height * height
        aside = np.sqrt(max(dx * dx + dy * dy + dz * dz - square, np.float32(0.0))) - rim[n]
        aside = max(aside, np.float32(0.0))
        lower[n] = np.sqrt(square + aside * aside) - bulge[n]


@kernel
def contact(px, py, pz, points, triangles, bulges, row):
    """Distance of p from a triangle, the unit vector from its nearest place to p, and how far it bulges there.

    The vector is nought where p lies on the triangle.

    References
    ----------
    C. Ericson, Real-Time Collision Detection (2005), section 5.1.5.
    """
    a, b, c = triangles[row, 0], triangles[row, 1], triangles[row, 2]
    ax, ay, az = points[a, 0], points[a, 1], points[a, 2]
    bx, by, bz = points[b, 0], points[b, 1], points[b, 2]
    cx, cy, cz = points[c, 0], points[c, 1], points[c, 2]
    ux, uy, uz = bx - ax, by - ay, bz - az
    vx, vy, vz = cx - ax, cy - ay, cz - az
    qx, qy, qz = px - ax, py - ay, pz - az
    d1, d2 = ux * qx + uy * qy + uz * qz, vx * qx + vy * qy + vz * qz
    uu, uv, vv = ux * ux + uy * uy + uz * uz, ux * vx + uy * vy + uz * vz, vx * vx + vy * vy + vz * vz
    d3, d4, d5, d6 = d1 - uu, d2 - uv, d1 - uv, d2 - vv
    # which of corners, edges and inside is nearest: of each, the weights of b and c
    at_a, at_b, at_c = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    if d1 <= 0.0 and d2 <= 0.0:
        wb, wc = 0.0, 0.0
    elif d3 >= 0.0 and d4 <= d3:
        wb, wc = 1.0, 0.0
    elif at_c <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        wb, wc = (d1 / uu if uu > 0.0 else 0.0), 0.0
    elif d6 >= 0.0 and d5 <= d6:
        wb, wc = 0.0, 1.0
    elif at_b <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        wb, wc = 0.0, (d2 / vv if vv > 0.0 else 0.0)
    elif at_a <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        across = (d4 - d3) + (d5 - d6)
        wc = (d4 - d3) / across if across > 0.0 else 0.0
        wb = 1.0 - wc
    else:
        total = at_a + at_b + at_c
        wb, wc = at_b / total, at_c / total
    wa = 1.0 - wb - wc
    x = px - (wa * ax + wb * bx + wc * cx)
    y = py - (wa * ay + wb * by + wc * cy)
    z = pz - (wa * az + wb * bz + wc * cz)
    bulge = wa * wb * bulges[row, 0] + wb * wc * bulges[row, 1] + wc * wa * bulges[row, 2]
    distance = np.sqrt(x * x + y * y + z * z)
    scale = 1.0 / distance if distance > 0.0 else 0.0
    return distance, scale * x, scale * y, scale * z, bulge
