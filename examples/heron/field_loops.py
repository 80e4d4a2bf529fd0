"""Compiled loops of the clay: distance to a list of shapes, grain laid on them, and the field on a grid.

Everything is raw arrays. A row of `shapes` is one primitive:
    0 kind   1 operation   2 blend   3 distance factor   4:7 centre   7:16 rows of the map to local axes
    16:22 parameters of the kind
kinds: 0 ellipsoid, 1 round cone along local z, 2 rounded box, 3 ring, 4 rounded frustum, 5 half-space
operations: 0 add, 1 carve, 2 keep only what is within
"""

import math

import numba
import numpy as np

kernel = numba.njit(cache=True, nogil=True, error_model="numpy")

GRAIN_COLUMNS = 18
SHAPE_COLUMNS = 22
BLOCK = 8


@kernel
def _round_cone(x, y, z, first, second, height):
    radial = math.sqrt(x * x + y * y)
    slope = (first - second) / height
    along = math.sqrt(max(1.0 - slope * slope, 1e-9))
    turn = along * z - slope * radial
    if turn < 0.0:
        return math.sqrt(radial * radial + z * z) - first
    if turn > along * height:
        return math.sqrt(radial * radial + (z - height) * (z - height)) - second
    return radial * along + z * slope - first


@kernel
def _frustum(x, y, z, low, high, half, rounding):
    radial = math.sqrt(x * x + y * y)
    share = min(max((z + half) / (2.0 * half), 0.0), 1.0)
    radius = low + (high - low) * share - rounding
    dx = radial - radius
    dz = abs(z) - (half - rounding)
    outside = math.sqrt(max(dx, 0.0) ** 2 + max(dz, 0.0) ** 2)
    return min(max(dx, dz), 0.0) + outside - rounding


@kernel
def _one_shape(shape, px, py, pz):
    x = px - shape[4]
    y = py - shape[5]
    z = pz - shape[6]
    u = shape[7] * x + shape[8] * y + shape[9] * z
    v = shape[10] * x + shape[11] * y + shape[12] * z
    w = shape[13] * x + shape[14] * y + shape[15] * z
    kind = int(shape[0])
    a = shape[16]
    b = shape[17]
    c = shape[18]
    e = shape[19]
    if kind == 0:
        k0 = math.sqrt((u / a) ** 2 + (v / b) ** 2 + (w / c) ** 2)
        k1 = math.sqrt((u / (a * a)) ** 2 + (v / (b * b)) ** 2 + (w / (c * c)) ** 2)
        value = k0 * (k0 - 1.0) / max(k1, 1e-9) if k0 > 1e-6 else -min(a, min(b, c))
    elif kind == 1:
        value = _round_cone(u, v, w, a, b, c)
    elif kind == 2:
        dx = abs(u) - a + e
        dy = abs(v) - b + e
        dz = abs(w) - c + e
        far = math.sqrt(max(dx, 0.0) ** 2 + max(dy, 0.0) ** 2 + max(dz, 0.0) ** 2)
        value = far + min(max(dx, max(dy, dz)), 0.0) - e
    elif kind == 3:
        ring = math.sqrt(u * u + v * v) - a
        value = math.sqrt(ring * ring + w * w) - b
    elif kind == 4:
        value = _frustum(u, v, w, a, b, c, e)
    else:
        value = w
    return value * shape[3]


@kernel
def _join(distance, value, operation, blend):
    if operation == 0:
        other = value
        gap = distance - other
        h = max(blend - abs(gap), 0.0)
        low = min(distance, other)
        return low - h * h * 0.25 / blend if blend > 0.0 else low
    other = -value if operation == 1 else value
    gap = distance - other
    h = max(blend - abs(gap), 0.0)
    high = max(distance, other)
    return high + h * h * 0.25 / blend if blend > 0.0 else high


