"""Part meshes with known volumes, as points and triangles, and the public meshes."""

import os
from pathlib import Path

import numpy as np
import pytest
import trimesh

from firstcast.geometry.mesh import Mesh

DATA_VARIABLE = "FIRSTCAST_DATA"


def mesh_of(shape) -> Mesh:
    return Mesh(np.array(shape.vertices, dtype=np.float64), np.array(shape.faces, dtype=np.int32))


def box(size=(10.0, 8.0, 6.0), centre=(0.0, 0.0, 0.0)) -> Mesh:
    shape = trimesh.creation.box(size)
    shape.apply_translation(centre)
    return mesh_of(shape)


def ball(radius=5.0, centre=(0.0, 0.0, 0.0), subdivisions=3) -> Mesh:
    shape = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    shape.apply_translation(centre)
    return mesh_of(shape)


def hood(radius=5.0, rings=12, around=32) -> Mesh:
    """The upper half of a ball, open below: a surface without thickness."""
    tilt = np.linspace(0, np.pi / 2, rings + 1)[1:]
    turn = np.arange(around) * 2 * np.pi / around
    ring = np.stack(
        [
            np.outer(np.sin(tilt), np.cos(turn)),
            np.outer(np.sin(tilt), np.sin(turn)),
            np.outer(np.cos(tilt), np.ones(around)),
        ],
        axis=-1,
    ).reshape(-1, 3)
    points = np.concatenate([[[0, 0, 1.0]], ring]) * radius
    triangles = [(0, 1 + k, 1 + (k + 1) % around) for k in range(around)]
    for r in range(rings - 1):
        for k in range(around):
            a, b = 1 + r * around + k, 1 + r * around + (k + 1) % around
            triangles += [(a, a + around, b + around), (a, b + around, b)]
    return Mesh(points, np.array(triangles, dtype=np.int32))


def joined(*meshes: Mesh) -> Mesh:
    """Several meshes in one, points kept apart."""
    bases = np.cumsum([0, *(len(mesh.points) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.points for mesh in meshes]),
        np.concatenate([mesh.triangles + base for mesh, base in zip(meshes, bases, strict=False)]).astype(
            np.int32
        ),
    )


def turned(mesh: Mesh) -> Mesh:
    """The mesh inside out."""
    return Mesh(mesh.points, np.ascontiguousarray(mesh.triangles[:, ::-1]))


def loosened(mesh: Mesh) -> Mesh:
    """Every triangle with points of its own, as in an STL file."""
    return Mesh(
        mesh.points[mesh.triangles].reshape(-1, 3),
        np.arange(mesh.triangles.size, dtype=np.int32).reshape(-1, 3),
    )


def without(mesh: Mesh, rows) -> Mesh:
    """The mesh without some triangles."""
    return Mesh(mesh.points, np.delete(mesh.triangles, rows, axis=0))


def public_mesh(name: str) -> Path:
    """A public mesh in the folder named by FIRSTCAST_DATA; skips where it is not there."""
    folder = os.environ.get(DATA_VARIABLE)
    if not folder:
        pytest.skip(f"set {DATA_VARIABLE} to the folder of public meshes to run this")
    path = Path(folder) / name
    if not path.exists():
        pytest.skip(f"{name} is not in the folder that {DATA_VARIABLE} names")
    return path
