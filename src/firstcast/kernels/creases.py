"""Creases within the cells of a contour: one vertex more where the surface bends sharply inside a cell.

Where a cell's surface is one disc its triangles may be replaced by a fan from any point strictly inside the
cell: the cell is convex, and a cone from an inner point over a loop on its boundary doesn't cross itself. Where two
such cells meet in a face that the surface passes once, the segment between their points crosses that face, and
the two triangles at it may be turned to join the points: both are then cones over loops again, with the segment's
foot on the face in between. So the contour stays closed, manifold and free of self-crossings.

The point is where the planes of the triangles that the cell's lattice edges met come together in the least squares
(after Kobbelt, Botsch, Schwanecke & Seidel 2001, whose points may leave their cells).
"""

import numpy as np

from firstcast.kernels.bricks import (
    SIDE,
    crossed_cells,
    gather_strips,
    lattice_point,
    neighbours,
    pattern_at,
    row_at,
)
from firstcast.kernels.columns import crossing_between
from firstcast.kernels.compiling import kernel
from firstcast.kernels.contour import vertex_number
from firstcast.kernels.contour_table import (
    EDGE_AXIS,
    EDGE_CORNER,
    LOOP_EDGES,
    LOOP_SIZE,
    MOST_LOOP,
)

BEND_COSINE = np.cos(np.radians(80.0))
"""Surfaces that turn by less are drawn by the contour alone. Chosen by trial: turns of 30 degrees made 8 s more work for
reduce on the demo figure."""

HOLD = 1e-3
"""Weight that holds the point to the middle of its loop along directions that no plane decides."""

LEAST_MOVE, MOST_MISS = 0.4, 0.1
"""In pitches: a point nearer to the loop's middle isn't worth having, for a 90 degree edge may be cut by 0.6; planes that
miss it by more disagree."""

MARGIN = 1.0 / 32.0
"""In pitches: how far a point stays from the faces of its cell, so that no triangle has next to no height."""


@kernel
def _hit_at(at, axis, outward, size, bases, line_starts, kept, positions, hits):
    """The input triangle that the surface's vertex on a lattice edge lies on, -1 if none is known."""
    u, v = (axis + 1) % 3, (axis + 2) % 3
    line = bases[axis] + at[u] * size[v] + at[v]
    found = crossing_between(line, at[axis], not outward, line_starts, kept, positions, hits)
    if found < 0:
        return -1
    return hits[found] if hits[found] >= 0 else ~hits[found]


@kernel
def _plane(shell_points, triangle, origin, pitch, cell, normal):
    """Write a triangle's unit normal and give its plane's distance from the cell's corner, in pitches."""
    a, b, c = triangle[0], triangle[1], triangle[2]
    px, py, pz = (
        (shell_points[b, 0] - shell_points[a, 0]) / pitch[0],
        (shell_points[b, 1] - shell_points[a, 1]) / pitch[1],
        (shell_points[b, 2] - shell_points[a, 2]) / pitch[2],
    )
    qx, qy, qz = (
        (shell_points[c, 0] - shell_points[a, 0]) / pitch[0],
        (shell_points[c, 1] - shell_points[a, 1]) / pitch[1],
        (shell_points[c, 2] - shell_points[a, 2]) / pitch[2],
    )
    normal[0], normal[1], normal[2] = py * qz - pz * qy, pz * qx - px * qz, px * qy - py * qx
    length = np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
    if length == 0.0:
        return 0.0
    reach = 0.0
    for n in range(3):
        normal[n] /= length
        reach += normal[n] * ((shell_points[a, n] - origin[n]) / pitch[n] - cell[n])
    return reach


@kernel
def _sharp(normals, count):
    """Whether two of the normals differ by more than the bend worth a vertex."""
    for p in range(count):
        for q in range(p):
            along = (
                normals[p, 0] * normals[q, 0] + normals[p, 1] * normals[q, 1] + normals[p, 2] * normals[q, 2]
            )
            if along < BEND_COSINE:
                return True
    return False


@kernel
def _meeting(normals, reaches, middle, count, move):
    """Write to `move` the way from the loop's middle to where the planes meet; whether they do."""
    a = np.zeros((3, 4))
    for p in range(count):
        miss = reaches[p]
        for n in range(3):
            miss -= normals[p, n] * middle[n]
        for n in range(3):
            a[n, 3] += normals[p, n] * miss
            for m in range(3):
                a[n, m] += normals[p, n] * normals[p, m]
    for n in range(3):
        a[n, n] += HOLD
    for n in range(3):  # positive definite: elimination needs no pivoting
        for m in range(n + 1, 3):
            share = a[m, n] / a[n, n]
            for k in range(n, 4):
                a[m, k] -= share * a[n, k]
    for n in range(2, -1, -1):
        move[n] = a[n, 3]
        for m in range(n + 1, 3):
            move[n] -= a[n, m] * move[m]
        move[n] /= a[n, n]
    if move[0] ** 2 + move[1] ** 2 + move[2] ** 2 < LEAST_MOVE**2:
        return False
    for p in range(count):
        miss = reaches[p]
        for n in range(3):
            miss -= normals[p, n] * (middle[n] + move[n])
        if abs(miss) > MOST_MISS:
            return False
    return True


