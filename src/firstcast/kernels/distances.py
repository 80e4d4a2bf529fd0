"""Squared distance from a place to a triangle."""

from firstcast.compiling import kernel


@kernel
def squared_to_triangle(px, py, pz, ax, ay, az, bx, by, bz, cx, cy, cz):
    """Squared distance from p to triangle a, b, c, by the region of the triangle's plane that p is over.

    A triangle without area is treated as its longest edge's points allow: the answer is then the
    distance to one of its points, never below the true one by more than rounding.

    References
    ----------
    Ericson 2004, Real-Time Collision Detection, section 5.1.5.
    """
    abx, aby, abz = bx - ax, by - ay, bz - az
    acx, acy, acz = cx - ax, cy - ay, cz - az
    apx, apy, apz = px - ax, py - ay, pz - az
    d1 = abx * apx + aby * apy + abz * apz
    d2 = acx * apx + acy * apy + acz * apz
    if d1 <= 0.0 and d2 <= 0.0:
        return apx * apx + apy * apy + apz * apz
    bpx, bpy, bpz = px - bx, py - by, pz - bz
    d3 = abx * bpx + aby * bpy + abz * bpz
    d4 = acx * bpx + acy * bpy + acz * bpz
    if d3 >= 0.0 and d4 <= d3:
        return bpx * bpx + bpy * bpy + bpz * bpz
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0 and d1 > d3:
        t = d1 / (d1 - d3)
        x, y, z = apx - t * abx, apy - t * aby, apz - t * abz
        return x * x + y * y + z * z
    cpx, cpy, cpz = px - cx, py - cy, pz - cz
    d5 = abx * cpx + aby * cpy + abz * cpz
    d6 = acx * cpx + acy * cpy + acz * cpz
    if d6 >= 0.0 and d5 <= d6:
        return cpx * cpx + cpy * cpy + cpz * cpz
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0 and d2 > d6:
        t = d2 / (d2 - d6)
        x, y, z = apx - t * acx, apy - t * acy, apz - t * acz
        return x * x + y * y + z * z
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and d4 >= d3 and d5 >= d6 and (d4 - d3) + (d5 - d6) > 0.0:
        t = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        x = bpx - t * (cx - bx)
        y = bpy - t * (cy - by)
        z = bpz - t * (cz - bz)
        return x * x + y * y + z * z
    total = va + vb + vc
    if total <= 0.0:
        return apx * apx + apy * apy + apz * apz
    v = vb / total
    w = vc / total
    x = apx - v * abx - w * acx
    y = apy - v * aby - w * acy
    z = apz - v * abz - w * acz
    return x * x + y * y + z * z
