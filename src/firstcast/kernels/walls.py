"""How wide the body is behind the places of its surface, or the air in front of them."""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.facets import area_vector
from firstcast.kernels.facing import STACK, dot, facing_ball
from firstcast.kernels.segments import first_crossing

LEAST_TAPER = 0.02
"""Sine of half the angle of a taper that is worth following: two degrees change the width by 0.02 mm over 0.3 mm
of way, which the reading may differ by anyway."""

ROUND_RIM = 0.25
"""Balls smaller than this share of the way behind a rim may be the rounding of a rim, as of a crest."""

MOST_STRIDES = 16
"""Strides behind a rim, at most: each at least a sixteenth of what is left."""

LEAST_BEHIND = 0.8
"""Share of the ball's radius that must be free behind the rim: a taper is wider there. Halfway between the places that
a ball touches at 25 degrees off p's normal, 0.82 of its radius is. Across a pin there is nothing behind."""


@kernel
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


@kernel
def _nearest_rim(half, chord, reach, tree, way, work):
    """Of eight directions square to `chord`, the one along which the surface is nearest to `half`, to `way` (3,).

    Gives how far it is; inf if farther than `reach`.
    """
    trial, first, second, stack_node, stack_level = work
    axis = 0
    for k in range(3):
        axis = k if abs(chord[k]) < abs(chord[axis]) else axis
    length = np.sqrt(dot(chord, chord))
    u, v = (axis + 1) % 3, (axis + 2) % 3
    across = np.sqrt(chord[u] ** 2 + chord[v] ** 2)
    first[axis], first[u], first[v] = 0.0, chord[v] / across, -chord[u] / across
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        second[k] = (chord[i] * first[j] - chord[j] * first[i]) / length
    best = np.inf
    for turn in range(8):
        for k in range(3):
            trial[k] = np.cos(turn * np.pi / 4.0) * first[k] + np.sin(turn * np.pi / 4.0) * second[k]
        rim, _ = first_crossing(half, trial, 0.0, reach, tree, stack_node, stack_level)
        if rim < best:
            best = rim
            way[0], way[1], way[2] = trial[0], trial[1], trial[2]
    return best


@kernel
def _taper(p, d, radius, opposite, half, way):
    """Halfway from p to the place opposite, to `half`; the way along which both surfaces draw together, to `way`.

    False where they don't, by `LEAST_TAPER`.
    """
    for k in range(3):
        half[k] = 0.5 * (p[k] + opposite[k])
        way[k] = half[k] - p[k] - radius * d[k]
    length = np.sqrt(dot(way, way))
    if not length > LEAST_TAPER * radius:
        return False
    for k in range(3):
        way[k] /= length
    return True


@kernel
def _rim(p, d, radius, opposite, reach, tree, work):
    """How far the rim is from halfway between p and the place opposite, inf if beyond `reach`; fills half and way.

    It lies where both surfaces draw together. Where they don't, a thin place may still be a
    rounded rim itself: then it is the nearest way out.
    """
    half, way, back, rim_work = work
    if _taper(p, d, radius, opposite, half, way):
        return first_crossing(half, way, 0.0, reach, tree, rim_work[3], rim_work[4])[0]
    if radius < ROUND_RIM * reach:
        for k in range(3):
            back[k] = opposite[k] - p[k]
        return _nearest_rim(half, back, reach, tree, way, rim_work)
    return np.inf


@kernel
def _step_behind(radius, stride, d, most, tree, work, foot):
    """Away from the rim by `stride`, and from there against d to the surface: the place to measure, to `foot`.

    Gives the row of the triangle it lies on; -1 if there is no room, -2 if the body there is wide.
    """
    half, way, back, rim_work = work
    stack_node, stack_level = rim_work[3], rim_work[4]
    for k in range(3):
        back[k] = -way[k]
    if first_crossing(half, back, 0.0, stride, tree, stack_node, stack_level)[1] >= 0:
        return np.int64(-1)
    for k in range(3):
        half[k] += stride * back[k]
        back[k] = -d[k]
    depth, row = first_crossing(half, back, 0.0, most, tree, stack_node, stack_level)
    if row < 0:
        return np.int64(-2)
    for k in range(3):
        foot[k] = half[k] - depth * d[k]
    return row if depth >= LEAST_BEHIND * radius else np.int64(-1)


@kernel
def _inward(corner, d, away):
    """The unit normal of a triangle (3, 3) on the side that d points to, to `away` (3,)."""
    length2 = 0.0
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        away[k] = (corner[1, i] - corner[0, i]) * (corner[2, j] - corner[0, j]) - (
            corner[1, j] - corner[0, j]
        ) * (corner[2, i] - corner[0, i])
        length2 += away[k] * away[k]
    scale = (1.0 if dot(away, d) > 0.0 else -1.0) / np.sqrt(length2)
    for k in range(3):
        away[k] *= scale


