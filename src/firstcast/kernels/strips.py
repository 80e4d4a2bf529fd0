"""Which triangles of a mesh come between two planes, and their vertices numbered anew."""

from firstcast.kernels.compiling import kernel


@kernel
def mark_between(start, stop, block, points, axis, triangles, low, high, marks, counts):
    """Set marks (m,) bool of triangles start .. stop: whether one reaches into low .. high along an axis.

    counts (blocks,) takes how many do, at start // block.
    """
    count = 0
    for t in range(start, stop):
        a, b, c = points[triangles[t, 0], axis], points[triangles[t, 1], axis], points[triangles[t, 2], axis]
        marks[t] = min(a, b, c) <= high and max(a, b, c) >= low
        count += marks[t]
    counts[start // block] = count


@kernel
def take_marked(start, stop, block, triangles, marks, firsts, taken, held):
    """Write the marked triangles of start .. stop to taken, from row firsts[start // block] on, and mark in `held` (n,)
    the vertices that they have."""
    row = firsts[start // block]
    for t in range(start, stop):
        if marks[t]:
            for c in range(3):
                v = triangles[t, c]
                taken[row, c] = v
                held[v] = True
            row += 1


@kernel
def number_anew(start, stop, number, triangles):
    """Give rows start .. stop of triangles (m, 3) the vertices' new numbers (n,), in place."""
    for t in range(start, stop):
        for c in range(3):
            triangles[t, c] = number[triangles[t, c]]
