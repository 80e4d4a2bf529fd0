"""Half-edges: which triangle lies beyond each edge, and what hangs together through them.

Half-edge h = 3 · triangle + k runs from corner k of the triangle to corner k + 1; corner h is where it
starts. `mate[h]` is the half-edge on the other side, `OPEN` where there is none, `SHARED` where more than two
triangles meet at the edge.
"""

import numpy as np

from firstcast.kernels.compiling import kernel

OPEN = -1
SHARED = -2


@kernel
def pair_edges(triangles, point_count):
    """The half-edge beyond each half-edge, by counting sort: time grows with size alone.

    Parameters
    ----------
    triangles : (m, 3) int32
        No triangle names a point twice.
    point_count : int

    Returns
    -------
    mate : (3 m,) int32
        A half-edge, or -1 (open), or -2 (shared by more than two). The two of a pair may run the same way,
        where the winding is inconsistent.
    """
    half_count = 3 * len(triangles)
    low = np.empty(half_count, np.int32)
    high = np.empty(half_count, np.int32)
    for f in range(len(triangles)):
        for k in range(3):
            a = triangles[f, k]
            b = triangles[f, (k + 1) % 3]
            low[3 * f + k] = min(a, b)
            high[3 * f + k] = max(a, b)
    order = np.empty(half_count, np.int32)
    place = np.zeros(point_count + 1, np.int64)
    for h in range(half_count):
        place[high[h] + 1] += 1
    for v in range(point_count):
        place[v + 1] += place[v]
    for h in range(half_count):
        order[place[high[h]]] = h
        place[high[h]] += 1
    by_low = np.empty(half_count, np.int32)
    place[:] = 0
    for h in range(half_count):
        place[low[h] + 1] += 1
    for v in range(point_count):
        place[v + 1] += place[v]
    for i in range(half_count):
        h = order[i]
        by_low[place[low[h]]] = h
        place[low[h]] += 1
    mate = np.full(half_count, np.int32(-1))
    start = 0
    while start < half_count:
        h = by_low[start]
        stop = start + 1
        while stop < half_count and low[by_low[stop]] == low[h] and high[by_low[stop]] == high[h]:
            stop += 1
        if stop - start == 2:
            mate[h] = by_low[start + 1]
            mate[by_low[start + 1]] = h
        elif stop - start > 2:
            for i in range(start, stop):
                mate[by_low[i]] = np.int32(-2)
        start = stop
    return mate


@kernel
def _own_parents(count):
    """Numbers (count,) int32 in order: everything its own root. A loop, which is sooner compiled than numpy's."""
    parent = np.empty(count, np.int32)
    for i in range(count):
        parent[i] = np.int32(i)
    return parent


