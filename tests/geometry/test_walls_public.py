"""Walls of public figures beside rays through libigl's tree: the shape diameter (Shapira, Shamir, Cohen-Or 2008).

The two differ by definition. A ray along the inward normal gives the chord; the ball through its start is stopped by what
the ray meets or by something beside it. In a place with parallel sides both agree, elsewhere the ball
is the smaller. A cone of rays leans by up to 25 degrees and so runs longer by some per cent, or leaves through a side.
So medians are compared, and the order of places.
"""

import os
from pathlib import Path

import igl
import numpy as np
import pytest
import trimesh

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.walls import read_widths

DATA = os.environ.get("FIRSTCAST_DATA")
SEED = 55301


def figure(name: str, height_mm: float) -> Mesh:
    """A public mesh, welded, at a figure's height."""
    solid = trimesh.load(Path(str(DATA)) / name, process=False, force="mesh")
    solid.merge_vertices(merge_tex=True, merge_norm=True)
    points = solid.vertices * (height_mm / np.ptp(solid.vertices, axis=0).max())
    return Mesh(np.ascontiguousarray(points), np.ascontiguousarray(solid.faces, dtype=np.int32))


def vertex_normals(mesh: Mesh) -> np.ndarray:
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    normals = np.zeros_like(mesh.points)
    for corner in range(3):
        np.add.at(normals, mesh.triangles[:, corner], np.cross(b - a, c - a))
    return normals / np.linalg.norm(normals, axis=1)[:, None]


def chords(mesh: Mesh, rows: np.ndarray, ways: np.ndarray) -> np.ndarray:
    """How far rays from vertices run through the body."""
    triangles = mesh.triangles.astype(np.int64)
    tree = igl.AABB()
    tree.init(mesh.points, triangles)
    starts = mesh.points[rows] + 1e-6 * ways
    _, along, _ = tree.intersect_ray_first(mesh.points, triangles, starts, ways)
    return along


@pytest.mark.skipif(not DATA, reason="FIRSTCAST_DATA names no folder of public meshes")
@pytest.mark.parametrize("name", ["koala.obj", "hand_closed.obj"])
def test_beside_rays(name):
    mesh = figure(name, 32.0)
    found = read_widths(mesh, most_mm=3.0).wall_mm
    rng = np.random.default_rng(SEED)
    rows = np.flatnonzero(np.isfinite(found) & (found > 0.05))
    rows = rng.permutation(rows)[:2000]
    normals = vertex_normals(mesh)[rows]
    straight = chords(mesh, rows, -normals)
    lean = rng.normal(size=(12, len(rows), 3))
    cone = []
    for sideways in lean:
        tilt = np.radians(25.0) * np.sqrt(rng.random(len(rows)))[:, None]
        sideways -= np.einsum("ij,ij->i", sideways, normals)[:, None] * normals
        sideways /= np.linalg.norm(sideways, axis=1)[:, None]
        cone.append(chords(mesh, rows, -np.cos(tilt) * normals + np.sin(tilt) * sideways))
    diameter = np.median(np.array(cone), axis=0)
    ratio, to_cone = found[rows] / straight, found[rows] / diameter
    assert 0.85 < np.median(ratio) <= 1.01
    assert 0.75 < np.median(to_cone) <= 1.01
    assert np.corrcoef(np.log(found[rows]), np.log(np.minimum(diameter, 6.0)))[0, 1] > 0.8