@kernel
def _behind(d, radius, row, left, most, cosine, side, tree, bounds, mesh, work):
    """Radius of the ball that is `left` farther from the rim than the one last found, and the row that stops it.

    Goes there in strides of twice the width, so that it follows a wall that bends. Stops where the wall gets no
    thicker; inf and -1 if it ends in a body that is wide.
    """
    ball_work, rim_work, opposite, foot, away, ahead, before = work
    half, way = rim_work[0], rim_work[1]
    for k in range(3):
        away[k] = d[k]
    for _ in range(MOST_STRIDES):
        stride = min(left, max(4.0 * radius, left / MOST_STRIDES))
        for k in range(3):
            before[k], ahead[k] = half[k], way[k]
        foot_row = _step_behind(radius, stride, away, most, tree, rim_work, foot)
        if foot_row == -1:
            return radius, row
        if foot_row == -2:
            return np.inf, np.int64(-1)
        _inward(tree[0][foot_row], away, rim_work[2])
        for k in range(3):
            away[k] = rim_work[2][k]
        own = tree[1][foot_row]
        wider, next_row = facing_ball(
            foot, away, side, -1, own, most, cosine, -1, tree, bounds, mesh, ball_work, opposite
        )
        if next_row < 0:
            return np.inf, np.int64(-1)
        if wider < radius:
            return radius, row
        radius, row = wider, next_row
        if stride == left or not _taper(foot, away, radius, opposite, half, way) or dot(way, ahead) <= 0.0:
            return radius, row
        for k in range(3):
            before[k] -= half[k]
        left -= dot(before, ahead)
    return radius, row


@kernel
def _width(p, d, side, vertex, own, most, cosine, reach, seed, tree, bounds, mesh, work):
    """Diameter of the ball from p, measured behind the rim if there is one; the triangle opposite (-1), the next seed."""
    ball_work, rim_work, opposite = work[0], work[1], work[2]
    radius, row = facing_ball(
        p, d, side, vertex, own, most, cosine, seed, tree, bounds, mesh, ball_work, opposite
    )
    if row < 0:
        return np.inf, np.int64(-1), seed
    rim = _rim(p, d, radius, opposite, reach, tree, rim_work)
    if rim == np.inf:
        return 2.0 * radius, np.int64(tree[1][row]), row
    radius, stopped = _behind(d, radius, row, reach - rim, most, cosine, side, tree, bounds, mesh, work)
    return 2.0 * radius, np.int64(tree[1][stopped] if stopped >= 0 else -1), row


@kernel
def _working_space():
    """Room for the searches of one thread."""
    stack_node, stack_level = np.empty(STACK, np.int64), np.empty(STACK, np.int64)
    sight = (np.empty(3), np.empty(STACK, np.int64), np.empty(STACK, np.int64))
    stops = (np.empty((3, 3)), np.empty(3), np.empty(3))
    search = np.empty(STACK, np.float32), np.empty(8, np.float32)
    ball = (stack_node, stack_level, *search, (np.empty(3), np.empty(3), stops, sight))
    nearest = np.empty(3), np.empty(3), np.empty(3), stack_node, stack_level
    rim = (np.empty(3), np.empty(3), np.empty(3), nearest)
    return ball, rim, np.empty(3), np.empty(3), np.empty(3), np.empty(3), np.empty(3)


@kernel
def _width_at_edge(vertex, side, most, cosine, reach, seed, tree, bounds, mesh, work, place, normal):
    """The least width at the middles of the triangles round a vertex on a sharp edge."""
    points, triangles, star_start, star = mesh
    least, least_opposite = np.inf, np.int64(-1)
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
        width, opposite, seed = _width(
            place, normal, side, -1, own, most, cosine, reach, seed, tree, bounds, mesh, work
        )
        if width < least:
            least, least_opposite = width, opposite
    return least, least_opposite, seed


@kernel
def read_widths(start, stop, visit, side, most, cosine, blunt, reach, tree, bounds, mesh, width, opposite):
    """Fill `width` (n,) float32 and `opposite` (n,) int32 at the vertices visit[start:stop].

    side : -1 looks into the body, 1 into the air. most : the greatest radius looked for. cosine : of the angle off the
    normal within which a place faces another. blunt : cosine of how far the normals round a vertex may be from
    their mean. reach : how far behind a rim to measure. tree, mesh : as `facing_ball` takes them.
    """
    work = _working_space()
    normal, facet = np.empty(3), np.empty(3)
    seed = np.int64(-1)
    for at in range(start, stop):
        vertex = visit[at]
        if _vertex_normal(vertex, mesh, blunt, normal, facet):
            for k in range(3):
                normal[k] *= side
            found, facing, seed = _width(
                mesh[0][vertex], normal, side, vertex, -1, most, cosine, reach, seed, tree, bounds, mesh, work
            )
        else:
            found, facing, seed = _width_at_edge(
                vertex, side, most, cosine, reach, seed, tree, bounds, mesh, work, facet, normal
            )
        width[vertex] = found
        opposite[vertex] = facing
