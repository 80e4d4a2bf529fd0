"""Closed surfaces for the proof's tests: float32 points and int32 triangles, outward."""

import numpy as np
import trimesh


def arrays(solid) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 3) float32 and triangles (m, 3) int32 of a trimesh solid."""
    return np.asarray(solid.vertices, dtype=np.float32), np.asarray(solid.faces, dtype=np.int32)


def ball(radius=5.0, subdivisions=3, centre=(0.0, 0.0, 0.0)):
    """A geodesic ball: all corners lie on the sphere."""
    solid = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    points, triangles = arrays(solid)
    return (points.astype(np.float64) + np.asarray(centre)).astype(np.float32), triangles


def torus(ring=10.0, tube=3.0, around=96, across=48):
    """A torus about z."""
    return arrays(trimesh.creation.torus(ring, tube, major_sections=around, minor_sections=across))


def box(extents=(4.0, 5.0, 6.0), centre=(0.0, 0.0, 0.0), subdivisions=0):
    """A box of twelve triangles, each cut into four `subdivisions` times."""
    solid = trimesh.creation.box(extents=extents)
    for _ in range(subdivisions):
        solid = solid.subdivide()
    points, triangles = arrays(solid)
    return points + np.asarray(centre, np.float32), triangles


def prism(outline, length):
    """The convex prism over an outline (k, 2) in x and z, `length` long about y = 0."""
    corners = [(x, side * length / 2, z) for x, z in outline for side in (-1, 1)]
    return arrays(trimesh.convex.convex_hull(np.array(corners, dtype=np.float64)))


def together(*meshes):
    """Several meshes as one, without joining anything."""
    points, triangles, count = [], [], 0
    for some_points, some_triangles in meshes:
        points.append(some_points)
        triangles.append(some_triangles + count)
        count += len(some_points)
    return np.concatenate(points), np.concatenate(triangles).astype(np.int32)
