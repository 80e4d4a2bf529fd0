"""Light on the drawn samples: smooth normals that keep hard edges, and many small lights with their shadows."""

import math

import numpy as np

from firstcast.kernels.compiling import kernel

LIFT = 0.8
"""How far a surface may lie below its shadow map and still be lit, as a share of the distance that light is worked out from it."""


@kernel
def face_normals(points, triangles, normals, angles):
    """Unit normals (m, 3) float32 and corner angles (m, 3) float32, filled in place; left alone where flat."""
    for name in range(len(triangles)):
        a, b, c = triangles[name, 0], triangles[name, 1], triangles[name, 2]
        ux, uy, uz = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1], points[b, 2] - points[a, 2]
        vx, vy, vz = points[c, 0] - points[a, 0], points[c, 1] - points[a, 1], points[c, 2] - points[a, 2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = math.sqrt(nx * nx + ny * ny + nz * nz)
        if length > 0.0:
            normals[name, 0], normals[name, 1], normals[name, 2] = nx / length, ny / length, nz / length
            cosine = ux * vx + uy * vy + uz * vz
            angles[name, 0] = math.atan2(length, cosine)
            angles[name, 1] = math.atan2(length, ux * ux + uy * uy + uz * uz - cosine)
            angles[name, 2] = math.atan2(length, vx * vx + vy * vy + vz * vz - cosine)


@kernel
def corner_normals(span, starts, corners, normals, angles, crease_cosine, out):
    """Per-corner normals: the angle-weighted mean of the faces about the corner's point that turn away
    from the corner's own face by less than the crease angle.

    span (2,) int64: the first point and the one after the last; starts (n + 1,) int64 and corners (3m,) int32 list the corners
    (3 * triangle + k) of each point. out (m, 3, 3) float32 is filled in place.
    """
    for point in range(span[0], span[1]):
        for index in range(starts[point], starts[point + 1]):
            own, k = corners[index] // 3, corners[index] % 3
            x = y = z = 0.0
            for other_index in range(starts[point], starts[point + 1]):
                other, other_k = corners[other_index] // 3, corners[other_index] % 3
                turn = (
                    normals[own, 0] * normals[other, 0]
                    + normals[own, 1] * normals[other, 1]
                    + normals[own, 2] * normals[other, 2]
                )
                if turn >= crease_cosine:
                    x += angles[other, other_k] * normals[other, 0]
                    y += angles[other, other_k] * normals[other, 1]
                    z += angles[other, other_k] * normals[other, 2]
            length = math.sqrt(x * x + y * y + z * z)
            if length > 0.0:
                out[own, k, 0], out[own, k, 1], out[own, k, 2] = x / length, y / length, z / length
            else:
                out[own, k, 0], out[own, k, 1], out[own, k, 2] = (
                    normals[own, 0],
                    normals[own, 1],
                    normals[own, 2],
                )


@kernel
def surface_band(row_first, row_stop, screen, triangles, face, normals, axes, colour, normal, tint):
    """View-space normal, and colour if there are any, of every drawn sample in a band of rows.

    axes (4, 3) float64: right, up, towards the viewer, and (x0, y0, scale) so that screen x = x0 + (p . right)
    scale and y = y0 - (p . up) scale. colour (n, 3) float32 per point, or (0, 3).
    normal (h, w, 3) float32 gets right, up, towards; tint (h, w, 3) float32 the colour, or is (0, 0, 3).
    """
    for row in range(row_first, row_stop):
        for column in range(face.shape[1]):
            name = face[row, column]
            if name < 0:
                continue
            a, b, c = triangles[name, 0], triangles[name, 1], triangles[name, 2]
            ax, ay = screen[a, 0], screen[a, 1]
            bx, by, cx, cy = screen[b, 0] - ax, screen[b, 1] - ay, screen[c, 0] - ax, screen[c, 1] - ay
            x, y = column + 0.5 - ax, row + 0.5 - ay
            twice_area = bx * cy - by * cx
            q = (x * cy - y * cx) / twice_area
            r = (bx * y - by * x) / twice_area
            p = 1.0 - q - r
            nx = p * normals[name, 0, 0] + q * normals[name, 1, 0] + r * normals[name, 2, 0]
            ny = p * normals[name, 0, 1] + q * normals[name, 1, 1] + r * normals[name, 2, 1]
            nz = p * normals[name, 0, 2] + q * normals[name, 1, 2] + r * normals[name, 2, 2]
            # y runs down on the screen, so a triangle seen from outside has a negative area there.
            length = math.copysign(max(1e-12, math.sqrt(nx * nx + ny * ny + nz * nz)), -twice_area)
            for axis in range(3):
                turned = axes[axis, 0] * nx + axes[axis, 1] * ny + axes[axis, 2] * nz
                normal[row, column, axis] = turned / length
                if len(colour):
                    tint[row, column, axis] = p * colour[a, axis] + q * colour[b, axis] + r * colour[c, axis]


@kernel
def share_at(x, y, z, nx, ny, nz, sky, key, radius):
    """The share of all light that arrives at a place on a surface.

    x, y, z are about the middle of the mesh; sky and key are (frames, maps, weights, offset). The place is lifted
    along its normal by `offset`, about one map cell, so that a surface does not shadow itself. Shadows are smooth
    across the four nearest map cells.
    """
    total = unshaded = 0.0
    for frames, maps, weights, offset in (sky, key):
        px, py, pz = x + offset * nx, y + offset * ny, z + offset * nz
        most = maps.shape[1] - 1
        scale, middle = maps.shape[1] / (2.0 * radius), 0.5 * most
        for light in range(len(weights)):
            frame = frames[light]
            facing = weights[light] * (frame[2, 0] * nx + frame[2, 1] * ny + frame[2, 2] * nz)
            if facing <= 0.0:
                continue
            unshaded += facing
            u = (frame[0, 0] * px + frame[0, 1] * py + frame[0, 2] * pz) * scale + middle
            v = middle - (frame[1, 0] * px + frame[1, 1] * py + frame[1, 2] * pz) * scale
            lit = 1.0
            if 0.0 <= u < most and 0.0 <= v < most:
                reach = frame[2, 0] * px + frame[2, 1] * py + frame[2, 2] * pz + LIFT * offset
                column, row = np.uint32(u), np.uint32(v)
                across, down = u - column, v - row
                if maps[light, row, column] > reach:
                    lit -= (1.0 - across) * (1.0 - down)
                if maps[light, row, column + 1] > reach:
                    lit -= across * (1.0 - down)
                if maps[light, row + 1, column] > reach:
                    lit -= (1.0 - across) * down
                if maps[light, row + 1, column + 1] > reach:
                    lit -= across * down
            total += facing * lit
    return total / max(1e-9, unshaded)


@kernel
def first_alike(depth, normal, top, left, stop, row, column, near):
    """The first sample of a block that lies on one smooth surface with a sample of it, so that one light serves both.

    The block starts at (top, left) and its columns end before `stop`; samples go in reading order, up to
    (row, column), which is its own answer where none came before.
    """
    for i in range(top, row + 1):
        for j in range(left, column if i == row else stop):
            if abs(depth[row, column] - depth[i, j]) <= near:
                dot = 0.0
                for axis in range(3):
                    dot += normal[row, column, axis] * normal[i, j, axis]
                if dot > 0.98:
                    return i, j
    return row, column


@kernel
def light_band(row_first, row_stop, block, near, depth, normal, axes, middle, sky, key, radius, share):
    """The share of light that arrives at every drawn sample of a band of rows; `share` (h, w) float32 in place.

    One light is worked out for each smooth surface in a block of `block` by `block` samples. `near` is how far its
    depths may lie apart, mm.
    """
    right, up, towards, fit = axes[0], axes[1], axes[2], axes[3]
    columns = depth.shape[1]
    for row in range(row_first, row_stop):
        top = row - (row - row_first) % block
        for column in range(columns):
            if depth[row, column] == -np.inf:
                continue
            left = column - column % block
            i, j = first_alike(depth, normal, top, left, min(columns, left + block), row, column, near)
            if i != row or j != column:
                share[row, column] = share[i, j]
                continue
            s, t, d = (column + 0.5 - fit[0]) / fit[2], (fit[1] - row - 0.5) / fit[2], depth[row, column]
            nr, nu, nt = normal[row, column, 0], normal[row, column, 1], normal[row, column, 2]
            share[row, column] = share_at(
                s * right[0] + t * up[0] + d * towards[0] - middle[0],
                s * right[1] + t * up[1] + d * towards[1] - middle[1],
                s * right[2] + t * up[2] + d * towards[2] - middle[2],
                nr * right[0] + nu * up[0] + nt * towards[0],
                nr * right[1] + nu * up[1] + nt * towards[1],
                nr * right[2] + nu * up[2] + nt * towards[2],
                sky, key, radius,
            )  # fmt: skip


@kernel
def ground_band(row_first, row_stop, step, axes, ground, middle, sky, key, radius, out):
    """Share of light left on the ground about the figure, as if the ground were seen a little from above.

    Row i and column j of out (h, w) float32 stand for the i-th and j-th block of `step` samples each way. ground (6,) float64: height z,
    share of foreshortening, screen row of the contact, its distance towards the viewer, and the squared radii
    about (middle) within which the shade is whole and beyond which there is none.
    """
    right, towards, fit = axes[0], axes[2], axes[3]
    flat = math.sqrt(max(1e-12, towards[0] * towards[0] + towards[1] * towards[1]))
    forward_x, forward_y = towards[0] / flat, towards[1] / flat
    z = ground[0] - middle[2]
    for row in range(row_first, row_stop):
        nearer = ((row + 0.5) * step - ground[2]) / (fit[2] * ground[1]) + ground[3]
        for column in range(out.shape[1]):
            s = ((column + 0.5) * step - fit[0]) / fit[2]
            x = s * right[0] + nearer * forward_x - middle[0]
            y = s * right[1] + nearer * forward_y - middle[1]
            fade = min(1.0, (ground[5] - x * x - y * y) / (ground[5] - ground[4]))
            if fade > 0.0:
                light = share_at(x, y, z, 0.0, 0.0, 1.0, sky, key, radius)
                out[row, column] = 1.0 - fade * fade * (3.0 - 2.0 * fade) * (1.0 - light)
