"""How thick a body is between the places where a lattice line enters and leaves it."""

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def _normal(points, triangles, t, normal):
    """Unit normal of triangle t; zero where it has no area."""
    a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
    length = 0.0
    for n in range(3):
        u, v = (n + 1) % 3, (n + 2) % 3
        normal[n] = (points[b, u] - points[a, u]) * (points[c, v] - points[a, v]) - (
            points[b, v] - points[a, v]
        ) * (points[c, u] - points[a, u])
        length += normal[n] * normal[n]
    if length > 0:
        normal /= np.sqrt(length)


@kernel
def measure_thickness(
    start, stop, axis, base, pitch, most, facing, line_starts, kept, positions, hits, points, triangles, thickness,
    slope,
):  # fmt: skip
    """Write thickness, slope (c,) float32 at entering crossings of lines start .. stop, if below `most`.

    The slope is that of the face entered: the cosine between its normal and the line.

    Only where the faces look away from each other (their normals' product below -`facing`) is the stretch
    between them a thickness; it is foreshortened by the flatter of the two faces.
    """
    enter, leave = np.empty(3), np.empty(3)
    for line in range(start, stop):
        first = line_starts[base + line]
        for p in range(first, first + kept[base + line] - 1):
            if hits[p] < 0:
                continue
            stretch = (positions[p + 1] - positions[p]) * pitch
            if stretch > 4.0 * most:
                continue
            _normal(points, triangles, hits[p], enter)
            _normal(points, triangles, ~hits[p + 1], leave)
            product = enter[0] * leave[0] + enter[1] * leave[1] + enter[2] * leave[2]
            if product > -facing:
                continue
            across = stretch * min(abs(enter[axis]), abs(leave[axis]))
            if across < most:
                thickness[p] = across
                slope[p] = abs(enter[axis])
