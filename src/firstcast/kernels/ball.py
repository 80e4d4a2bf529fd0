"""Rolling a ball over a surface: where it touches, and where it comes nearest to places that it can't touch.

A ball that touches the surface at a vertex has its centre straight above it; where nothing is in its way the vertex
stays. For any other vertex q the free centre nearest to q is sought: first among the centres above vertices, then by
convex steps. About a free centre x every triangle gives a half-space: if m is its place nearest to x and u points from
m to x, then every place with u · (y - m) ≥ r is at least r from all of the triangle. So the place of all these
half-spaces that is nearest to q is free again and no farther from q, and a few such steps settle.
"""

import numpy as np

from firstcast.kernels.ball_grid import column_ends, run_of, span_of
from firstcast.kernels.ball_halfspaces import nearest_in_halfspaces
from firstcast.kernels.ball_search import seed_in_sight
from firstcast.kernels.ball_surface import contact
from firstcast.kernels.compiling import kernel

MOST_STEPS = 24

SETTLED = 5e-4
"""A step that brings the centre nearer by less than this share of the radius is the last."""

FIRST_STEP, LONGEST_STEP = 0.1, 0.4
"""How far a centre may go in its first step and in any, as a share of the radius: triangles so near are looked at."""

ROOM, GROWTH, SHRINK = 1.5, 2.0, 0.5
"""Triangles are gathered for so many steps ahead; what the next step may be after one that was cut short, or was not."""


@kernel
def mark_fits(start, stop, order, normals, radius, dip, surface, fits):
    """Set fits (n,) bool of vertices order[start .. stop]: no triangle comes into the ball above by more than `dip`."""
    points = surface.points
    for n in range(start, stop):
        v = order[n]
        x = points[v, 0] + radius * normals[v, 0]
        y = points[v, 1] + radius * normals[v, 1]
        z = points[v, 2] + radius * normals[v, 2]
        fits[v] = _is_clear(x, y, z, radius, dip, surface)


@kernel
def _no_nearer(square, height, rim):
    """Least distance of a triangle whose middle is so far, whose plane is so high and whose corners lie within `rim`."""
    aside = np.sqrt(max(square - height * height, np.float32(0.0))) - rim
    return np.sqrt(height * height + aside * aside) if aside > 0.0 else height


@kernel
def _is_clear(x, y, z, radius, dip, surface):
    """Whether no triangle comes nearer to a place than the radius less `dip`."""
    cells, spheres, corners, bulges = surface.cells, surface.spheres, surface.corners, surface.bulges
    index, starts, size = cells.index, cells.starts, cells.size
    far = radius + surface.reach
    i0, i1 = span_of(cells, 0, x - far, x + far)
    j0, j1 = span_of(cells, 1, y - far, y + far)
    cx, cy, cz = x - cells.low[0], y - cells.low[1], z - cells.low[2]
    lx, ly, lz = np.float32(cx), np.float32(cy), np.float32(cz)
    least = np.float32(radius - dip)
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            k, end = column_ends(index, size, i, j, cx, cy, cz, far)
            while k <= end:
                first, last, k = run_of(index, starts, i, j, k, end)
                for row in range(first, last):
                    dx, dy, dz = spheres[row, 0] - lx, spheres[row, 1] - ly, spheres[row, 2] - lz
                    height = abs(dx * spheres[row, 4] + dy * spheres[row, 5] + dz * spheres[row, 6])
                    limit = least + spheres[row, 7]
                    rim = limit + spheres[row, 3]
                    square = dx * dx + dy * dy + dz * dz
                    if (square < rim * rim) & (height < limit):
                        if _no_nearer(square, height, spheres[row, 3]) > limit:
                            continue
                        distance, _, _, _, bulge = contact(x, y, z, corners, bulges, row)
                        if distance - bulge < radius - dip:
                            return False
    return True


@kernel
def _gather(x, far, surface, rows, lower):
    """Note the triangles whose spheres come within `far` of x, and from how far on they may be; returns how many.

    Those beyond the length of `rows` are only counted.
    """
    cells, spheres = surface.cells, surface.spheres
    index, starts, size = cells.index, cells.starts, cells.size
    wide = far + surface.reach
    i0, i1 = span_of(cells, 0, x[0] - wide, x[0] + wide)
    j0, j1 = span_of(cells, 1, x[1] - wide, x[1] + wide)
    cx, cy, cz = x[0] - cells.low[0], x[1] - cells.low[1], x[2] - cells.low[2]
    lx, ly, lz = np.float32(cx), np.float32(cy), np.float32(cz)
    reach, count = np.float32(far), 0
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            k, end = column_ends(index, size, i, j, cx, cy, cz, wide)
            while k <= end:
                first, last, k = run_of(index, starts, i, j, k, end)
                for row in range(first, last):
                    dx, dy, dz = spheres[row, 0] - lx, spheres[row, 1] - ly, spheres[row, 2] - lz
                    limit = reach + spheres[row, 3]
                    square = dx * dx + dy * dy + dz * dz
                    if square < limit * limit:
                        height = abs(dx * spheres[row, 4] + dy * spheres[row, 5] + dz * spheres[row, 6])
                        least = _no_nearer(square, height, spheres[row, 3]) - spheres[row, 7]
                        if least < reach:
                            if count < len(rows):
                                rows[count], lower[count] = row, least
                            count += 1
    return count


