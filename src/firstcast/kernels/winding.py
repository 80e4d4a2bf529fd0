"""Winding numbers: dipoles of a search tree's nodes, and the sum of solid angles."""

import numba
import numpy as np

from firstcast.kernels.compiling import kernel

STACK = 128
"""Room for 16 levels of eight children (see `firstcast.kernels.tree`)."""

BLOCK = 256
"""Queries that one thread takes in a row."""


@kernel(parallel=True)
def dipoles(corners, depth, level_base, area_vector, middle, reach):
    """Fill each node's and leaf's dipole, bottom up.

    `area_vector` (m, 3): sum of area times normal; `middle` (m, 3): area-weighted mean of the
    triangles' centres; `reach` (m,): greatest distance of a corner from `middle`, bounded from above.
    Rows 0 to 2^depth - 1 are leaves; nodes follow, at 2^depth + node.
    """
    n = np.int64(len(corners))
    leaves = np.int64(1) << depth
    levels = len(level_base) - 1
    area = np.zeros(leaves + level_base[levels])
    for leaf in numba.prange(leaves):
        start = (leaf * n) >> depth
        stop = ((leaf + 1) * n) >> depth
        for t in range(start, stop):
            u = corners[t, 1] - corners[t, 0]
            v = corners[t, 2] - corners[t, 0]
            nx = 0.5 * (u[1] * v[2] - u[2] * v[1])
            ny = 0.5 * (u[2] * v[0] - u[0] * v[2])
            nz = 0.5 * (u[0] * v[1] - u[1] * v[0])
            size = np.sqrt(nx * nx + ny * ny + nz * nz)
            area_vector[leaf, 0] += nx
            area_vector[leaf, 1] += ny
            area_vector[leaf, 2] += nz
            area[leaf] += size
            for k in range(3):
                middle[leaf, k] += size * (corners[t, 0, k] + corners[t, 1, k] + corners[t, 2, k]) / 3.0
        for k in range(3):
            if area[leaf] > 0.0:
                middle[leaf, k] /= area[leaf]
            elif stop > start:
                middle[leaf, k] = corners[start, 0, k]
        for t in range(start, stop):
            for c in range(3):
                away = 0.0
                for k in range(3):
                    away += (corners[t, c, k] - middle[leaf, k]) ** 2
                reach[leaf] = max(reach[leaf], np.sqrt(away))
    for above in range(levels):
        level = levels - 1 - above
        children = leaves if level == levels - 1 else level_base[level + 2] - level_base[level + 1]
        first = np.int64(0) if level == levels - 1 else leaves + level_base[level + 1]
        for node in numba.prange(level_base[level + 1] - level_base[level]):
            row = leaves + level_base[level] + node
            low = first + 8 * node
            high = first + min(8 * node + 8, children)
            for child in range(low, high):
                area[row] += area[child]
                for k in range(3):
                    area_vector[row, k] += area_vector[child, k]
                    middle[row, k] += area[child] * middle[child, k]
            for k in range(3):
                if area[row] > 0.0:
                    middle[row, k] /= area[row]
                else:
                    middle[row, k] = middle[low, k]
            for child in range(low, high):
                away = 0.0
                for k in range(3):
                    away += (middle[child, k] - middle[row, k]) ** 2
                reach[row] = max(reach[row], np.sqrt(away) + reach[child])


@kernel
def _solid_angle(p, corner):
    """Signed solid angle of a triangle seen from `p` (Van Oosterom and Strackee 1983)."""
    ax, ay, az = corner[0, 0] - p[0], corner[0, 1] - p[1], corner[0, 2] - p[2]
    bx, by, bz = corner[1, 0] - p[0], corner[1, 1] - p[1], corner[1, 2] - p[2]
    cx, cy, cz = corner[2, 0] - p[0], corner[2, 1] - p[1], corner[2, 2] - p[2]
    a = np.sqrt(ax * ax + ay * ay + az * az)
    b = np.sqrt(bx * bx + by * by + bz * bz)
    c = np.sqrt(cx * cx + cy * cy + cz * cz)
    top = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    ab = ax * bx + ay * by + az * bz
    bc = bx * cx + by * cy + bz * cz
    ca = cx * ax + cy * ay + cz * az
    return 2.0 * np.arctan2(top, a * b * c + ab * c + bc * a + ca * b)


@kernel(parallel=True)
def winding(queries, corners, depth, level_base, area_vector, middle, reach, opening, out):
    """Fill `out` (n,) with the winding number of each query.

    What is farther off than `opening` times its reach counts as one dipole (Barill et al. 2018).
    """
    n = np.int64(len(corners))
    leaves = np.int64(1) << depth
    levels = len(level_base) - 1
    for block in numba.prange((len(queries) + BLOCK - 1) // BLOCK):
        stack_node = np.empty(STACK, np.int64)
        stack_level = np.empty(STACK, np.int64)
        for q in range(block * BLOCK, min(len(queries), (block + 1) * BLOCK)):
            p = queries[q]
            total = 0.0
            size = 1
            stack_node[0] = 0
            stack_level[0] = 0
            while size > 0:
                size -= 1
                node = stack_node[size]
                level = stack_level[size]
                row = node if level == levels else leaves + level_base[level] + node
                dx, dy, dz = middle[row, 0] - p[0], middle[row, 1] - p[1], middle[row, 2] - p[2]
                away2 = dx * dx + dy * dy + dz * dz
                if away2 > (opening * reach[row]) ** 2:
                    dot = dx * area_vector[row, 0] + dy * area_vector[row, 1] + dz * area_vector[row, 2]
                    total += dot / (away2 * np.sqrt(away2))
                elif level == levels:
                    for t in range((node * n) >> depth, ((node + 1) * n) >> depth):
                        total += _solid_angle(p, corners[t])
                else:
                    children = (
                        leaves if level == levels - 1 else level_base[level + 2] - level_base[level + 1]
                    )
                    for child in range(8 * node, min(8 * node + 8, children)):
                        stack_node[size] = child
                        stack_level[size] = level + 1
                        size += 1
            out[q] = total / (4.0 * np.pi)


@kernel(parallel=True)
def winding_at(place, points, triangles):
    """The winding number of one place, every triangle counted: points (n, 3) float32, triangles (m, 3) int32."""
    m = len(triangles)
    size = 4096
    blocks = (m + size - 1) // size
    sums = np.zeros(blocks)
    for block in numba.prange(blocks):
        corner = np.empty((3, 3))
        for t in range(block * size, min(m, (block + 1) * size)):
            for c in range(3):
                for k in range(3):
                    corner[c, k] = points[triangles[t, c], k]
            sums[block] += _solid_angle(place, corner)
    total = 0.0
    for block in range(blocks):
        total += sums[block]
    return total / (4.0 * np.pi)
