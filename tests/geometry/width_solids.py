"""Bodies whose walls and gaps are known, finely divided, and turned at random."""

import igl
import numpy as np
import trimesh
from scipy.spatial.transform import Rotation

from firstcast.geometry.mesh import Mesh


def turned(mesh: Mesh, seed: int) -> Mesh:
    """The mesh in a random attitude, off the origin."""
    return mesh.mapped(
        Rotation.random(rng=np.random.default_rng(seed)).as_matrix(), np.array([3.0, -7.0, 11.0])
    )


def of(solid: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(solid.vertices, np.float64), np.asarray(solid.faces, np.int32))


def plate(thickness: float, side: float = 3.0) -> Mesh:
    """A plate in the x, y plane with square rims."""
    return of(trimesh.creation.box((side, side, thickness)).subdivide_to_size(0.12))


def prism(outline, length: float, step: float) -> Mesh:
    """A prism along z over a polygon (k, 2) that runs counter-clockwise, its faces divided to `step`."""
    from manifold3d import CrossSection

    solid = CrossSection([np.asarray(outline, np.float64).tolist()]).extrude(length).to_mesh()
    return of(
        trimesh.Trimesh(
            np.asarray(solid.vert_properties[:, :3], np.float64), solid.tri_verts
        ).subdivide_to_size(step)
    )


def wedge(angle_deg: float, depth: float = 3.0) -> Mesh:
    """A wedge with its edge along z at x = y = 0, opening along x; blunt behind, so that it has one edge only."""
    half = np.radians(angle_deg / 2.0)
    high = depth * np.tan(half)
    back = [(depth, -high), (depth + high, -high), (depth + high, high), (depth, high)]
    return prism([(0.0, 0.0), *back], 2.0, 0.1)


def shell(outer: float, thickness: float, subdivisions: int = 4) -> Mesh:
    """A hollow ball: the inner sphere bounds air."""
    ball = trimesh.creation.icosphere(subdivisions=subdivisions)
    count, faces = len(ball.vertices), np.asarray(ball.faces, np.int32)
    return Mesh(
        np.concatenate([ball.vertices * outer, ball.vertices * (outer - thickness)]),
        np.concatenate([faces, faces[:, ::-1] + count]).astype(np.int32),
    )


def two_plates(gap: float) -> Mesh:
    """Two plates 0.8 mm thick face to face, `gap` apart in z, about z = 0."""
    upper, lower = plate(0.8), plate(0.8)
    up = np.array([0.0, 0.0, 0.4 + gap / 2.0])
    return Mesh(
        np.concatenate([upper.points + up, lower.points - up]),
        np.concatenate([upper.triangles, lower.triangles + len(upper.points)]).astype(np.int32),
    )


def grating(period: float, depth: float) -> Mesh:
    """A block 2 mm thick whose upper side, at y = 0, is a cosine of the given depth along x."""
    x = np.linspace(-3.0 * period, 3.0 * period, 1 + 6 * 48)
    top = np.stack([x, 0.5 * depth * np.cos(2 * np.pi * x / period)], axis=1)
    floor = -0.5 * depth - 2.0
    return prism([(x[0], floor), (x[-1], floor), *top[::-1]], 0.6, 0.1)


def contoured(values: np.ndarray, origin: np.ndarray, pitch: float) -> Mesh:
    """The zero set of values on a grid, negative inside, by libigl's marching cubes; outward."""
    axes = [origin[k] + pitch * np.arange(values.shape[k]) for k in range(3)]
    places = np.stack([g.ravel(order="F") for g in np.meshgrid(*axes, indexing="ij")], axis=1)
    points, triangles, _ = igl.marching_cubes(values.ravel(order="F"), places, *values.shape, 0.0)
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    outward = np.einsum("ij,ij->", a, np.cross(b, c)) > 0
    triangles = np.ascontiguousarray(triangles if outward else triangles[:, ::-1], dtype=np.int32)
    return Mesh(np.ascontiguousarray(points), triangles)


def gyroid(count: int, size: float = 8.0) -> Mesh:
    """A ball of a curved sheet with holes: walls and gaps everywhere, rims and slivers as contours have them."""
    axis = np.linspace(-size / 2, size / 2, count)
    x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
    k = 2 * np.pi / 4.0
    sheet = np.sin(k * x) * np.cos(k * y) + np.sin(k * y) * np.cos(k * z) + np.sin(k * z) * np.cos(k * x)
    body = np.maximum(np.abs(sheet) - 0.35, (np.sqrt(x**2 + y**2 + z**2) - 0.45 * size) * k)
    return contoured(body, np.full(3, -size / 2), size / (count - 1))
