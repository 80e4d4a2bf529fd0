"""Light on the drawn samples: smooth normals that keep hard edges, many small lights, cavities and ink."""

import math

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def face_normals(points, triangles):
    """Unit normals (m, 3) float32 and corner angles (m, 3) float32; zeros where a triangle is flat."""
    normals = np.zeros((len(triangles), 3), np.float32)
    angles = np.zeros((len(triangles), 3), np.float32)
    edges = np.empty((3, 3))
    for name in range(len(triangles)):
        for k in range(3):
            for axis in range(3):
                edges[k, axis] = points[triangles[name, (k + 1) % 3], axis] - points[triangles[name, k], axis]
        nx = edges[0, 1] * edges[1, 2] - edges[0, 2] * edges[1, 1]
        ny = edges[0, 2] * edges[1, 0] - edges[0, 0] * edges[1, 2]
        nz = edges[0, 0] * edges[1, 1] - edges[0, 1] * edges[1, 0]
        length = math.sqrt(nx * nx + ny * ny + nz * nz)
        if length == 0.0:
            continue
        normals[name, 0], normals[name, 1], normals[name, 2] = nx / length, ny / length, nz / length
        for k in range(3):
            before = (k + 2) % 3
            dot = 0.0
            for axis in range(3):
                dot -= edges[k, axis] * edges[before, axis]
            angles[name, k] = math.atan2(length, dot)
    return normals, angles


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
def lit_share(x, y, z, frames, maps, radius, light, bias):
    """How much of one light reaches a place: 0 to 1, smooth across the four nearest map cells."""
    size = maps.shape[1]
    scale = size / (2.0 * radius)
    u = (frames[light, 0, 0] * x + frames[light, 0, 1] * y + frames[light, 0, 2] * z + radius) * scale - 0.5
    v = (radius - frames[light, 1, 0] * x - frames[light, 1, 1] * y - frames[light, 1, 2] * z) * scale - 0.5
    if u < 0.0 or v < 0.0 or u >= size - 1 or v >= size - 1:
        return 1.0
    reach = frames[light, 2, 0] * x + frames[light, 2, 1] * y + frames[light, 2, 2] * z + bias
    column, row = np.uint32(u), np.uint32(v)
    across, down = u - column, v - row
    lit = 0.0
    if maps[light, row, column] <= reach:
        lit += (1.0 - across) * (1.0 - down)
    if maps[light, row, column + 1] <= reach:
        lit += across * (1.0 - down)
    if maps[light, row + 1, column] <= reach:
        lit += (1.0 - across) * down
    if maps[light, row + 1, column + 1] <= reach:
        lit += across * down
    return lit


@kernel
def sky_light(x, y, z, nx, ny, nz, frames, maps, weights, radius, offset):
    """Light that a place receives from many lights spread wide, each shadowed by one map cell; and what it
    would receive if nothing stood in the way.

    x, y, z are about the middle of the mesh. The place is lifted along its normal by `offset`, about one map
    cell, so that a surface does not shadow itself.
    """
    x, y, z = x + offset * nx, y + offset * ny, z + offset * nz
    size = maps.shape[1]
    scale = size / (2.0 * radius)
    total = unshaded = 0.0
    for light in range(len(weights)):
        facing = frames[light, 2, 0] * nx + frames[light, 2, 1] * ny + frames[light, 2, 2] * nz
        if facing <= 0.0:
            continue
        unshaded += weights[light] * facing
        u = (frames[light, 0, 0] * x + frames[light, 0, 1] * y + frames[light, 0, 2] * z + radius) * scale
        v = (radius - frames[light, 1, 0] * x - frames[light, 1, 1] * y - frames[light, 1, 2] * z) * scale
        reach = frames[light, 2, 0] * x + frames[light, 2, 1] * y + frames[light, 2, 2] * z + 0.6 * offset
        open_sky = u < 0.0 or v < 0.0 or u >= size or v >= size
        if open_sky or maps[light, np.uint32(v), np.uint32(u)] <= reach:
            total += weights[light] * facing
    return total, unshaded