@kernel
def _loop_middle(loop, count, points, origin, pitch, cell, middle):
    """Write the middle of a cell's loop, in pitches from the cell's corner."""
    for n in range(3):
        total = 0.0
        for p in range(count):
            total += (np.float64(points[loop[p], n]) - origin[n]) / pitch[n] - cell[n]
        middle[n] = total / count


@kernel
def vertex_of(pattern, p, place, i, j, k, index, flags, ranks, vertex_starts, at):
    """Number of a loop's vertex; writes the lattice point below it to `at`."""
    edge = LOOP_EDGES[pattern, p]
    corner = EDGE_CORNER[edge]
    lattice_point(place, i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2 & 1), at)
    brick = row_at(index, at[0] >> 3, at[1] >> 3, at[2] >> 3)
    strip = 8 * (at[0] & 7) + (at[1] & 7)
    return vertex_number(brick, strip, at[2] & 7, EDGE_AXIS[edge], flags, ranks, vertex_starts)


@kernel
def _gather_planes(
    pattern, place, i, j, k, numbering, lines, origin, pitch, shell_points, shell_triangles, at, cell, loop, normals,
    reaches,
):  # fmt: skip
    """Write a cell's corner, its loop's vertices and the planes that they lie on; whether all are known."""
    lattice_point(place, i, j, k, cell)
    index, flags, ranks, vertex_starts = numbering
    size, bases, line_starts, kept, positions, hits = lines
    for p in range(LOOP_SIZE[pattern]):
        loop[p] = vertex_of(pattern, p, place, i, j, k, index, flags, ranks, vertex_starts, at)
        edge = LOOP_EDGES[pattern, p]
        outward = pattern >> EDGE_CORNER[edge] & 1 == 1
        hit = _hit_at(at, EDGE_AXIS[edge], outward, size, bases, line_starts, kept, positions, hits)
        if hit < 0:
            return False
        reaches[p] = _plane(shell_points, shell_triangles[hit], origin, pitch, cell, normals[p])
    return True


@kernel
def find_creases(
    start, stop, places, index, bits, flags, ranks, vertex_starts, size, bases, line_starts, kept, positions,
    hits, origin, pitch, shell_points, shell_triangles, points, write, creased, counts, spots,
):  # fmt: skip
    """Find the cells of bricks start .. stop that bend sharply.

    Without `write`: creased (n, 64) uint8 says which cells of each strip do, counts (n,) how many; with it, spots
    (c, 3) float64 takes where each cell's planes meet, in pitches from the lattice's origin, from row counts[b] on.
    """
    rows, strips = np.empty((3, 3, 3), np.int32), np.empty((SIDE + 2, SIDE + 2), np.int32)
    at, cell, move, middle = np.empty(3, np.int64), np.empty(3), np.empty(3), np.empty(3)
    normals, reaches = np.empty((MOST_LOOP, 3)), np.empty(MOST_LOOP)
    loop = np.empty(MOST_LOOP, np.int64)
    numbering = (index, flags, ranks, vertex_starts)
    lines = (size, bases, line_starts, kept, positions, hits)
    for b in range(start, stop):
        neighbours(places[b], index, rows)
        gather_strips(rows, bits, strips)
        found = counts[b] if write else 0
        for strip in range(SIDE * SIDE):
            i, j = strip >> 3, strip & 7
            cells = np.int64(creased[b, strip]) if write else crossed_cells(strips, i, j) >> 1
            sharp = 0
            for k in range(SIDE):
                if not cells >> k & 1:
                    continue
                pattern = pattern_at(strips, i, j, k)
                count = LOOP_SIZE[pattern]
                if count == 0 or not _gather_planes(
                    pattern, places[b], i, j, k, numbering, lines, origin, pitch, shell_points, shell_triangles,
                    at, cell, loop, normals, reaches,
                ):  # fmt: skip
                    continue
                if not _sharp(normals, count):
                    continue
                _loop_middle(loop, count, points, origin, pitch, cell, middle)
                if not _meeting(normals, reaches, middle, count, move):
                    continue
                if write:
                    _keep_inside(middle, move)
                    for n in range(3):
                        spots[found, n] = cell[n] + middle[n] + move[n]
                sharp |= 1 << k
                found += 1
            if not write:
                creased[b, strip] = sharp
        if not write:
            counts[b] = found


@kernel
def _keep_inside(middle, move):
    """Shorten the way from a loop's middle, drawn in from the faces, so that it ends within the cell."""
    share = 1.0
    for n in range(3):
        middle[n] = min(max(middle[n], MARGIN), 1.0 - MARGIN)
        if middle[n] + move[n] > 1.0 - MARGIN:
            share = min(share, (1.0 - MARGIN - middle[n]) / move[n])
        elif middle[n] + move[n] < MARGIN:
            share = min(share, (MARGIN - middle[n]) / move[n])
    for n in range(3):
        move[n] *= share
