"""How a surface bends round its vertices, as tensors of its edges, and well-spaced vertices where it bends most.

Along every edge the surface turns by an angle. Summed over the edges within a window, weighted by their length and taken
times the edge's direction with itself, the turns give the curvature tensor of the window (Cohen-Steiner and Morvan,
Restricted Delaunay triangulations and normal cycle, 2003): its greatest eigenvalue over the window's area is the greatest
curvature, its eigenvector the way *along* the fold.
"""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.facets import area_vector, dot

MOST_AROUND = 128
"""Vertices that a mean normal is taken over at most."""


@kernel(makes_arrays=False)
def corner_of(triangle, vertex):
    """Which corner (0, 1, 2) of a triangle a vertex is."""
    if triangle[0] == vertex:
        return 0
    return 1 if triangle[1] == vertex else 2


@kernel(makes_arrays=False)
def beyond(first, second, own, triangles, star_start, star):
    """The triangle on the other side of the edge that runs from `first` to `second` in triangle `own`; -1 if none."""
    for s in range(star_start[first], star_start[first + 1]):
        other = star[s]
        if other != own and triangles[other, (corner_of(triangles[other], first) + 2) % 3] == second:
            return np.int64(other)
    return np.int64(-1)


@kernel(makes_arrays=False)
def _turn(along, here, there):
    """Signed angle between normals, radians: above 0 in a valley. `along`: the edge as the triangle `here` runs."""
    length = np.sqrt(dot(along, along))
    if not length > 0.0:
        return 0.0, 0.0
    sine = (
        (here[1] * there[2] - here[2] * there[1]) * along[0]
        + (here[2] * there[0] - here[0] * there[2]) * along[1]
        + (here[0] * there[1] - here[1] * there[0]) * along[2]
    ) / length
    return -np.arctan2(sine, dot(here, there)), length


@kernel
def squared_edges(start, stop, points, triangles):
    """Sum of the squared lengths of the first edges of triangles start..stop."""
    total = 0.0
    for t in range(start, stop):
        for k in range(3):
            total += (points[triangles[t, 0], k] - points[triangles[t, 1], k]) ** 2
    return total


@kernel
def bend_tensors(start, stop, mesh, normals, tensors, outward):
    """Fill tensors[start:stop] (n, 7) float32: xx, yy, zz, xy, xz, yz in radian millimetres, and the area in mm².

    And outward[start:stop] (n, 3) float32: the sum of the area vectors of the triangles round each vertex.

    mesh : points (n, 3) float64, triangles (m, 3) int32, and `facets.list_stars`'s start and star.
    normals : (m, 3) float32, of length 1.
    An edge gives half of its turn to each end, a triangle a third of its area to each corner.
    """
    points, triangles, star_start, star = mesh
    along, vector, here, there, found = np.empty(3), np.empty(3), np.empty(3), np.empty(3), np.empty(7)
    summed = np.empty(3)
    for vertex in range(start, stop):
        found[:] = 0.0
        summed[:] = 0.0
        for s in range(star_start[vertex], star_start[vertex + 1]):
            own = star[s]
            area_vector(points, triangles[own], vector)
            found[6] += np.sqrt(dot(vector, vector)) / 6.0
            summed += vector
            ahead = triangles[own, (corner_of(triangles[own], vertex) + 1) % 3]
            other = beyond(vertex, ahead, own, triangles, star_start, star)
            if other < 0:
                continue
            for k in range(3):
                along[k] = points[ahead, k] - points[vertex, k]
                here[k], there[k] = normals[own, k], normals[other, k]
            turn, length = _turn(along, here, there)
            if not length > 0.0:
                continue
            weight = 0.5 * turn / length
            for k in range(3):
                found[k] += weight * along[k] * along[k]
            found[3] += weight * along[0] * along[1]
            found[4] += weight * along[0] * along[2]
            found[5] += weight * along[1] * along[2]
        for k in range(7):
            tensors[vertex, k] = found[k]
        for k in range(3):
            outward[vertex, k] = summed[k]


@kernel
def spread_tensors(start, stop, triangles, star_start, star, tensors, wider):
    """Fill wider[start:stop] (n, 7) float32: each vertex's own and those of all that an edge joins it to, added."""
    found = np.empty(7)
    for vertex in range(start, stop):
        for k in range(7):
            found[k] = tensors[vertex, k]
        for s in range(star_start[vertex], star_start[vertex + 1]):
            ahead = triangles[star[s], (corner_of(triangles[star[s]], vertex) + 1) % 3]
            for k in range(7):
                found[k] += tensors[ahead, k]
        for k in range(7):
            wider[vertex, k] = found[k]


@kernel
def choose_spaced(order, sides, apart, mesh, taken, chosen):
    """Well-spaced vertices, to `chosen` (k,) int64: rows into `order`, whose vertices come in the order of their worth.

    A vertex is left out within `apart` of one that was chosen before it, of the same side and linked to it by edges within
    that. sides : (k,) uint8, 1 or 2. taken : (n,) uint8, zero at first. Gives how many are chosen.
    """
    points, triangles, star_start, star = mesh
    stack = np.empty(4096, np.int64)
    count = np.int64(0)
    for row in range(len(order)):
        seed, side = order[row], sides[row]
        if taken[seed] & side:
            continue
        chosen[count] = row
        count += 1
        taken[seed] |= side
        stack[0] = seed
        height = np.int64(1)
        while height > 0:
            height -= 1
            vertex = stack[height]
            for s in range(star_start[vertex], star_start[vertex + 1]):
                ahead = triangles[star[s], (corner_of(triangles[star[s]], vertex) + 1) % 3]
                if taken[ahead] & side or height >= len(stack):
                    continue
                away2 = 0.0
                for k in range(3):
                    away2 += (points[ahead, k] - points[seed, k]) ** 2
                if away2 < apart * apart:
                    taken[ahead] |= side
                    stack[height] = ahead
                    height += 1
    return count


@kernel
def mean_normals(start, stop, seeds, radius, mesh, outward, out):
    """Fill out[start:stop] (k, 3): the mean normal of the surface within `radius` of each seed, by area, of length 1 or 0.

    Vertices that edges lead to, nearest in steps first, `MOST_AROUND` at most; outward (n, 3) as `bend_tensors` gives it.
    """
    points, triangles, star_start, star = mesh
    near = np.empty(MOST_AROUND, np.int64)
    for row in range(start, stop):
        out[row] = 0.0
        near[0] = seeds[row]
        count, at = 1, 0
        while at < count:
            vertex = near[at]
            at += 1
            for k in range(3):
                out[row, k] += outward[vertex, k]
            for s in range(star_start[vertex], star_start[vertex + 1]):
                ahead = triangles[star[s], (corner_of(triangles[star[s]], vertex) + 1) % 3]
                away2 = 0.0
                for k in range(3):
                    away2 += (points[ahead, k] - points[seeds[row], k]) ** 2
                if away2 > radius * radius or count == MOST_AROUND:
                    continue
                known = False
                for n in range(count):
                    known = known or near[n] == ahead
                if not known:
                    near[count] = ahead
                    count += 1
        length = np.sqrt(dot(out[row], out[row]))
        if length > 0.0:
            out[row] /= length
