"""Triangles into depth maps: an orthographic z-buffer in bands, and one small map per light.

Screen coordinates: x to the right and y down, both in samples, z towards the viewer. Sample (row, column)
has its centre at (column + 0.5, row + 0.5). A sample on a shared edge belongs to the triangle with the
lower index, and nearer wins strictly, so the result does not depend on how bands share the threads.
"""

import math

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def fill_triangle(screen, a, b, c, name, row_first, row_stop, depth, face):
    """Draw one triangle into rows row_first .. row_stop - 1 of `depth` and `face`.

    screen (n, 3) float64; depth (h, w) float32, nearer is greater; face (h, w) int32 gets `name`.
    """
    ax, ay, az = screen[a, 0], screen[a, 1], screen[a, 2]
    bx, by, bz = screen[b, 0], screen[b, 1], screen[b, 2]
    cx, cy, cz = screen[c, 0], screen[c, 1], screen[c, 2]
    row_low = max(row_first, math.ceil(min(ay, by, cy) - 0.5))
    row_high = min(row_stop - 1, math.floor(max(ay, by, cy) - 0.5))
    if row_low > row_high:
        return
    column_low = max(0, math.ceil(min(ax, bx, cx) - 0.5))
    column_high = min(depth.shape[1] - 1, math.floor(max(ax, bx, cx) - 0.5))
    if column_low > column_high:
        return
    twice_area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    if twice_area == 0.0:
        return
    for row in range(row_low, row_high + 1):
        y = row + 0.5
        for column in range(column_low, column_high + 1):
            x = column + 0.5
            weight_b = ((x - ax) * (cy - ay) - (y - ay) * (cx - ax)) / twice_area
            weight_c = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / twice_area
            weight_a = 1.0 - weight_b - weight_c
            if weight_a < -1e-9 or weight_b < -1e-9 or weight_c < -1e-9:
                continue
            z = np.float32(weight_a * az + weight_b * bz + weight_c * cz)
            if z > depth[row, column]:
                depth[row, column] = z
                face[row, column] = name


@kernel
def bin_triangles(screen, triangles, band_rows, band_count, width):
    """Which triangles touch each band of rows: (starts (band_count + 1,) int64, names int32), in order."""
    starts = np.zeros(band_count + 1, np.int64)
    low = np.empty(len(triangles), np.int32)
    high = np.empty(len(triangles), np.int32)
    for name in range(len(triangles)):
        a, b, c = triangles[name, 0], triangles[name, 1], triangles[name, 2]
        top = min(screen[a, 1], screen[b, 1], screen[c, 1])
        bottom = max(screen[a, 1], screen[b, 1], screen[c, 1])
        left = min(screen[a, 0], screen[b, 0], screen[c, 0])
        right = max(screen[a, 0], screen[b, 0], screen[c, 0])
        first_row, last_row = math.ceil(top - 0.5), math.floor(bottom - 0.5)
        low[name], high[name] = 0, -1
        inside = math.ceil(left - 0.5) <= math.floor(right - 0.5) and right >= 0.0 and left <= width
        if first_row <= last_row and inside and last_row >= 0 and first_row < band_rows * band_count:
            low[name] = max(0, first_row) // band_rows
            high[name] = min(band_count - 1, last_row // band_rows)
        for band in range(low[name], high[name] + 1):
            starts[band + 1] += 1
    for band in range(band_count):
        starts[band + 1] += starts[band]
    names = np.empty(starts[band_count], np.int32)
    cursor = starts[:-1].copy()
    for name in range(len(triangles)):
        for band in range(low[name], high[name] + 1):
            names[cursor[band]] = name
            cursor[band] += 1
    return starts, names


@kernel
def raster_band(screen, triangles, names, row_first, row_stop, depth, face):
    """Draw the named triangles into one band of rows; `depth` and `face` are filled in place."""
    for index in range(len(names)):
        name = names[index]
        a, b, c = triangles[name, 0], triangles[name, 1], triangles[name, 2]
        fill_triangle(screen, a, b, c, name, row_first, row_stop, depth, face)


@kernel
def drop_dots(dots, frame, radius, depth):
    """Mark the map cells about each dot, two by two, as reached by the dot; see `light_map`."""
    size = depth.shape[0]
    scale = size / (2.0 * radius)
    for index in range(len(dots)):
        x, y, z = dots[index, 0], dots[index, 1], dots[index, 2]
        u = (frame[0, 0] * x + frame[0, 1] * y + frame[0, 2] * z + radius) * scale - 0.5
        v = (radius - frame[1, 0] * x - frame[1, 1] * y - frame[1, 2] * z) * scale - 0.5
        reach = np.float32(frame[2, 0] * x + frame[2, 1] * y + frame[2, 2] * z)
        if 0.0 <= u < size - 1 and 0.0 <= v < size - 1:
            column, row = np.uint32(u), np.uint32(v)
            depth[row, column] = max(depth[row, column], reach)
            depth[row, column + 1] = max(depth[row, column + 1], reach)
            depth[row + 1, column] = max(depth[row + 1, column], reach)
            depth[row + 1, column + 1] = max(depth[row + 1, column + 1], reach)


@kernel
def light_map(dots, points, triangles, frame, radius, depth):
    """How far towards one light the mesh reaches, seen from that light.

    dots (k, 3) stand for triangles about as small as a map cell; the others come as they are. dots and points
    (n, 3) float64 are about the middle of the mesh; frame (3, 3) float64 has rows right, up, towards the
    light; the map spans -radius .. radius both ways. depth (size, size) float32 is filled in place.
    """
    size = depth.shape[0]
    scale = size / (2.0 * radius)
    drop_dots(dots, frame, radius, depth)
    screen = np.empty((len(points), 3))
    for index in range(len(points)):
        x, y, z = points[index, 0], points[index, 1], points[index, 2]
        screen[index, 0] = (frame[0, 0] * x + frame[0, 1] * y + frame[0, 2] * z + radius) * scale
        screen[index, 1] = (radius - frame[1, 0] * x - frame[1, 1] * y - frame[1, 2] * z) * scale
        screen[index, 2] = frame[2, 0] * x + frame[2, 1] * y + frame[2, 2] * z
    face = np.empty((size, size), np.int32)
    for name in range(len(triangles)):
        a, b, c = triangles[name, 0], triangles[name, 1], triangles[name, 2]
        fill_triangle(screen, a, b, c, name, 0, size, depth, face)
