"""Rolling a ball over a surface: where it touches, and where it comes nearest to places that it can't touch.

A ball that touches the surface at a vertex has its centre straight above it; where nothing is in its way the vertex
stays. For any other vertex q the free centre nearest to q is sought by convex steps. They start from the centre of a
neighbour on the surface, so that balls roll in from the rim, round by round, and none gets through a wall. About a free centre x every triangle gives a half-space: if m is its place nearest to x and u points from
m to x, then every place with u · (y - m) ≥ r is at least r from all of the triangle. So the place of all these
half-spaces that is nearest to q is free again and no farther from q, and a few such steps settle.
"""

from typing import NamedTuple

import numpy as np

from firstcast.kernels.ball_grid import column_ends, run_of, span_of
from firstcast.kernels.ball_halfspaces import nearest_in_halfspaces
from firstcast.kernels.ball_surface import contact
from firstcast.kernels.compiling import kernel

MOST_STEPS = 24

SETTLED = 5e-4
"""A step that brings the centre nearer by less than this share of the radius is the last."""

FIRST_STEP, LONGEST_STEP = 0.1, 0.4
"""How far a centre may go in its first step and in any, as a share of the radius: triangles so near are looked at."""

ROOM, GROWTH, SHRINK = 1.5, 2.0, 0.5
"""Triangles are gathered for so many steps ahead; what the next step may be after one that was cut short, or was not."""

UNSETTLED = 1 << 30
"""Round of vertices that no ball has reached; those that touch one themselves are of round 0."""

BETTER = 0.01
"""How much nearer, as a share of the radius, a neighbour's ball must stand for a vertex to try from there again."""


class Front(NamedTuple):
    """How far balls have rolled in: per vertex the round in which its ball was found, and how far its centre is."""

    settled: np.ndarray  # (n,) int32
    away: np.ndarray  # (n,) float64, mm; infinite where there is none


class Stars(NamedTuple):
    """The triangles about each vertex v: rows[starts[v]] .. rows[starts[v + 1] - 1]; see `kernels.facets.list_stars`."""

    starts: np.ndarray  # (n + 1,) int32
    rows: np.ndarray  # (3m,) int32


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
def _nearest_centre(v, q, surface, stars, front, centres):
    """The settled neighbour of vertex v whose centre is nearest to q, and how far that is; -1 if there is none."""
    best, found = np.inf, np.int64(-1)
    for n in range(stars.starts[v], stars.starts[v + 1]):
        for c in range(3):
            w = surface.triangles[stars.rows[n], c]
            if w == v or front.settled[w] == UNSETTLED:
                continue
            away = _distance(centres[w], q)
            if away < best:
                best, found = away, np.int64(w)
    return found, best


@kernel
def roll_front(start, stop, vertices, radius, most, slack, surface, stars, front, centres, found):
    """Roll on to vertices[start .. stop] from the neighbour's ball that stands nearest to each.

    Writes rows of found (k, 4), the centre and its distance: infinite where no ball comes within `most`, or none nearer
    than the one already there. Nothing else is written, for other threads read it.
    """
    buffers = (np.empty(1, np.int64), np.empty(1), np.empty((1, 4)))
    work = (np.empty(3, np.int64), np.empty(3, np.int64), np.empty(3))
    x, target, origin = np.empty(3), np.empty(3), np.empty(3)
    for n in range(start, stop):
        v = vertices[n]
        q = surface.points[v]
        found[n, 3] = np.inf
        from_vertex, away = _nearest_centre(v, q, surface, stars, front, centres)
        if from_vertex < 0 or (front.settled[v] < UNSETTLED and away > front.away[v] - BETTER * radius):
            continue
        while True:
            for d in range(3):
                x[d] = centres[from_vertex, d]
            away = roll(x, q, radius, slack, surface, buffers, work, target, origin)
            if away >= 0.0:
                break
            room = 2 * int(-away)
            buffers = (np.empty(room, np.int64), np.empty(room), np.empty((room, 4)))
        if away > most or away >= front.away[v]:
            continue
        for d in range(3):
            found[n, d] = x[d]
        found[n, 3] = away


@kernel
def mark_ahead(start, stop, vertices, radius, surface, stars, front, centres, ahead):
    """Mark in ahead (n,) the neighbours of vertices[start .. stop], newly settled, that may roll on from there.

    They are those without a ball, and those whose ball is farther away than the neighbour's.
    """
    for n in range(start, stop):
        v = vertices[n]
        for row in range(stars.starts[v], stars.starts[v + 1]):
            for c in range(3):
                w = surface.triangles[stars.rows[row], c]
                if front.settled[w] == UNSETTLED:
                    ahead[w] = True
                elif front.settled[w] > 0:
                    away = _distance(centres[v], surface.points[w])
                    if away < front.away[w] - BETTER * radius:
                        ahead[w] = True
