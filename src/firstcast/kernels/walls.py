"""How wide the body is behind the places of its surface, or the air in front of them."""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.facets import TOGETHER, area_vector, dot
from firstcast.kernels.facing import STACK, facing_ball
from firstcast.kernels.segments import first_crossing

LEAST_TAPER = 0.02
"""Sine of half the angle of a taper that is worth following: two degrees change the width by 0.02 mm over 0.3 mm
of way, which the reading may differ by anyway."""

TAPERED = 0.5
"""Least share of the width that the taper takes away on its way to the edge: a slot with a floor keeps the more."""


@kernel(makes_arrays=False)
def _vertex_normal(vertex, mesh, blunt, normal, facet):
    """Unit mean of the normals round a vertex by area, to `normal`; False if one is off by more than `blunt`."""
    points, triangles, star_start, star = mesh
    normal[:] = 0.0
    for s in range(star_start[vertex], star_start[vertex + 1]):
        area_vector(points, triangles[star[s]], facet)
        for k in range(3):
            normal[k] += facet[k]
    length = np.sqrt(dot(normal, normal))
    if not length > 0.0:
        return False
    for k in range(3):
        normal[k] /= length
    for s in range(star_start[vertex], star_start[vertex + 1]):
        area_vector(points, triangles[star[s]], facet)
        if dot(facet, normal) < blunt * np.sqrt(dot(facet, facet)):
            return False
    return True


@kernel(makes_arrays=False)
def _edge(p, d, radius, opposite, reach, tree, work):
    """How far ahead of a place the wall ends by drawing together, inf if it doesn't within `reach`.

    From halfway between p and the place opposite, along the line on which both surfaces draw together.
    """
    half, way, search = work
    for k in range(3):
        half[k] = 0.5 * (p[k] + opposite[k])
        way[k] = half[k] - p[k] - radius * d[k]
    length = np.sqrt(dot(way, way))
    taper = length / radius
    if not taper > LEAST_TAPER:
        return np.inf
    # the width falls by 2 tan(a / 2) on its way, a the angle between the surfaces; `taper` is sin(a / 2)
    least = TAPERED * radius * np.sqrt(1.0 - min(taper, 0.99) ** 2) / taper
    if least > reach:
        return np.inf
    for k in range(3):
        way[k] /= length
    found, _ = first_crossing(half, way, 0.0, reach, tree, search)
    return found if found >= least else np.inf


@kernel(makes_arrays=False)
def _width(p, d, side, vertex, own, most, cosine, reach, seed, tree, bounds, mesh, work):
    """Diameter of the ball from p, the triangle opposite (-1), how far the edge is that it tapers to, the next seed."""
    ball_work, edge_work, opposite = work
    radius, row = facing_ball(
        p, d, side, vertex, own, most, cosine, seed, tree, bounds, mesh, ball_work, opposite
    )
    if row < 0:
        return np.inf, np.int64(-1), np.inf, seed
    edge = _edge(p, d, radius, opposite, reach, tree, edge_work)
    return 2.0 * radius, np.int64(tree[1][row]), edge, row


@kernel
def _working_space():
    """Room for the searches of one thread."""
    stack_node, stack_level = np.empty(STACK, np.int64), np.empty(STACK, np.int64)
    along = (np.empty(STACK, np.int64), np.empty(STACK, np.int64), np.empty(8, np.uint8))
    search = np.empty(STACK, np.float32), np.empty(8, np.float32), np.empty(TOGETHER, np.uint8)
    ball = (stack_node, stack_level, *search, (np.empty(3), np.empty(3), np.empty(3), (np.empty(3), along)))
    return ball, (np.empty(3), np.empty(3), along), np.empty(3)


@kernel(makes_arrays=False)
def _width_at_crease(vertex, side, most, cosine, reach, seed, tree, bounds, mesh, work, place, normal):
    """What `_width` gives where it is least, at the middles of the triangles round a vertex on a sharp edge."""
    points, triangles, star_start, star = mesh
    least, least_opposite, least_edge, bound = np.inf, np.int64(-1), np.inf, most
    for s in range(star_start[vertex], star_start[vertex + 1]):
        own = star[s]
        area_vector(points, triangles[own], normal)
        length = np.sqrt(dot(normal, normal))
        if not length > 0.0:
            continue
        for k in range(3):
            normal[k] *= side / length
            place[k] = 0.0
            for c in range(3):
                place[k] += points[triangles[own, c], k] / 3.0
        width, opposite, edge, seed = _width(
            place, normal, side, -1, own, bound, cosine, reach, seed, tree, bounds, mesh, work
        )
        if width < least:
            # the least is wanted: no ball need grow beyond the smallest so far
            least, least_opposite, least_edge, bound = width, opposite, edge, most
    return least, least_opposite, least_edge, seed


@kernel
def read_widths(
    start, stop, visit, side, most, cosine, blunt, reach, tree, bounds, mesh, width, opposite, edge
):
    """Fill `width`, `edge` (n,) float32 and `opposite` (n,) int32 at the vertices visit[start:stop].

    side : -1 looks into the body, 1 into the air. most : the greatest radius looked for. cosine : of the angle off the
    normal within which a place faces another. blunt : cosine of how far the normals round a vertex may be from
    their mean. reach : how far ahead to look for the edge of a taper. tree, mesh : as `facing_ball` takes them.
    """
    work = _working_space()
    normal, facet = np.empty(3), np.empty(3)
    seed = np.int64(-1)
    for at in range(start, stop):
        vertex = visit[at]
        if _vertex_normal(vertex, mesh, blunt, normal, facet):
            for k in range(3):
                normal[k] *= side
            width[vertex], opposite[vertex], edge[vertex], seed = _width(
                mesh[0][vertex], normal, side, vertex, -1, most, cosine, reach, seed, tree, bounds, mesh, work
            )
        else:
            width[vertex], opposite[vertex], edge[vertex], seed = _width_at_crease(
                vertex, side, most, cosine, reach, seed, tree, bounds, mesh, work, facet, normal
            )


@kernel(makes_arrays=False)
def list_visits(rows, triangles, seen, visit):
    """List to `visit` (n,) the points that triangles use, as they come in the tree's order; how many there are.

    rows : (m,) the tree's. seen : (n,) bool, false at first. Neighbours in the tree's order are neighbours here.
    """
    count = np.int64(0)
    for row in range(len(rows)):
        for c in range(3):
            vertex = triangles[rows[row], c]
            if not seen[vertex]:
                seen[vertex] = True
                visit[count] = vertex
                count += 1
    return count


@kernel(makes_arrays=False)
def choose_places(visit, mesh, apart, chosen, stands_for):
    """Which of the vertices `visit` are read, to `chosen` (k,); for each vertex the one whose reading it takes.

    A vertex is not read if one that an edge joins it to is, and lies within `apart`. stands_for : (n,) int32,
    -1 at first. Gives how many are read.
    """
    points, triangles, star_start, star = mesh
    count = np.int64(0)
    for at in range(len(visit)):
        vertex = visit[at]
        nearest, best = np.int64(-1), apart * apart
        for s in range(star_start[vertex], star_start[vertex + 1]):
            for c in range(3):
                other = triangles[star[s], c]
                if stands_for[other] != other:
                    continue
                away2 = 0.0
                for k in range(3):
                    away2 += (points[other, k] - points[vertex, k]) ** 2
                if away2 < best:
                    nearest, best = np.int64(other), away2
        if nearest < 0:
            nearest = vertex
            chosen[count] = vertex
            count += 1
        stands_for[vertex] = nearest
    return count
