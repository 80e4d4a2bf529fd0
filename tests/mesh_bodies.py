"""Chains and bodies that the forecast on a mesh is tested with."""

from dataclasses import replace

import numpy as np
import trimesh
from manifold3d import triangulate

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.process.chain import ChainScenario, null_chain
from firstcast.process.light import overdose_ratio
from firstcast.process.spread import GaussianSpread

NULL = null_chain((0.035, 0.035), 0.03)


def lit(sigma_mm: float, depth_mm: float, cured_mm: float) -> ChainScenario:
    overdose = overdose_ratio(cured_mm, depth_mm)
    return replace(NULL, spread=GaussianSpread(sigma_mm), depth_mm=depth_mm, overdose=overdose)


LIKELY = lit(0.02, 0.1, 0.1)


def ball(radius_mm: float, level: int) -> tuple[np.ndarray, np.ndarray]:
    mesh = trimesh.creation.icosphere(subdivisions=level, radius=radius_mm)
    return np.asarray(mesh.vertices) + np.array([0.013, 0.027, 0.008]), np.array(mesh.faces, np.int32)


def block(x: float, y: float, z: float, edge_mm: float) -> Mesh:
    mesh = trimesh.creation.box((x, y, z))
    return split_long_edges(Mesh(np.array(mesh.vertices), np.array(mesh.faces, np.int32)), edge_mm)[0]


def ribbed(
    period_mm: float, depth_mm: float = 0.12, edge_mm: float = 0.0175, ribs: int = 6
) -> tuple[Mesh, np.ndarray]:
    """A wall of 1 mm with a sine across its face y < 0, ribs upright; and how far each vertex lies out on it."""
    length, height = ribs * period_mm, 1.2
    x = np.linspace(0, length, round(length / edge_mm) + 1)
    z = np.linspace(0, height, round(height / edge_mm) + 1)
    out = 0.5 * depth_mm * np.cos(2 * np.pi * x / period_mm)
    y = np.linspace(0, 1, round(1 / edge_mm) + 1)
    # the outline, counter-clockwise seen from +z: front, right, back, left
    front = np.column_stack([x, -0.5 - out])
    right = np.column_stack([np.full(len(y) - 1, length), front[-1, 1] + (0.5 - front[-1, 1]) * y[1:]])
    back = np.column_stack([x[-2::-1], np.full(len(x) - 1, 0.5)])
    left = np.column_stack([np.zeros(len(y) - 2), 0.5 + (front[0, 1] - 0.5) * y[1:-1]])
    outline = np.concatenate([front, right, back, left])
    count = len(outline)
    points = np.concatenate([np.column_stack([outline, np.full(count, h)]) for h in z])
    a = np.arange(count)
    b = (a + 1) % count
    sides = [
        np.concatenate(
            [np.stack([k + a, k + b, k + count + b], 1), np.stack([k + a, k + count + b, k + count + a], 1)]
        )
        for k in count * np.arange(len(z) - 1)
    ]
    lid = np.array(triangulate([outline.tolist()]), np.int64)
    triangles = np.concatenate([*sides, lid + count * (len(z) - 1), lid[:, ::-1]]).astype(np.int32)
    mesh = split_long_edges(Mesh(points, triangles), 1.8 * edge_mm)[0]
    return mesh, -mesh.points[:, 1] - 0.5


def of_face(mesh: Mesh, normals: np.ndarray) -> np.ndarray:
    """Vertices of the ribbed face, far from its ends."""
    x, y, z = mesh.points.T
    inner = (x > 0.3 * x.max()) & (x < 0.7 * x.max()) & (z > 0.4) & (z < 0.8)
    return inner & (y < -0.3) & (np.abs(normals[:, 2]) < 0.05)


def depth_left(out: np.ndarray, moved: np.ndarray) -> float:
    crest, trough = out > out.max() - 1e-4, out < out.min() + 1e-4
    before = out[crest].mean() - out[trough].mean()
    return float((out[crest] + moved[crest]).mean() - (out[trough] + moved[trough]).mean()) / before