@kernel
def _root(parent, i):
    """The root of i, halving the path to it."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@kernel
def join_faces(triangles, mate):
    """Connected triangles, and which of them to turn so that each connected run is wound one way.

    Returns
    -------
    label : (m,) int32
        Connected run of each triangle, counted in the order of first triangles.
    turn : (m,) bool
        Relative to the first triangle of the run. Where a run can't be wound one way (a one-sided
        surface) some pairs stay at odds.
    count : int
    odd_pairs : int
        Pairs that run the same way as given.
    """
    m = len(triangles)
    parent = _own_parents(m)
    odd = np.zeros(m, np.uint8)  # winding against the parent
    odd_pairs = 0
    for h in range(3 * m):
        g = mate[h]
        if g > h:
            odds = np.uint8(triangles[h // 3, h % 3] == triangles[g // 3, g % 3])
            odd_pairs += odds
            a = np.int32(h // 3)
            while parent[a] != a:
                odd[a] ^= odd[parent[a]]
                parent[a] = parent[parent[a]]
                odds ^= odd[a]
                a = parent[a]
            b = np.int32(g // 3)
            while parent[b] != b:
                odd[b] ^= odd[parent[b]]
                parent[b] = parent[parent[b]]
                odds ^= odd[b]
                b = parent[b]
            if a < b:
                parent[b] = a
                odd[b] = odds
            elif b < a:
                parent[a] = b
                odd[a] = odds
    label = np.empty(m, np.int32)
    turn = np.empty(m, np.bool_)
    count = 0
    for f in range(m):  # the root is the least of its run, so parents come first
        if parent[f] == f:
            label[f] = np.int32(count)
            turn[f] = False
            count += 1
        else:
            label[f] = label[parent[f]]
            turn[f] = turn[parent[f]] != (odd[f] == 1)
    return label, turn, count, odd_pairs


@kernel
def join_corners(mate):
    """Corners that are one point of a manifold surface: those joined by turning about it through mates.

    Parameters
    ----------
    mate : (3 m,) int32
        Pairs run opposite ways.

    Returns
    -------
    label : (3 m,) int32
        Point of each corner, counted in the order of first corners.
    first : (k,) int32
        First corner of each point.
    """
    half_count = len(mate)
    parent = _own_parents(half_count)
    for h in range(half_count):
        g = mate[h]
        if g > h:
            h_end = h + 1 if h % 3 < 2 else h - 2
            g_end = g + 1 if g % 3 < 2 else g - 2
            a = _root(parent, np.int32(h))
            b = _root(parent, np.int32(g_end))
            parent[max(a, b)] = min(a, b)
            a = _root(parent, np.int32(h_end))
            b = _root(parent, np.int32(g))
            parent[max(a, b)] = min(a, b)
    label = np.empty(half_count, np.int32)
    first = np.empty(half_count, np.int32)
    count = 0
    for c in range(half_count):
        if parent[c] == c:
            label[c] = np.int32(count)
            first[count] = np.int32(c)
            count += 1
        else:
            label[c] = label[parent[c]]
    return label, first[:count].copy()


@kernel
def walk_loops(following):
    """The cycles of a permutation, one after another.

    Parameters
    ----------
    following : (b,) int32
        A permutation.

    Returns
    -------
    order : (b,) int32
        All elements, cycle after cycle.
    starts : (k + 1,) int32
    """
    b = len(following)
    order = np.empty(b, np.int32)
    starts = np.empty(b + 1, np.int32)
    seen = np.zeros(b, np.bool_)
    filled = 0
    count = 0
    for i in range(b):
        if seen[i]:
            continue
        starts[count] = np.int32(filled)
        count += 1
        j = np.int32(i)
        while not seen[j]:
            seen[j] = True
            order[filled] = j
            filled += 1
            j = following[j]
    starts[count] = np.int32(filled)
    return order, starts[: count + 1].copy()


@kernel
def pair_around(starts, forward, angle, loose):
    """Which two of the triangles around a crowded edge belong together.

    Material lies from a backward triangle on, turning about the edge, to the next forward one. Where as many
    run forward as backward, those two are paired, like brackets. Else something ends at the edge: then the
    pairs that run straightest through it are taken first, and the rest stays open. Triangles of loose
    surfaces wait until the others are paired, so that a fin does not tear the body it stands on.

    Parameters
    ----------
    starts : (k + 1,) int32
        Groups of triangles, one edge each, sorted by angle; of equal angles forward comes first.
    forward : (n,) bool
        Whether the triangle runs from the edge's lower point to its higher.
    angle : (n,) float64
        Radians about the edge from its lower to its higher point.
    loose : (n,) bool

    Returns
    -------
    partner : (n,) int32
        Row of the partner, or -1.
    """
    n = len(forward)
    partner = np.full(n, np.int32(-1))
    chosen = np.empty(n, np.int32)
    for g in range(len(starts) - 1):
        for wait in range(2):
            count = 0
            balance = 0
            for i in range(starts[g], starts[g + 1]):
                if partner[i] < 0 and (wait == 1 or not loose[i]):
                    chosen[count] = np.int32(i)
                    count += 1
                    balance += 1 if forward[i] else -1
            if balance == 0 or count > 64:
                _pair_brackets(chosen[:count], forward, partner)
            else:
                _pair_straightest(chosen[:count], forward, angle, partner)
    return partner


@kernel
def _pair_brackets(rows, forward, partner):
    """Pair each forward row with the backward one that opened before it, round the edge; fills `partner`."""
    stack = np.empty(len(rows), np.int32)
    depth = 0
    for turn in range(2):  # twice round: brackets may open before the angle wraps
        for i in rows:
            if partner[i] >= 0:
                continue
            if not forward[i]:
                if turn == 0:
                    stack[depth] = i
                    depth += 1
            elif depth > 0:
                depth -= 1
                partner[i] = stack[depth]
                partner[stack[depth]] = i


@kernel
def _pair_straightest(rows, forward, angle, partner):
    """Pair forward with backward rows, those nearest to half a turn apart first; fills `partner`."""
    while True:
        best = np.inf
        first = np.int32(-1)
        second = np.int32(-1)
        for i in rows:
            if partner[i] >= 0 or not forward[i]:
                continue
            for j in rows:
                if partner[j] >= 0 or forward[j]:
                    continue
                bend = abs(abs(angle[i] - angle[j]) - np.pi)
                if bend < best:
                    best = bend
                    first = i
                    second = j
        if first < 0:
            break
        partner[first] = second
        partner[second] = first
