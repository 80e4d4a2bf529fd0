"""Which triangles of a mesh come between two planes."""

from firstcast.kernels.compiling import kernel


@kernel
def mark_between(start, stop, along, triangles, low, high, marks):
    """Set marks (m,) bool of triangles start .. stop: whether one reaches into low .. high, by its corners' `along` (n,)."""
    for t in range(start, stop):
        a, b, c = along[triangles[t, 0]], along[triangles[t, 1]], along[triangles[t, 2]]
        marks[t] = min(a, b, c) <= high and max(a, b, c) >= low