@kernel
def key_light(x, y, z, nx, ny, nz, frames, maps, weights, radius, offset):
    """Light that a place receives from a tight bundle of lights, each shadowed smoothly; see `sky_light`."""
    x, y, z = x + offset * nx, y + offset * ny, z + offset * nz
    total = unshaded = 0.0
    for light in range(len(weights)):
        facing = frames[light, 2, 0] * nx + frames[light, 2, 1] * ny + frames[light, 2, 2] * nz
        if facing > 0.0:
            unshaded += weights[light] * facing
            total += weights[light] * facing * lit_share(x, y, z, frames, maps, radius, light, 0.6 * offset)
    return total, unshaded


@kernel
def surface_band(row_first, row_stop, screen, triangles, face, normals, axes, colour, out):
    """View-space normal and colour of every drawn sample in a band of rows.

    axes (4, 3) float64: right, up, towards the viewer, and (x0, y0, scale) so that screen x = x0 + (p . right)
    scale and y = y0 - (p . up) scale. colour (n, 3) float32 per point, or (0, 3).
    out (h, w, 8) float32: unshaded light, normal (right, up, towards), colour, share of light; light is left alone.
    """
    blend = np.empty(3)
    normal = np.empty(3)
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
            blend[1] = (x * cy - y * cx) / twice_area
            blend[2] = (bx * y - by * x) / twice_area
            blend[0] = 1.0 - blend[1] - blend[2]
            normal[:] = 0.0
            for k in range(3):
                for axis in range(3):
                    normal[axis] += blend[k] * normals[name, k, axis]
                    if len(colour):
                        out[row, column, 4 + axis] += blend[k] * colour[triangles[name, k], axis]
            length = math.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
            # y runs down on the screen, so a triangle seen from outside has a negative area there.
            length = max(length, 1e-12) if twice_area < 0.0 else -max(length, 1e-12)
            for axis in range(3):
                turned = axes[axis, 0] * normal[0] + axes[axis, 1] * normal[1] + axes[axis, 2] * normal[2]
                out[row, column, 1 + axis] = turned / length


@kernel
def same_surface(depth, out, row, column, other_row, other_column, near):
    """Whether two samples of one pixel lie on one smooth surface, so that one light serves both."""
    if abs(depth[row, column] - depth[other_row, other_column]) > near:
        return False
    dot = 0.0
    for axis in range(1, 4):
        dot += out[row, column, axis] * out[other_row, other_column, axis]
    return dot > 0.98


@kernel
def light_sample(row, column, depth, axes, middle, sky, key, radius, out):
    """Light on one drawn sample if nothing stood in the way, and the share of it that arrives."""
    right, up, towards, fit = axes[0], axes[1], axes[2], axes[3]
    s, t, d = (column + 0.5 - fit[0]) / fit[2], (fit[1] - row - 0.5) / fit[2], depth[row, column]
    nr, nu, nt = out[row, column, 1], out[row, column, 2], out[row, column, 3]
    x = s * right[0] + t * up[0] + d * towards[0] - middle[0]
    y = s * right[1] + t * up[1] + d * towards[1] - middle[1]
    z = s * right[2] + t * up[2] + d * towards[2] - middle[2]
    nx = nr * right[0] + nu * up[0] + nt * towards[0]
    ny = nr * right[1] + nu * up[1] + nt * towards[1]
    nz = nr * right[2] + nu * up[2] + nt * towards[2]
    lit, unshaded = sky_light(x, y, z, nx, ny, nz, sky[0], sky[1], sky[2], radius, sky[3])
    key_lit, key_unshaded = key_light(x, y, z, nx, ny, nz, key[0], key[1], key[2], radius, key[3])
    unshaded += key_unshaded
    return unshaded, (lit + key_lit) / max(1e-9, unshaded)


