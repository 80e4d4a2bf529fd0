"""Connected components of a mesh, and the extent and volume of each."""

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def root_of(parent, vertex):
    """The least known vertex of a vertex's component; halves the path on the way."""
    while parent[vertex] != vertex:
        parent[vertex] = parent[parent[vertex]]
        vertex = parent[vertex]
    return vertex


@kernel
def label_components(triangles, parent):
    """Turn parent (v,) int32, which must hold 0 .. v - 1, into component numbers; returns how many.

    Components are numbered in the order of their first vertex.
    """
    for t in range(triangles.shape[0]):
        a = root_of(parent, triangles[t, 0])
        for c in range(1, 3):
            b = root_of(parent, triangles[t, c])
            if a < b:
                parent[b] = a
            elif b < a:
                parent[a] = b
                a = b
    count = 0
    for vertex in range(parent.shape[0]):
        if parent[vertex] == vertex:
            parent[vertex] = -1 - count
            count += 1
        else:
            # roots are the least vertex of their component, so the parent already has its number
            parent[vertex] = parent[parent[vertex]]
    for vertex in range(parent.shape[0]):
        parent[vertex] = -1 - parent[vertex]
    return count


@kernel
def measure_components(points, triangles, labels, middle, part_of_triangle, volumes, bounds, part):
    """Per component: signed volume (c,), bounds (c, 2, 3) and the part of its first triangle (c,).

    Volumes are summed about `middle`. bounds must hold +inf, -inf; part must hold -1.
    """
    for t in range(triangles.shape[0]):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        label = labels[a]
        if part[label] < 0:
            part[label] = part_of_triangle[t]
        ax, ay, az = points[a, 0] - middle[0], points[a, 1] - middle[1], points[a, 2] - middle[2]
        bx, by, bz = points[b, 0] - middle[0], points[b, 1] - middle[1], points[b, 2] - middle[2]
        cx, cy, cz = points[c, 0] - middle[0], points[c, 1] - middle[1], points[c, 2] - middle[2]
        six = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
        volumes[label] += six / 6.0
    for vertex in range(points.shape[0]):
        label = labels[vertex]
        for axis in range(3):
            value = np.float64(points[vertex, axis])
            bounds[label, 0, axis] = min(bounds[label, 0, axis], value)
            bounds[label, 1, axis] = max(bounds[label, 1, axis], value)
