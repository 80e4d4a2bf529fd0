"""Which edges of a mesh are too long."""

from firstcast.kernels.compiling import kernel


@kernel
def mark_long(start, stop, points, triangles, longest_mm, marks):
    """Set marks (m,) uint8 of triangles start .. stop: bit c where the edge from corner c to the next is longer."""
    most = longest_mm * longest_mm
    for t in range(start, stop):
        mark = 0
        for c in range(3):
            i, j = triangles[t, c], triangles[t, (c + 1) % 3]
            x, y, z = points[j, 0] - points[i, 0], points[j, 1] - points[i, 1], points[j, 2] - points[i, 2]
            if x * x + y * y + z * z > most:
                mark |= 1 << c
        marks[t] = mark