@kernel
def light_band(row_first, row_stop, samples, depth, axes, middle, sky, key, radius, out):
    """Light on every drawn sample of a band of pixel rows: unshaded into out[..., 0], the share that arrives
    into out[..., 7].

    One light is worked out per pixel and surface: samples of a pixel that lie on one smooth surface share it.
    sky and key are (frames, maps, weights, offset).
    """
    near = 3.0 * samples / axes[3, 2]
    for pixel_row in range(row_first, row_stop):
        for pixel_column in range(depth.shape[1] // samples):
            for k in range(samples * samples):
                row = pixel_row * samples + k // samples
                column = pixel_column * samples + k % samples
                if depth[row, column] == -np.inf:
                    continue
                light = share = -1.0
                for j in range(k):
                    other_row = pixel_row * samples + j // samples
                    other_column = pixel_column * samples + j % samples
                    if same_surface(depth, out, row, column, other_row, other_column, near):
                        light, share = out[other_row, other_column, 0], out[other_row, other_column, 7]
                        break
                if light < 0.0:
                    light, share = light_sample(row, column, depth, axes, middle, sky, key, radius, out)
                out[row, column, 0], out[row, column, 7] = light, share


@kernel
def ground_band(row_first, row_stop, step, axes, ground, middle, sky, key, radius, out):
    """Share of light left on the ground about the figure, as if the ground were seen a little from above.

    Row i and column j of out (h, w) float32 stand for sample (i * step, j * step). ground (6,) float64: height z,
    share of foreshortening, screen row of the contact, its distance towards the viewer, and the squared radii
    about (middle) within which the shade is whole and beyond which there is none.
    """
    right, towards, fit = axes[0], axes[2], axes[3]
    flat = math.sqrt(max(1e-12, towards[0] * towards[0] + towards[1] * towards[1]))
    forward_x, forward_y = towards[0] / flat, towards[1] / flat
    z = ground[0] - middle[2]
    for row in range(row_first, row_stop):
        nearer = (row * step + 0.5 - ground[2]) / (fit[2] * ground[1]) + ground[3]
        for column in range(out.shape[1]):
            s = (column * step + 0.5 - fit[0]) / fit[2]
            x = s * right[0] + nearer * forward_x - middle[0]
            y = s * right[1] + nearer * forward_y - middle[1]
            fade = (ground[5] - x * x - y * y) / (ground[5] - ground[4])
            if fade <= 0.0:
                continue
            fade = min(1.0, fade)
            lit, full = sky_light(x, y, z, 0.0, 0.0, 1.0, sky[0], sky[1], sky[2], radius, sky[3])
            key_lit, key_full = key_light(x, y, z, 0.0, 0.0, 1.0, key[0], key[1], key[2], radius, key[3])
            light = (lit + key_lit) / (full + key_full)
            out[row, column] = 1.0 - fade * fade * (3.0 - 2.0 * fade) * (1.0 - light)


@kernel
def even_band(row_first, row_stop, step, depth, axes, shading, out):
    """Tone of every drawn sample: unshaded light times the share that arrives, the share evened out.

    The share is a mean over 25 samples, `step` apart, that lie near the sample's own tangent plane: it
    takes away the steps that single lights leave. out (h, w) float32 is filled in place.
    """
    rows, columns = depth.shape
    for row in range(row_first, row_stop):
        for column in range(columns):
            here = depth[row, column]
            if here == -np.inf:
                continue
            steep = max(0.2, shading[row, column, 3]) * axes[3, 2]
            slope_across, slope_down = -shading[row, column, 1] / steep, shading[row, column, 2] / steep
            near = 2.0 * step / axes[3, 2]
            total = weight = 0.0
            for i in range(-2, 3):
                for j in range(-2, 3):
                    other_row, other_column = row + i * step, column + j * step
                    if not (0 <= other_row < rows and 0 <= other_column < columns):
                        continue
                    off = abs(
                        depth[other_row, other_column]
                        - here
                        - slope_across * j * step
                        - slope_down * i * step
                    )
                    if off < near:
                        part = (3.0 - abs(i)) * (3.0 - abs(j)) * (1.0 - off / near)
                        total += part * shading[other_row, other_column, 7]
                        weight += part
            out[row, column] = shading[row, column, 0] * total / weight
