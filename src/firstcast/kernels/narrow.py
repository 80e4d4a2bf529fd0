"""Which narrow readings count: not those on a fold of the mesh, evened out, in patches large enough to matter."""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.facets import area_vector, dot

ROUND_ABOUT = 64
"""Places looked at round one, at most: more than lie within twice the distance of neighbours."""


@kernel(makes_arrays=False)
def _joined(vertex, first, mesh, within):
    """Whether two edges, together no longer than `within`, lead from one vertex to another."""
    points, triangles, star_start, star = mesh
    if vertex == first:
        return True
    for s in range(star_start[vertex], star_start[vertex + 1]):
        for c in range(3):
            between = triangles[star[s], c]
            out2 = on2 = 0.0
            for k in range(3):
                out2 += (points[between, k] - points[vertex, k]) ** 2
                on2 += (points[between, k] - points[first, k]) ** 2
            if np.sqrt(out2) + np.sqrt(on2) > within:
                continue
            if between == first:
                return True
            for e in range(star_start[between], star_start[between + 1]):
                other = triangles[star[e]]
                if other[0] == first or other[1] == first or other[2] == first:
                    return True
    return False


@kernel(makes_arrays=False)
def find_folds(rows, opposite, mesh, within, folds):
    """Fill `folds` (k,): whether two edges lead from vertex rows[k] to the triangle opposite, `within` that length."""
    for k in range(len(rows)):
        folds[k] = False
        if opposite[rows[k]] >= 0:
            for c in range(3):
                if _joined(rows[k], mesh[1][opposite[rows[k]], c], mesh, within):
                    folds[k] = True
                    break


@kernel(makes_arrays=False)
def _gather_round(here, mesh, radius, near, turn, asked):
    """Vertices that edges lead to within `radius` of vertex `here`, itself first, to `near`; how many.

    asked : (n,) int32, not yet `turn` for any vertex: those that were looked at get it.
    """
    points, triangles, star_start, star = mesh
    near[0], count, at = here, 1, 0
    asked[here] = turn
    x, y, z = points[here, 0], points[here, 1], points[here, 2]
    while at < count and count < ROUND_ABOUT:
        for s in range(star_start[near[at]], star_start[near[at] + 1]):
            for c in range(3):
                other = np.int64(triangles[star[s], c])
                if asked[other] == turn:
                    continue
                asked[other] = turn
                away2 = (
                    (points[other, 0] - x) ** 2 + (points[other, 1] - y) ** 2 + (points[other, 2] - z) ** 2
                )
                if away2 <= radius * radius and count < ROUND_ABOUT:
                    near[count] = other
                    count += 1
        at += 1
    return count


@kernel(makes_arrays=False)
def _middle_width(here, mesh, width, radius, near, heard, turn, asked):
    """The median width within `radius` round vertex `here`."""
    count = np.int64(0)
    for at in range(_gather_round(here, mesh, radius, near, turn, asked)):
        value = width[near[at]]
        if value < np.float32(0.0):
            continue
        slot = count
        while slot > 0 and heard[slot - 1] > value:
            heard[slot] = heard[slot - 1]
            slot -= 1
        heard[slot] = value
        count += 1
    return heard[count // 2]


@kernel
def middle_widths(rows, mesh, width, radius, middle):
    """Fill `middle` (k,) float32: the median width within `radius` round each vertex rows[k].

    width : (n,) float32, inf where nothing faces; negative where a place has no say.
    """
    near, heard = np.empty(ROUND_ABOUT, np.int64), np.empty(ROUND_ABOUT, np.float32)
    asked = np.full(len(width), -1, np.int32)
    for k in range(len(rows)):
        middle[k] = _middle_width(np.int64(rows[k]), mesh, width, radius, near, heard, k, asked)


@kernel(makes_arrays=False)
def _vertex_area(vertex, mesh, normal):
    """A third of the area of the triangles round a vertex; `normal` (3,) is room to work in."""
    points, triangles, star_start, star = mesh
    area = 0.0
    for s in range(star_start[vertex], star_start[vertex + 1]):
        area_vector(points, triangles[star[s]], normal)
        area += np.sqrt(dot(normal, normal)) / 6.0
    return area


@kernel
def vertex_areas(rows, mesh, areas):
    """Fill `areas` (k,) float64: a third of the area of the triangles round each vertex rows[k]."""
    normal = np.empty(3)
    for k in range(len(rows)):
        areas[k] = _vertex_area(rows[k], mesh, normal)


@kernel(makes_arrays=False)
def _list_pair(a, b, between, starts, lower):
    """Count the pair of two places, or list it where `lower` has room; none if they lie between other parts."""
    if a < 0 or b < 0 or a == b or between[a] != between[b]:
        return
    upper = max(a, b)
    if len(lower):
        lower[starts[upper]] = min(a, b)
    starts[upper] += 1


@kernel(makes_arrays=False)
def list_pairs(vertices, number, opposite, between, mesh, starts, lower):
    """Which places lie together: an edge joins them, or one lies at a corner of the triangle opposite the other.

    vertices : (k,) those of the places, best in rising order, which memory likes; number : (n,) int32, the place of each
    vertex, -1 if none. starts : (k,) int64.
    Without room in `lower` the pairs of each upper place are counted, onto zeros; with it the lower ends are listed from
    starts[k] on, which comes to be where they end.
    """
    _, triangles, star_start, star = mesh
    for vertex in vertices:
        place = np.int64(number[vertex])
        for s in range(star_start[vertex], star_start[vertex + 1]):
            triangle = triangles[star[s]]
            for c in range(3):
                # a closed mesh has each edge once each way
                if triangle[c] == vertex:
                    ahead = np.int64(number[triangle[(c + 1) % 3]])
                    if ahead < place:
                        _list_pair(place, ahead, between, starts, lower)
        for c in range(3):
            other = np.int64(number[triangles[opposite[vertex], c]])
            _list_pair(place, other, between, starts, lower)


@kernel(makes_arrays=False)
def _root(parent, place):
    """The first of the patch that a place belongs to; halves the way there."""
    while parent[place] != place:
        parent[place] = parent[parent[place]]
        place = parent[place]
    return place


@kernel(makes_arrays=False)
def grow_patches(pairs, starts, area, enough, parent, reached):
    """Join places, narrowest first, into patches; which places make a patch as large as `enough` for the first time.

    The k places are numbered by width. pairs : (p,) int32, the lower ends, by their upper ends; starts : (k + 1,) where
    each upper end's pairs start. area : (k,) float64, added up in place. parent : (k,) int32, each its own number at
    first; at last the first place of its region. reached : (k,) bool, false at first: the place at which a region's
    patch first is large enough is marked; a region may have several, of which the lowest counts.
    """
    for place in range(len(parent)):
        large = area[place] >= enough
        first = large
        for n in range(starts[place], starts[place + 1]):
            a, b = _root(parent, place), _root(parent, pairs[n])
            if a == b:
                continue
            a, b = min(a, b), max(a, b)
            was = area[a] >= enough or area[b] >= enough
            area[a] += area[b]
            parent[b] = a
            first = first or (area[a] >= enough and not was)
        reached[place] = first
    for place in range(len(parent)):
        parent[place] = _root(parent, place)