@kernel
def _face(x, gone, step, radius, surface, rows, lower, count, planes):
    """Write planes (p, 4) of the gathered triangles that a step may reach from x; returns how many.

    `lower` holds from how far on each triangle may be of the place of gathering, `gone` from there.
    """
    corners, bulges = surface.corners, surface.bulges
    x0, x1, x2 = x[0], x[1], x[2]
    found = 0
    for n in range(count):
        if lower[n] - gone > radius + step:
            continue
        distance, ux, uy, uz, bulge = contact(x0, x1, x2, corners, bulges, rows[n])
        lower[n] = max(lower[n], distance - bulge - gone)
        if distance - bulge > radius + step or distance == 0.0:
            continue
        planes[found, 0], planes[found, 1], planes[found, 2] = ux, uy, uz
        planes[found, 3] = ux * x0 + uy * x1 + uz * x2 + radius + bulge - distance
        found += 1
    return found


@kernel
def _aim(x, q, planes, count, slack, work, target):
    """Write where the half-spaces let the centre come nearest to q; where x itself is in their way they make room."""
    if nearest_in_halfspaces(planes, count, q, slack, work, target):
        return True
    for p in range(count):
        here = planes[p, 0] * x[0] + planes[p, 1] * x[1] + planes[p, 2] * x[2]
        planes[p, 3] = min(planes[p, 3], here)
    return nearest_in_halfspaces(planes, count, q, slack, work, target)


@kernel
def _distance(a, b):
    return np.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)


@kernel
def roll(x, q, radius, slack, surface, buffers, work, target, origin):
    """Move x, a free centre, to the free centre nearest to q that convex steps lead to; returns its distance from q.

    Where the buffers are too short it returns less than nought: how long they must be.
    """
    rows, lower, planes = buffers
    away, step, room, count = _distance(x, q), FIRST_STEP * radius, 0.0, 0
    for _ in range(MOST_STEPS):
        gone = _distance(x, origin) if room > 0.0 else 0.0
        if room - gone < step:
            room = ROOM * step
            count = _gather(x, radius + room, surface, rows, lower)
            if count > len(rows):
                return -float(count)
            gone = 0.0
            for d in range(3):
                origin[d] = x[d]
        found = _face(x, gone, step, radius, surface, rows, lower, count, planes)
        if not _aim(x, q, planes, found, slack, work, target):
            break
        length = _distance(x, target)
        short = length > step
        share = step / length if short else 1.0
        for d in range(3):
            x[d] += share * (target[d] - x[d])
        before, away = away, _distance(x, q)
        if not short and min(length, abs(before - away)) < SETTLED * radius:
            break
        step = min(GROWTH * step, LONGEST_STEP * radius) if short else SHRINK * length
    return away


@kernel
def roll_to(
    start, stop, vertices, normals, radius, reach, slack, surface, cells, seeds, moved, covered
):  # fmt: skip
    """Write moved (n, 3) and covered (n,) of vertices[start .. stop], whose own balls are not free.

    A vertex goes to the place of the nearest free ball that is nearest to it; where there is none within reach it is
    covered, and goes outward by `reach`.
    """
    buffers = (np.empty(1, np.int64), np.empty(1), np.empty((1, 4)))
    work = (np.empty(3, np.int64), np.empty(3, np.int64), np.empty(3))
    x, target, origin = np.empty(3), np.empty(3), np.empty(3)
    for n in range(start, stop):
        v = vertices[n]
        q, normal = surface.points[v], normals[v]
        row = seed_in_sight(v, normal, reach + 2.0 * radius, radius, surface, cells, seeds)
        away = np.inf
        while row >= 0:
            for d in range(3):
                x[d] = seeds[row, d]
            away = roll(x, q, radius, slack, surface, buffers, work, target, origin)
            if away >= 0.0:
                break
            room = 2 * int(-away)
            buffers = (np.empty(room, np.int64), np.empty(room), np.empty((room, 4)))
        covered[v] = away > reach + radius
        for d in range(3):
            if covered[v]:
                moved[v, d] = q[d] + reach * normal[d]
            else:
                moved[v, d] = q[d] + max(0.0, 1.0 - radius / away) * (x[d] - q[d])
