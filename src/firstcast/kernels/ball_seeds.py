"""Which balls above vertices roll into one another: none of them is inside a body unless all are."""

from firstcast.kernels.compiling import kernel

OVERLAP = 0.7
"""Balls whose centres are nearer than this share of the radius: the way from one centre to the other is clear, even
where a triangle dips into a ball by a fifth of its radius."""


@kernel
def _root(parent, v):
    while parent[v] != v:
        parent[v] = parent[parent[v]]
        v = parent[v]
    return v


@kernel
def join_centres(triangles, centres, fits, radius, parent):
    """Fill parent (n,) int32 with the lowest vertex that each fitting vertex's ball can roll to along edges."""
    limit = (OVERLAP * radius) ** 2
    for v in range(len(parent)):
        parent[v] = v
    for t in range(len(triangles)):
        for c in range(3):
            i, j = triangles[t, c], triangles[t, (c + 1) % 3]
            if not (fits[i] and fits[j]):
                continue
            square = 0.0
            for d in range(3):
                square += (centres[i, d] - centres[j, d]) ** 2
            if square > limit:
                continue
            a, b = _root(parent, i), _root(parent, j)
            parent[max(a, b)] = min(a, b)
    for v in range(len(parent)):
        parent[v] = _root(parent, v)