@kernel
def _listed_distance(shapes, listed, count, px, py, pz):
    distance = 1e3
    for slot in range(count):
        shape = shapes[listed[slot]]
        distance = _join(distance, _one_shape(shape, px, py, pz), int(shape[1]), shape[2])
    return distance


@kernel
def _lattice(i, j, k):
    """A value in 0..1 that depends on the three whole numbers alone."""
    h = (i * 374761393 + j * 668265263 + k * 2147483647 + 974634777) & 0xFFFFFFFF
    h = ((h ^ (h >> 13)) * 1274126177) & 0xFFFFFFFF
    h = ((h ^ (h >> 15)) * 2246822519) & 0xFFFFFFFF
    return ((h ^ (h >> 16)) & 0xFFFFFF) / 16777215.0


@kernel
def _noise(x, y, z):
    i = math.floor(x)
    j = math.floor(y)
    k = math.floor(z)
    u = x - i
    v = y - j
    w = z - k
    u = u * u * u * (u * (u * 6.0 - 15.0) + 10.0)
    v = v * v * v * (v * (v * 6.0 - 15.0) + 10.0)
    w = w * w * w * (w * (w * 6.0 - 15.0) + 10.0)
    a = int(i)
    b = int(j)
    c = int(k)
    low = (
        _lattice(a, b, c) * (1 - u) * (1 - v)
        + _lattice(a + 1, b, c) * u * (1 - v)
        + _lattice(a, b + 1, c) * (1 - u) * v
        + _lattice(a + 1, b + 1, c) * u * v
    )
    high = (
        _lattice(a, b, c + 1) * (1 - u) * (1 - v)
        + _lattice(a + 1, b, c + 1) * u * (1 - v)
        + _lattice(a, b + 1, c + 1) * (1 - u) * v
        + _lattice(a + 1, b + 1, c + 1) * u * v
    )
    return low * (1 - w) + high * w


@kernel
def _grain_height(grain, px, py, pz):
    """Height of one grain row: 0 kind, 1 height, 2:5 centre, 5 reach, 6:15 map, 15 sharpness, 16 offset."""
    x = px - grain[2]
    y = py - grain[3]
    z = pz - grain[4]
    mask = 1.0
    if grain[5] > 0.0:
        far = math.sqrt(x * x + y * y + z * z) / grain[5]
        mask = min(max((1.0 - far) * 3.0, 0.0), 1.0)
        if mask == 0.0:
            return 0.0
    u = grain[6] * x + grain[7] * y + grain[8] * z + grain[16]
    v = grain[9] * x + grain[10] * y + grain[11] * z
    w = grain[12] * x + grain[13] * y + grain[14] * z
    kind = int(grain[0])
    if kind == 0:  # lumps
        value = _noise(u, v, w) + 0.5 * _noise(2.03 * u + 7.1, 2.03 * v, 2.03 * w) - 0.75
    elif kind == 1:  # fibres: sharp valleys
        value = -((1.0 - abs(2.0 * _noise(u, v, w) - 1.0)) ** grain[15])
    elif kind == 2:  # rings of ripples about the local z axis
        wobble = 0.9 * _noise(0.6 * u + 3.0, 0.6 * v, 0.0)
        far = math.sqrt(u * u + v * v)
        value = math.sin(6.2831853 * (far + wobble)) / (1.0 + 0.12 * far)
    elif kind == 4:  # fish scales: rows of bows, each row shifted by half
        row = math.floor(w)
        shift = u + 0.5 * (row - 2.0 * math.floor(0.5 * row))
        bow = shift - math.floor(shift) - 0.5
        value = (w - row) * (1.0 - 2.0 * bow * bow) - 0.4
    else:  # hammered plates: worn scutes up a leg
        turn = w + 0.3 * math.sin(2.0 * math.atan2(v, u))
        saw = 2.0 * (turn - math.floor(turn)) - 1.0
        value = 0.6 - saw * saw * saw * saw
    return grain[1] * value * mask


