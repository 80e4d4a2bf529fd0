"""Which narrow readings count: not those on a fold of the mesh, evened out, in patches large enough to matter."""

import numpy as np

from firstcast.kernels.compiling import kernel

ROUND_ABOUT = 64
"""Places looked at round one, at most: more than lie within twice the distance of neighbours."""


@kernel
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


@kernel
def find_folds(rows, opposite, mesh, within, folds):
    """Fill `folds` (k,): whether two edges lead from vertex rows[k] to the triangle opposite, `within` that length."""
    for k in range(len(rows)):
        folds[k] = False
        if opposite[rows[k]] >= 0:
            for c in range(3):
                if _joined(rows[k], mesh[1][opposite[rows[k]], c], mesh, within):
                    folds[k] = True
                    break


@kernel
def _gather_round(here, mesh, radius, near):
    """Vertices that edges lead to within `radius` of vertex `here`, itself first, to `near`; how many."""
    points, triangles, star_start, star = mesh
    near[0], count, at = here, 1, 0
    while at < count and count < ROUND_ABOUT:
        for s in range(star_start[near[at]], star_start[near[at] + 1]):
            for c in range(3):
                other = np.int64(triangles[star[s], c])
                away2 = 0.0
                for k in range(3):
                    away2 += (points[other, k] - points[here, k]) ** 2
                known = away2 > radius * radius or count == ROUND_ABOUT
                for seen in range(count):
                    known |= near[seen] == other
                if not known:
                    near[count] = other
                    count += 1
        at += 1
    return count


@kernel
def middle_widths(rows, mesh, width, radius, middle):
    """Fill `middle` (k,) float32: the median width within `radius` round each vertex rows[k].

    width : (n,) float32, inf where nothing faces; negative where a place has no say.
    """
    near, heard = np.empty(ROUND_ABOUT, np.int64), np.empty(ROUND_ABOUT, np.float32)
    for k in range(len(rows)):
        count = np.int64(0)
        for at in range(_gather_round(np.int64(rows[k]), mesh, radius, near)):
            value = width[near[at]]
            if value < np.float32(0.0):
                continue
            slot = count
            while slot > 0 and heard[slot - 1] > value:
                heard[slot] = heard[slot - 1]
                slot -= 1
            heard[slot] = value
            count += 1
        middle[k] = heard[count // 2]


@kernel
def _root(parent, place):
    """The first of the patch that a place belongs to; halves the way there."""
    while parent[place] != place:
        parent[place] = parent[parent[place]]
        place = parent[place]
    return place


@kernel
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
