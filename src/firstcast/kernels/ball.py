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
from firstcast.kernels.ball_surface import contact, lower_bounds
from firstcast.kernels.compiling import kernel

MOST_STEPS = 24

SETTLED = 5e-4
"""A step that brings the centre nearer by less than this share of the radius is the last."""

FIRST_STEP, LONGEST_STEP = 0.1, 0.4
"""How far a centre may go in its first step and in any, as a share of the radius: triangles so near are looked at."""

ROOM, GROWTH, SHRINK = 1.5, 2.0, 0.5
"""Triangles are gathered for so many steps ahead; what the next step may be after one that was cut short, or was not."""

RUN = 256
"""Triangles whose distance is bounded at a time."""

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
def mark_fits(start, stop, normals, radius, dip, surface, fits):
    """Set fits (n,) bool of vertices start .. stop: no triangle comes into the ball above by more than `dip`."""
    points, lower = surface.points, np.empty(RUN, np.float32)
    for v in range(start, stop):
        x = points[v, 0] + radius * normals[v, 0]
        y = points[v, 1] + radius * normals[v, 1]
        z = points[v, 2] + radius * normals[v, 2]
        fits[v] = _is_clear(x, y, z, radius - dip, surface, lower)


@kernel
def _is_clear(x, y, z, least, surface, lower):
    """Whether no triangle comes nearer to a place than `least`. `lower` (RUN,) float32 is scratch."""
    cells, bounds, points = surface.cells, surface.bounds, surface.points
    triangles, bulges = surface.triangles, surface.bulges
    index, starts, size = cells.index, cells.starts, cells.size
    far = least + surface.reach
    i0, i1 = span_of(cells, 0, x - far, x + far)
    j0, j1 = span_of(cells, 1, y - far, y + far)
    cx, cy, cz = x - cells.low[0], y - cells.low[1], z - cells.low[2]
    lx, ly, lz = np.float32(cx), np.float32(cy), np.float32(cz)
    limit = np.float32(least)
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            k, end = column_ends(index, size, i, j, cx, cy, cz, far)
            while k <= end:
                first, last, k = run_of(index, starts, i, j, k, end)
                while first < last:
                    count = min(last - first, RUN)
                    lower_bounds(first, first + count, lx, ly, lz, bounds, lower)
                    for n in range(count):
                        if lower[n] <= limit:
                            distance, _, _, _, bulge = contact(x, y, z, points, triangles, bulges, first + n)
                            if distance - bulge < least:
                                return False
                    first += count
    return True


@kernel
def _gather(x, far, surface, rows, near, run):
    """Note the triangles that may come within `far` of x: their rows, and in near (8, k) their bounds. Returns how many.

    Those beyond the length of `rows` are only counted. `run` (RUN,) float32 is scratch.
    """
    cells, bounds = surface.cells, surface.bounds
    index, starts, size = cells.index, cells.starts, cells.size
    wide = far + surface.reach
    i0, i1 = span_of(cells, 0, x[0] - wide, x[0] + wide)
    j0, j1 = span_of(cells, 1, x[1] - wide, x[1] + wide)
    cx, cy, cz = x[0] - cells.low[0], x[1] - cells.low[1], x[2] - cells.low[2]
    lx, ly, lz = np.float32(cx), np.float32(cy), np.float32(cz)
    reach, found = np.float32(far), 0
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            k, end = column_ends(index, size, i, j, cx, cy, cz, wide)
            while k <= end:
                first, last, k = run_of(index, starts, i, j, k, end)
                while first < last:
                    count = min(last - first, RUN)
                    lower_bounds(first, first + count, lx, ly, lz, bounds, run)
                    for n in range(count):
                        if run[n] <= reach:
                            if found < len(rows):
                                rows[found] = first + n
                                for d in range(8):
                                    near[d, found] = bounds[d, first + n]
                            found += 1
                    first += count
    return found


@kernel
def _distance(a, b):
    return np.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)


@kernel
def _buffers(room):
    """Rows of so many gathered triangles, their bounds, from how far on they may be, their half-spaces, and scratch."""
    return (
        np.empty(room, np.int64),
        np.empty((8, room), np.float32),
        np.empty(room, np.float32),
        np.empty((room, 4)),
        np.empty(RUN, np.float32),
    )


@kernel
def roll(x, q, radius, slack, surface, buffers, target, origin):
    """Move x, a free centre, to the free centre nearest to q that convex steps lead to; returns its distance from q.

    Where the buffers are too short it returns less than nought: how long they must be. Half-spaces are noted here rather than in a
    function of their own, to which arrays would have to be handed at every step.
    """
    points, triangles, bulges, low = surface.points, surface.triangles, surface.bulges, surface.cells.low
    rows, near, lower, planes, run = buffers
    away, step, room, count = _distance(x, q), FIRST_STEP * radius, 0.0, 0
    for _ in range(MOST_STEPS):
        if room - _distance(x, origin) < step:
            room = ROOM * step
            count = _gather(x, radius + room, surface, rows, near, run)
            if count > len(rows):
                return -float(count)
            for d in range(3):
                origin[d] = x[d]
        x0, x1, x2 = x[0], x[1], x[2]
        lx, ly, lz = np.float32(x0 - low[0]), np.float32(x1 - low[1]), np.float32(x2 - low[2])
        lower_bounds(0, count, lx, ly, lz, near, lower)
        reach, found = np.float32(radius + step), 0
        for n in range(count):
            if lower[n] > reach:
                continue
            distance, ux, uy, uz, bulge = contact(x0, x1, x2, points, triangles, bulges, rows[n])
            if distance - bulge > radius + step or distance == 0.0:
                continue
            planes[found, 0], planes[found, 1], planes[found, 2] = ux, uy, uz
            planes[found, 3] = ux * x0 + uy * x1 + uz * x2 + radius + bulge - distance
            found += 1
        if not nearest_in_halfspaces(planes, found, q, slack, target):
            # x itself is in their way: they make room
            for p in range(found):
                here = planes[p, 0] * x0 + planes[p, 1] * x1 + planes[p, 2] * x2
                planes[p, 3] = min(planes[p, 3], here)
            if not nearest_in_halfspaces(planes, found, q, slack, target):
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
    buffers = _buffers(64)
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
                origin[d] = np.inf
            away = roll(x, q, radius, slack, surface, buffers, target, origin)
            if away >= 0.0:
                break
            room = 2 * int(-away)
            buffers = _buffers(room)
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