@kernel
def distances(shapes, points, out):
    """Signed distance of each point to the bare shapes, into `out`."""
    listed = np.arange(len(shapes))
    for n in range(len(points)):
        out[n] = _listed_distance(shapes, listed, len(shapes), points[n, 0], points[n, 1], points[n, 2])


@kernel
def settle(shapes, points, normals, rounds, step):
    """Walk `points` onto the zero surface of the bare shapes, in place; `normals` receives its normals."""
    listed = np.arange(len(shapes))
    count = len(shapes)
    for n in range(len(points)):
        for _ in range(rounds):
            x = points[n, 0]
            y = points[n, 1]
            z = points[n, 2]
            gx = _listed_distance(shapes, listed, count, x + step, y, z)
            gx -= _listed_distance(shapes, listed, count, x - step, y, z)
            gy = _listed_distance(shapes, listed, count, x, y + step, z)
            gy -= _listed_distance(shapes, listed, count, x, y - step, z)
            gz = _listed_distance(shapes, listed, count, x, y, z + step)
            gz -= _listed_distance(shapes, listed, count, x, y, z - step)
            long = max(math.sqrt(gx * gx + gy * gy + gz * gz), 1e-12)
            d = _listed_distance(shapes, listed, count, x, y, z)
            normals[n, 0] = gx / long
            normals[n, 1] = gy / long
            normals[n, 2] = gz / long
            points[n, 0] = x - 0.9 * d * gx / long
            points[n, 1] = y - 0.9 * d * gy / long
            points[n, 2] = z - 0.9 * d * gz / long


@kernel
def fill_field(shapes, grains, origin, pitch, relief, floor, out):
    """Signed distance on the lattice origin + pitch · (i, j, k) near the surface; elsewhere its sign times far.

    What lies below the height `floor` is cut off flat, relief and all.
    """
    nx, ny, nz = out.shape
    count = len(shapes)
    listed = np.empty(count, np.int64)
    value = np.empty(count)
    radius = pitch * BLOCK * 0.8660254
    far = 4.0 * pitch
    for bi in range(0, nx, BLOCK):
        for bj in range(0, ny, BLOCK):
            for bk in range(0, nz, BLOCK):
                cx = origin[0] + pitch * (bi + 3.5)
                cy = origin[1] + pitch * (bj + 3.5)
                cz = origin[2] + pitch * (bk + 3.5)
                distance = 1e3
                for s in range(count):
                    value[s] = _one_shape(shapes[s], cx, cy, cz)
                    distance = _join(distance, value[s], int(shapes[s, 1]), shapes[s, 2])
                ei = min(bi + BLOCK, nx)
                ej = min(bj + BLOCK, ny)
                ek = min(bk + BLOCK, nz)
                at_floor = distance < 0.0 and cz - floor < 2.0 * radius
                if abs(distance) > 1.3 * radius + relief + 2.0 * pitch and not at_floor:
                    fill = far if distance > 0 else -far
                    for i in range(bi, ei):
                        for j in range(bj, ej):
                            for k in range(bk, ek):
                                out[i, j, k] = fill
                    continue
                kept = 0
                for s in range(count):
                    room = 2.6 * radius + shapes[s, 2] + relief + 2.0 * pitch
                    op = int(shapes[s, 1])
                    if op == 2 or (op == 0 and value[s] < distance + room) or (op == 1 and value[s] < room):
                        listed[kept] = s
                        kept += 1
                for i in range(bi, ei):
                    x = origin[0] + pitch * i
                    for j in range(bj, ej):
                        y = origin[1] + pitch * j
                        for k in range(bk, ek):
                            z = origin[2] + pitch * k
                            d = _listed_distance(shapes, listed, kept, x, y, z)
                            if abs(d) < relief + 2.0 * pitch:
                                height = 0.0
                                for g in range(len(grains)):
                                    height += _grain_height(grains[g], x, y, z)
                                d -= height
                            d = max(d, floor - z)
                            out[i, j, k] = min(max(d, -far), far)
