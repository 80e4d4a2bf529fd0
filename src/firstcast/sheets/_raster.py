"""Triangles into depth maps: an orthographic z-buffer in bands, and one small map per light.

Screen coordinates: x to the right and y down, both in samples, z towards the viewer. Sample (row, column)
has its centre at (column + 0.5, row + 0.5). A sample on a shared edge belongs to the triangle with the
lower index, and nearer wins strictly, so the result does not depend on how bands share the threads.
"""

import math

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def raster_band(screen, triangles, names, row_first, row_stop, depth, face):
    """Draw the named triangles into rows row_first .. row_stop - 1 of `depth` and `face`, in place.

    screen (n, 3) float64; depth (h, w) float32, nearer is greater; face (h, w) int32 gets the triangle's name.
    """
    last_column = depth.shape[1] - 1
    for index in range(len(names)):
        name = names[index]
        a, b, c = triangles[name, 0], triangles[name, 1], triangles[name, 2]
        ax, ay, az = screen[a, 0], screen[a, 1], screen[a, 2]
        bx, by, bz = screen[b, 0] - ax, screen[b, 1] - ay, screen[b, 2] - az
        cx, cy, cz = screen[c, 0] - ax, screen[c, 1] - ay, screen[c, 2] - az
        twice_area = bx * cy - by * cx
        if twice_area == 0.0:
            continue
        row_low = max(row_first, math.ceil(ay + min(0.0, by, cy) - 0.5))
        row_high = min(row_stop - 1, math.floor(ay + max(0.0, by, cy) - 0.5))
        column_low = max(0, math.ceil(ax + min(0.0, bx, cx) - 0.5))
        column_high = min(last_column, math.floor(ax + max(0.0, bx, cx) - 0.5))
        share = 1.0 / twice_area
        for row in range(row_low, row_high + 1):
            y = row + 0.5 - ay
            for column in range(column_low, column_high + 1):
                x = column + 0.5 - ax
                weight_b = (x * cy - y * cx) * share
                weight_c = (bx * y - by * x) * share
                if weight_b < -1e-9 or weight_c < -1e-9 or weight_b + weight_c > 1.0 + 1e-9:
                    continue
                z = np.float32(az + weight_b * bz + weight_c * cz)
                if z > depth[row, column]:
                    depth[row, column] = z
                    face[row, column] = name


@kernel
def spread_dots(points, triangles, spacing, dots):
    """Spread dots over triangles, about `spacing` apart, in rows along each one's longest edge; gives their number.

    dots (k, 3) float32 is filled in place, as far as it goes: with k = 0 the dots are only counted.
    """
    count = 0
    for name in range(len(triangles)):
        first, longest = 0, -1.0
        for k in range(3):
            p, q = triangles[name, k], triangles[name, (k + 1) % 3]
            x, y, z = points[q, 0] - points[p, 0], points[q, 1] - points[p, 1], points[q, 2] - points[p, 2]
            if x * x + y * y + z * z > longest:
                first, longest = k, x * x + y * y + z * z
        length = math.sqrt(longest)
        a, b, c = triangles[name, first], triangles[name, (first + 1) % 3], triangles[name, (first + 2) % 3]
        ux, uy, uz = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1], points[b, 2] - points[a, 2]
        vx, vy, vz = points[c, 0] - points[a, 0], points[c, 1] - points[a, 1], points[c, 2] - points[a, 2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        tall = math.sqrt(nx * nx + ny * ny + nz * nz) / length
        rows = max(1, int(tall / spacing + 0.5))
        for row in range(rows):
            up = (row + 0.5) / rows
            across = max(1, int(length * (1.0 - up) / spacing + 0.5))
            for k in range(min(across, len(dots) - count)):
                along = (k + 0.5) / across * (1.0 - up)
                dots[count + k, 0] = points[a, 0] + along * ux + up * vx
                dots[count + k, 1] = points[a, 1] + along * uy + up * vy
                dots[count + k, 2] = points[a, 2] + along * uz + up * vz
            count += across
    return count


@kernel
def light_map(dots, frame, radius, depth):
    """How far towards one light a surface reaches, seen from that light: dots mark the four cells about them.

    dots (k, 3) float32 are about the middle of the mesh; frame (3, 3) float64 has rows right, up, towards the
    light; the map spans -radius .. radius both ways. depth (size, size) float32 is filled in place.
    """
    size = depth.shape[0]
    scale, middle = size / (2.0 * radius), 0.5 * size - 0.5
    for row in range(size):
        for column in range(size):
            depth[row, column] = -np.inf
    for index in range(len(dots)):
        x, y, z = np.float64(dots[index, 0]), np.float64(dots[index, 1]), np.float64(dots[index, 2])
        u = middle + scale * (frame[0, 0] * x + frame[0, 1] * y + frame[0, 2] * z)
        v = middle - scale * (frame[1, 0] * x + frame[1, 1] * y + frame[1, 2] * z)
        if 0.0 <= u < size - 1 and 0.0 <= v < size - 1:
            reach = np.float32(frame[2, 0] * x + frame[2, 1] * y + frame[2, 2] * z)
            column, row = np.uint32(u), np.uint32(v)
            depth[row, column] = max(depth[row, column], reach)
            depth[row, column + 1] = max(depth[row, column + 1], reach)
            depth[row + 1, column] = max(depth[row + 1, column], reach)
            depth[row + 1, column + 1] = max(depth[row + 1, column + 1], reach)
