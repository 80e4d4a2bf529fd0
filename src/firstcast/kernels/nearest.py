"""The place of one triangle that is nearest to a place.

Coordinates go in and out one by one, so that they stay in registers.
"""

from firstcast.kernels.compiling import kernel


@kernel(makes_arrays=False)
def _nearest_on_segment(px, py, pz, ax, ay, az, bx, by, bz):
    """Squared distance of p from the segment a-b, and the nearest place."""
    ex, ey, ez = bx - ax, by - ay, bz - az
    along = (px - ax) * ex + (py - ay) * ey + (pz - az) * ez
    length2 = ex * ex + ey * ey + ez * ez
    t = min(1.0, max(0.0, along / length2)) if length2 > 0.0 else 0.0
    x, y, z = ax + t * ex, ay + t * ey, az + t * ez
    return (px - x) ** 2 + (py - y) ** 2 + (pz - z) ** 2, x, y, z


@kernel(makes_arrays=False)
def _nearest_on_edges(px, py, pz, ax, ay, az, bx, by, bz, cx, cy, cz):
    """Squared distance of p from the three edges of a triangle, and the nearest place: for slivers, which have no plane."""
    best2, x, y, z = _nearest_on_segment(px, py, pz, ax, ay, az, bx, by, bz)
    found2, fx, fy, fz = _nearest_on_segment(px, py, pz, bx, by, bz, cx, cy, cz)
    if found2 < best2:
        best2, x, y, z = found2, fx, fy, fz
    found2, fx, fy, fz = _nearest_on_segment(px, py, pz, cx, cy, cz, ax, ay, az)
    if found2 < best2:
        best2, x, y, z = found2, fx, fy, fz
    return best2, x, y, z


@kernel(makes_arrays=False)
def nearest_place(px, py, pz, ax, ay, az, bx, by, bz, cx, cy, cz):
    """Squared distance of p from the triangle a-b-c, and the nearest place.

    Regions as in C. Ericson, Real-Time Collision Detection (2005), section 5.1.5. A triangle whose
    corners lie almost in a line is taken as its three edges.
    """
    abx, aby, abz = bx - ax, by - ay, bz - az
    acx, acy, acz = cx - ax, cy - ay, cz - az
    apx, apy, apz = px - ax, py - ay, pz - az
    ab2 = abx * abx + aby * aby + abz * abz
    ac2 = acx * acx + acy * acy + acz * acz
    ab_ac = abx * acx + aby * acy + abz * acz
    if ab2 * ac2 - ab_ac * ab_ac <= 1e-8 * ab2 * ac2:
        return _nearest_on_edges(px, py, pz, ax, ay, az, bx, by, bz, cx, cy, cz)
    d1 = abx * apx + aby * apy + abz * apz
    d2 = acx * apx + acy * apy + acz * apz
    d3 = d1 - ab2
    d4 = d2 - ab_ac
    d5 = d1 - ab_ac
    d6 = d2 - ac2
    va = d3 * d6 - d5 * d4
    vb = d5 * d2 - d1 * d6
    vc = d1 * d4 - d3 * d2
    if d1 <= 0.0 and d2 <= 0.0:
        v, w = 0.0, 0.0
    elif d3 >= 0.0 and d4 <= d3:
        v, w = 1.0, 0.0
    elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        v, w = d1 / ab2, 0.0
    elif d6 >= 0.0 and d5 <= d6:
        v, w = 0.0, 1.0
    elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        v, w = 0.0, d2 / ac2
    elif va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        w = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        v = 1.0 - w
    else:
        share = 1.0 / (va + vb + vc)
        v, w = vb * share, vc * share
    x, y, z = ax + v * abx + w * acx, ay + v * aby + w * acy, az + v * abz + w * acz
    return (px - x) ** 2 + (py - y) ** 2 + (pz - z) ** 2, x, y, z
