"""A least cut between two ends of a network whose places have the same few neighbours each.

By growing a tree from either end until they touch (Y. Boykov, V. Kolmogorov 2004, "An experimental comparison of
min-cut/max-flow algorithms for energy minimization in vision"): the trees are kept from one path to the next, which
suits grids, where most paths are short.
"""

import numpy as np

from firstcast.kernels.compiling import kernel

FREE, SOURCE, SINK = 0, 1, 2
ROOT, ORPHAN = -1, -2
FAR = 1 << 30


@kernel
def _way_to_root(node, neighbours, parent, stamp, way, now):
    """How many steps the node is from its tree's root, FAR if it hangs on an orphan; what is walked is stamped."""
    j, steps = node, 0
    while True:
        if stamp[j] == now:
            steps += way[j]
            break
        if parent[j] == ORPHAN:
            return FAR
        steps += 1
        if parent[j] == ROOT:
            stamp[j] = now
            way[j] = 1
            break
        j = neighbours[j, parent[j]]
    j, left = node, steps
    while stamp[j] != now:
        stamp[j] = now
        way[j] = left
        left -= 1
        j = neighbours[j, parent[j]]
    return steps


@kernel
def _touch(p, neighbours, capacity, tree, parent, stamp, way, ring, queued, tail):
    """Grow the tree of `p` by its neighbours; gives the direction in which it meets the other tree, or -1, and the tail."""
    count, ways = neighbours.shape
    mine = tree[p]
    for d in range(ways):
        q = neighbours[p, d]
        if q < 0:
            continue
        left = capacity[p, d] if mine == SOURCE else capacity[q, ways - 1 - d]
        if left == 0:
            continue
        if tree[q] == FREE:
            tree[q] = mine
            parent[q] = ways - 1 - d
            stamp[q] = stamp[p]
            way[q] = way[p] + 1
            if queued[q] == 0:
                queued[q] = 1
                ring[tail % count] = q
                tail += 1
        elif tree[q] != mine:
            return d, tail
        elif stamp[q] <= stamp[p] and way[q] > way[p] + 1:
            # nearer to the root by this way
            parent[q] = ways - 1 - d
            stamp[q] = stamp[p]
            way[q] = way[p] + 1
    return -1, tail


@kernel
def _push(a, d, neighbours, capacity, ends, parent, orphans):
    """Send what fits from the source's root by way of `a` and its neighbour `d` to the sink's; gives it and the orphans."""
    ways = neighbours.shape[1]
    b = neighbours[a, d]
    most = capacity[a, d]
    p = a
    while parent[p] != ROOT:
        q = neighbours[p, parent[p]]
        most = min(most, capacity[q, ways - 1 - parent[p]])
        p = q
    most = min(most, ends[p])
    p = b
    while parent[p] != ROOT:
        most = min(most, capacity[p, parent[p]])
        p = neighbours[p, parent[p]]
    most = min(most, -ends[p])
    capacity[a, d] -= most
    capacity[b, ways - 1 - d] += most
    lost = 0
    p = a
    while parent[p] != ROOT:
        along = parent[p]
        q = neighbours[p, along]
        capacity[p, along] += most
        capacity[q, ways - 1 - along] -= most
        if capacity[q, ways - 1 - along] == 0:
            parent[p] = ORPHAN
            orphans[lost] = p
            lost += 1
        p = q
    ends[p] -= most
    if ends[p] == 0:
        parent[p] = ORPHAN
        orphans[lost] = p
        lost += 1
    p = b
    while parent[p] != ROOT:
        along = parent[p]
        q = neighbours[p, along]
        capacity[p, along] -= most
        capacity[q, ways - 1 - along] += most
        if capacity[p, along] == 0:
            parent[p] = ORPHAN
            orphans[lost] = p
            lost += 1
        p = q
    ends[p] += most
    if ends[p] == 0:
        parent[p] = ORPHAN
        orphans[lost] = p
        lost += 1
    return most, lost


@kernel
def _adopt(lost, now, neighbours, capacity, tree, parent, stamp, way, orphans, ring, queued, tail):
    """Hang every orphan on the nearest neighbour that still leads to its root, or set it free; gives the tail."""
    count, ways = neighbours.shape
    first = 0
    while first < lost:
        p = orphans[first % count]
        first += 1
        mine = tree[p]
        best, least = ORPHAN, FAR
        for d in range(ways):
            q = neighbours[p, d]
            if q < 0 or tree[q] != mine:
                continue
            left = capacity[q, ways - 1 - d] if mine == SOURCE else capacity[p, d]
            if left == 0:
                continue
            steps = _way_to_root(q, neighbours, parent, stamp, way, now)
            if steps < least:
                best, least = d, steps
        if best != ORPHAN:
            parent[p] = best
            stamp[p] = now
            way[p] = least + 1
            continue
        for d in range(ways):
            q = neighbours[p, d]
            if q < 0 or tree[q] != mine:
                continue
            left = capacity[q, ways - 1 - d] if mine == SOURCE else capacity[p, d]
            if left > 0 and queued[q] == 0:
                queued[q] = 1
                ring[tail % count] = q
                tail += 1
            if parent[q] == ways - 1 - d:
                parent[q] = ORPHAN
                orphans[lost % count] = q
                lost += 1
        tree[p] = FREE
    return tail


@kernel
def cut(neighbours, capacity, ends, near_source):
    """Send the most from the source to the sink; `capacity` and `ends` keep what is left.

    Parameters
    ----------
    neighbours : (n, k) int32
        Neighbour of each place in each of k directions, -1 for none; direction k - 1 - d leads back.
    capacity : (n, k) int32
        Towards each neighbour.
    ends : (n,) int32
        What the source gives the place, or, below zero, what the place gives the sink.
    near_source : (n,) uint8
        Written: 1 on the source's side of the cut that lies nearest to the source, else 0.

    Returns
    -------
    int
        The flow, which is the cut's value.
    """
    count = neighbours.shape[0]
    tree, parent = np.zeros(count, np.uint8), np.full(count, ORPHAN, np.int8)
    stamp, way = np.zeros(count, np.int32), np.zeros(count, np.int32)
    ring, orphans = np.empty(count, np.int32), np.empty(count, np.int32)
    queued = np.zeros(count, np.uint8)
    head, tail = 0, 0
    for p in range(count):
        if ends[p] != 0:
            tree[p] = SOURCE if ends[p] > 0 else SINK
            parent[p] = ROOT
            way[p] = 1
            queued[p] = 1
            ring[tail] = p
            tail += 1
    flow, now = 0, 0
    while head < tail:
        p = ring[head % count]
        head += 1
        queued[p] = 0
        while tree[p] != FREE:
            d, tail = _touch(p, neighbours, capacity, tree, parent, stamp, way, ring, queued, tail)
            if d < 0:
                break
            now += 1
            a, along = (p, d) if tree[p] == SOURCE else (neighbours[p, d], neighbours.shape[1] - 1 - d)
            sent, lost = _push(a, along, neighbours, capacity, ends, parent, orphans)
            flow += sent
            tail = _adopt(
                lost, now, neighbours, capacity, tree, parent, stamp, way, orphans, ring, queued, tail
            )
    for p in range(count):
        near_source[p] = 1 if tree[p] == SOURCE else 0
    return flow
